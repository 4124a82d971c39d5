"""Every run's marks by the rubric, and what an instructor decided otherwise, with the reason beside it."""

import math
from collections.abc import Sequence

from matchvision.errors import Fault, SheetError
from matchvision.records.classbook import MarkLine
from matchvision.records.rubric import PARTS, Rubric
from matchvision.records.season import Season
from matchvision.season.running import Played
from matchvision.sheets.rubric import read_rubric


def find_rubric(season: Season) -> Rubric:
    """The season's rubric, or the usual one.

    Raises
    ------
    SheetError
        Where it has faults, or an override names a part that no rubric has.
    """
    wrong = [
        Fault(
            f"{season.sheet.season.overrides}, {o.entry}",
            f'there is no part "{o.what}"',
            f"winner or {', '.join(PARTS)}",
        )
        for o in season.overrides
        if o.what != "winner" and o.what not in PARTS
    ]
    if wrong:
        raise SheetError(str(season.folder), wrong)
    path = season.sheet.season.rubric
    return Rubric() if path is None else read_rubric(season.folder / path)


def find_marks(
    season: Season, played: Sequence[Played], counting: Sequence[bool], rubric: Rubric
) -> tuple[MarkLine, ...]:
    """Marks of every run that counts; while causes are due, the part that rests on them is left open.

    Notes
    -----
    Checked by: tests/season/test_marks.py::test_an_override_keeps_its_reason
    """
    from matchvision.marking import mark_run

    found = []
    for one, counts in zip(played, counting, strict=True):
        if one.brief is None or not counts:
            continue
        for mark in mark_run(one.brief, rubric).marks:
            points, reason = mark.points, ""
            if mark.part == "cause" and one.brief.causes_due:
                points = math.nan
            for override in season.overrides:
                if (override.entry, override.what, override.team) == (one.entry.id, mark.part, mark.machine):
                    points = float(override.value.replace(",", "."))
                    reason = f"{override.reason} ({override.by})" if override.by else override.reason
            found.append(
                MarkLine(one.entry.id, mark.machine, mark.part, points, mark.of, mark.arithmetic, mark.points, reason)
            )
    return tuple(found)
