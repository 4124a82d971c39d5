"""Which state of the program computes: a fingerprint of its own files, since two states may carry one version."""

import hashlib
from collections.abc import Container
from functools import cache
from pathlib import Path
from typing import Final

import matchvision

#: Packages that no single run's results pass through: who asks for results, and what is made of many of them.
OUTER: Final = frozenset({"cli", "desk", "filming", "marking", "repeats", "season"})
#: What the program reads when it runs; what Python and editors leave behind is none of it.
_ENDINGS: Final = frozenset({".py", ".html", ".css", ".js", ".toml", ".json", ".csv", ".txt", ".svg"})


@cache
def name_analysis() -> str:
    """Fingerprint of all that a run's results are computed by, as it was when this process first asked."""
    return fingerprint_program(without=OUTER)


def fingerprint_program(folder: Path | None = None, without: Container[str] = ()) -> str:
    """SHA-256 over names and content of the program's files; some 40 ms.

    Content, not times: a fresh copy of the same program is the same program. The libraries that it stands on are not in
    it: a newer one may move last digits, which is no reason to analyse a class again.

    Parameters
    ----------
    folder : the package's own if not given.
    without : names of packages in it that are left out.

    Notes
    -----
    Checked by: tests/season/test_program.py::test_any_changed_file_is_another_program
    """
    root = Path(matchvision.__file__).parent if folder is None else folder
    digest = hashlib.sha256()
    for name, path in sorted((path.relative_to(root).as_posix(), path) for path in root.rglob("*.*")):
        if path.suffix not in _ENDINGS or name.split("/", 1)[0] in without or "__pycache__" in name:
            continue
        content = path.read_bytes()
        digest.update(f"{name}\n{len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()
