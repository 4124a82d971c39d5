"""Where benchmark tables go: a small CSV each, with the commit and the machine it was measured on."""

import os
import platform
import subprocess
from pathlib import Path

import pandas as pd


def describe_machine() -> str:
    """Processor count, Python and system, and the commit, in a line."""
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, commit {commit()}"


def commit() -> str:
    """The checked-out commit, with "+" where files differ from it."""
    here = Path(__file__).parent
    try:
        short = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], cwd=here, capture_output=True, text=True, check=True
        ).stdout.strip()
        changed = subprocess.run(
            ["git", "status", "--porcelain", "--untracked-files=no", "--", ":(top,exclude)benchmarks/results"],
            cwd=here,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return short + ("+" if changed else "")


def write_rows(name: str, rows: pd.DataFrame, folder: Path) -> None:
    """Write ``<name>.csv`` with the commit and the machine as its last columns."""
    folder.mkdir(exist_ok=True)
    rows.assign(commit=commit(), machine=f"{os.cpu_count()} cores {platform.machine()}").to_csv(
        folder / f"{name}.csv", index=False, float_format="%.4g"
    )
