"""``marks.csv``: every mark of every run, one row each."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from matchvision.errors import OutputError
from matchvision.records.marks import Marks

COLUMNS: Final = ("run", "machine", "part", "points", "of", "arithmetic")


def write_marks(marks: Sequence[Marks], folder: Path) -> Path:
    """Write ``marks.csv`` into ``folder``, whole or not at all; returns its path. Empty points: not judged.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    rows = [
        (one.run, mark.machine, mark.part, _rounded(mark.points), mark.of, mark.arithmetic)
        for one in marks
        for mark in one.marks
    ]
    path, unfinished = folder / "marks.csv", folder / ".marks.csv.unfinished"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        pd.DataFrame(rows, columns=list(COLUMNS)).to_csv(unfinished, index=False, lineterminator="\n", encoding="utf-8")
        unfinished.replace(path)
    except OSError as reason:
        what = f"the marks cannot be written: {reason.strerror}"
        raise OutputError(what, where=str(path), do="choose another folder with --out") from reason
    return path


def _rounded(points: float) -> float:
    return round(points, 2) if math.isfinite(points) else math.nan
