"""The explained curves as a file: units, words and lines where the numbers say."""

import re
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from matchvision.errors import OutputError
from matchvision.records.results import CauseRow
from matchvision.report.explainedfigure import draw_explained_figure, figure_of_explained
from tests.report.test_explainedpicture import MEASURED, curve

CAUSE = CauseRow(
    "less-grip", "heron", 0.91, 0.7, 0.02, "1", 2.9, "heron's wheels found less grip",
    curves=(curve(), curve("pull", ""), curve("heading", machine="he$ron_$")),
)  # fmt: skip


def test_the_explained_curve_is_drawn_where_it_lies() -> None:
    speed, pull, heading = figure_of_explained(CAUSE).axes
    lines = {str(line.get_label()): np.asarray(line.get_ydata()) for line in speed.lines}
    assert lines["as this explanation has it"] == pytest.approx(1000 * (MEASURED + 0.002))
    assert lines["forecast"] == pytest.approx(1000 * (MEASURED + 0.02))
    assert lines["measured, means over 0.1 s"] == pytest.approx(1000 * MEASURED)
    assert {float(line.get_xdata()[0]) for line in pull.lines} >= {2.9}  # type: ignore[index, arg-type]
    assert [axes.get_ylabel().rsplit("\n/ ")[-1] for axes in (speed, pull, heading)] == ["mm/s", "N", "°"]


def test_what_was_not_explained_has_no_line() -> None:
    (axes,) = figure_of_explained(replace(CAUSE, curves=(curve(explained=None),), since_s=np.nan)).axes
    assert [line.get_label() for line in axes.lines] == ["measured, means over 0.1 s", "forecast"]


def test_files_are_written_with_text_and_leave_no_settings(tmp_path: Path) -> None:
    before = dict(mpl.rcParams)
    written = draw_explained_figure((replace(CAUSE, probability=0.1, curves=()), CAUSE), tmp_path / "figures")
    assert dict(mpl.rcParams) == before
    assert [path.name for path in written] == ["explained.svg", "explained.png"]
    text = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", written[0].read_text(encoding="utf-8")))
    for words in ("match time / s", "95 % band of the measured (k = 1.96)", "he$ron_$", "91 %"):
        assert words in text
    with Image.open(written[1]) as picture:
        assert picture.width > 1000
    assert draw_explained_figure((replace(CAUSE, curves=()),), tmp_path / "none") == ()
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        draw_explained_figure((CAUSE,), tmp_path / "file")
