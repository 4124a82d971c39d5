"""The instructor's page of marks."""

from pathlib import Path

import pandas as pd
from markupsafe import escape

from matchvision.marking import mark_run
from matchvision.records.rubric import Rubric
from matchvision.report.markspage import render_marks, write_marks_page
from matchvision.writing.markstable import write_marks
from tests.marking.made_result import make_result


def test_every_mark_stands_with_its_arithmetic(tmp_path: Path) -> None:
    marks = mark_run(make_result(), Rubric())
    page = write_marks_page([marks], Rubric(), tmp_path).read_text(encoding="utf-8")
    for mark in marks.marks:
        assert f"{mark.points:.1f} of {mark.of:g}" in page
        assert escape(mark.arithmetic) in page
    assert f"<span>heron</span><span>{marks.totals[0][1]:.0f} %</span>" in page
    assert "http" not in page.replace("http-equiv", "")


def test_what_was_not_judged_is_said_to_be_open() -> None:
    page = render_marks([mark_run(make_result(winner=None, margin_m=None), Rubric())], Rubric())
    assert "not judged" in page
    assert "nan" not in page.replace("nance", "")


def test_a_run_without_forecasts_says_so() -> None:
    assert "No team forecast anything" in render_marks([mark_run(make_result(stated={}), Rubric())], Rubric())


def test_table_holds_every_mark(tmp_path: Path) -> None:
    marks = mark_run(make_result(winner=None, margin_m=None), Rubric())
    table = pd.read_csv(write_marks([marks], tmp_path))
    assert list(table.part) == [mark.part for mark in marks.marks]
    assert table.points.isna().sum() == 2  # chance and verdict
