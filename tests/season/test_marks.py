"""Marks of a class."""

from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.season.manifest import read_season
from matchvision.season.marks import find_rubric
from tests.season.made import hold, lay_out


def test_an_override_keeps_its_reason(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 3)
    held = hold(folder, tmp_path / "out")
    assert held.book is not None
    line = next(mark for mark in held.book.marks if mark.part == "verdict")
    (folder / "overrides.csv").write_text(
        f"id,what,team,value,reason,by\n{line.id},verdict,{line.team},4.5,the sheet was misread,the instructor\n"
    )
    held = hold(folder, tmp_path / "out")
    assert held.book is not None
    (changed,) = [mark for mark in held.book.marks if mark.reason]
    assert (changed.points, changed.given) == (4.5, line.points)
    for page in ("season.html", f"teams/{line.team}.html", "marks.csv"):
        assert "the sheet was misread (the instructor)" in (tmp_path / "out" / page).read_text()


def test_an_override_of_no_part_is_told(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 1)
    (folder / "overrides.csv").write_text("id,what,team,value,reason\nr0,beauty,curlew,5,it shines\n")
    with pytest.raises(SheetError, match='there is no part "beauty"'):
        find_rubric(read_season(folder))
