"""Taking away a season's results of runs as they were before they were changed, which no page shows any more."""

import re
import shutil
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path
from typing import Final

#: A run's key, alone or before what is noted beside its results; nothing else in the folder is ours to take away.
_OURS: Final = re.compile(r"(?P<key>[0-9a-f]{16})(\.failed\.json|\.later)?")


def take_away_outdated(runs: Path, keys: Collection[str]) -> int:
    """Remove what lies in ``runs`` under keys other than ``keys``; returns how many results of runs have gone.

    Parameters
    ----------
    runs : the folder of a season's results that holds the runs', each under its key.
    keys : of all runs as they are now.

    Notes
    -----
    Checked by: tests/season/test_tidying.py::test_only_results_of_runs_as_they_were_go
    """
    gone: set[str] = set()
    for entry in sorted(runs.iterdir()) if runs.is_dir() else ():
        named = _OURS.fullmatch(entry.name)
        if named is None or named["key"] in keys:
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.rmtree(entry, ignore_errors=True)
        else:
            with suppress(OSError):
                entry.unlink()
        if not entry.exists():
            gone.add(named["key"])
    return len(gone)
