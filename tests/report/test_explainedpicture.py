"""What the likeliest cause makes of the run, as pictures with text and units."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from matchvision.records.results import CauseRow, ExplainedCurve
from matchvision.report.causing import draw_causes
from matchvision.report.explainedpicture import MOST_PICTURES, choose_curves, draw_explained, tell_explained

T_S = np.arange(0.05, 6.0, 0.1)
MEASURED = 0.1 - 0.03 * T_S


def curve(quantity: str = "speed", machine: str = "heron", off: float = 0.02, **told: object) -> ExplainedCurve:
    side = "left" if quantity == "surface" else ""
    unit = "N" if quantity == "pull" else "°" if quantity == "heading" else "m/s"
    u = np.full(len(T_S), 0.002)
    plain = ExplainedCurve(
        quantity, machine, side, unit, 0.1, T_S, MEASURED, u, MEASURED + off, MEASURED + off / 10
    )  # fmt: skip
    return replace(plain, **told)  # type: ignore[arg-type]


def texts(picture: str) -> list[str]:
    return ["".join(text.itertext()) for text in ElementTree.fromstring(picture).iter("text")]


def test_each_picture_names_its_quantity_and_units_and_marks_the_date() -> None:
    (speed,) = draw_explained([curve()], 3.0)
    assert texts(speed)[0] == "Speed of heron towards home / mm/s"
    assert "match time / s" in texts(speed)
    assert 'class="since"' in speed
    for kind in ("band", "measured", "forecast", "explained"):
        assert f'<path class="{kind}"' in speed
    assert 'class="logged"' not in speed
    assert "the forecast lies 20 mm/s off, the explanation 2 mm/s what was measured" in speed
    assert texts(draw_explained([curve("pull", "")], np.nan)[0])[0] == "Pull in the rope / N"
    assert 'class="since"' not in draw_explained([curve("pull", "")], np.nan)[0]
    assert texts(draw_explained([curve("surface")], np.nan)[0])[0] == "Wheel surface speed of heron, left / mm/s"
    assert texts(draw_explained([curve("heading", "<b>")], np.nan)[0])[0] == "Heading of <b> / °"


def test_the_measured_line_lies_where_its_numbers_say() -> None:
    """Zero and the tick above it give the scale; the measured line crosses zero at 10/3 s."""
    (picture,) = draw_explained([curve()], np.nan)
    root = ElementTree.fromstring(picture)
    line = next(p for p in root.iter("path") if p.get("class") == "measured").get("d")
    points = np.array([[float(v) for v in pair.split()] for pair in re.findall(r"[\d.]+ [\d.]+", str(line))])
    zero = next(
        float(str(t.get("y"))) - 4 for t in root.iter("text") if t.text == "0" and t.get("text-anchor") == "end"
    )
    seconds = {str(t.text): float(str(t.get("x"))) for t in root.iter("text") if t.get("text-anchor") == "middle"}
    crossing = np.interp(-zero, -points[::-1, 1], points[::-1, 0]) if points[0, 1] > points[-1, 1] else np.interp(
        zero, points[:, 1], points[:, 0]
    )  # fmt: skip
    at_s = 2 + 2 * (crossing - seconds["2"]) / (seconds["4"] - seconds["2"])
    assert at_s == pytest.approx(10 / 3, abs=0.03)


def test_the_pull_is_always_shown_beside_what_lies_furthest_off() -> None:
    many = [curve(machine=f"m{k}", off=0.01 * k) for k in range(1, 7)] + [curve("pull", "", off=0.0001)]
    chosen = choose_curves(many)
    assert len(chosen) == MOST_PICTURES
    assert [one.machine for one in chosen] == ["m4", "m5", "m6", ""]


def test_what_logged_commands_explain_is_told() -> None:
    plain = tell_explained([curve()])
    assert "20.0 % of each quantity's size (rms) off" in plain
    assert "this explanation 2.0 %" in plain
    assert "as they were logged" not in plain
    told = tell_explained([curve(logged=MEASURED + 0.005)])
    assert "with the commands as they were logged, and nothing else changed, it lies 5.0 % off" in told
    assert "this explanation" not in tell_explained([curve(explained=None)])


def test_the_page_shows_them_with_the_likeliest_cause_alone() -> None:
    nan = float("nan")
    first = CauseRow("drive-loss", "heron", 0.9, 0.5, 0.02, "1", 2.9, "heron lost drive, 90 %.", (curve(),))
    second = CauseRow("late-start", "plover", 0.1, 0.5, 0.1, "s", nan, "plover started late, 10 %.")
    drawn = draw_causes((second, first), None, kind="match", forecast=True, compared=True, due=False)["cause-list"]
    assert drawn.count('class="lever explained"') == 1
    assert drawn.index("lever explained") < drawn.index("late start")
    assert "forecast with the commands as logged" not in drawn
    logged = replace(first, curves=(curve(logged=MEASURED),))
    drawn = draw_causes((logged,), None, kind="match", forecast=True, compared=True, due=False)["cause-list"]
    assert "forecast with the commands as logged" in drawn
