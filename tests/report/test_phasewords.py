"""The forecast phase by phase, as bars and words."""

import math
from dataclasses import replace

import pytest

from matchvision.records.results import CurveRow, Phase
from matchvision.report.page import render_page
from matchvision.report.phasewords import curve_words, error_bar, tell_phases
from matchvision.verdict.comparing import compare_quantity
from tests.report.invented import invent_analysis

CURVE = CurveRow("pull", "N", "", "", 0.0, 6.0, 0.2, 0.30, 0.05, 1.2, 0.02, 0.04, 0.6, 0.1)


def test_bar_shows_sign_size_and_interval() -> None:
    bar = error_bar(compare_quantity("mean pull", "N", (12.0, 0.5), (10.0, 0.2), 10.0, phase="contest"))
    assert bar.middle == pytest.approx(60.0)
    half = 50 * 1.96 * math.hypot(0.5, 0.2) / 10.0
    assert (bar.low, bar.high) == pytest.approx((60.0 - half, 60.0 + half))
    assert (bar.words, bar.within, bar.beyond) == ("too high", "no", "")
    far = error_bar(compare_quantity("mean pull", "N", (-5.0, 0.5), (10.0, 0.2), 10.0))
    assert (far.middle, far.beyond, far.words) == (0.0, "low", "too low")
    assert error_bar(compare_quantity("mean pull", "N", (10.0, 9.0), (10.0, 0.2), 10.0)).words == "cannot tell"


def test_curve_says_time_and_size_apart() -> None:
    words = curve_words(CURVE)
    assert "Predicted too late by 0.300 ± 0.098 s" in words
    assert "too large by 20.0 ± 3.9 %" in words
    level = replace(CURVE, shift_s=math.nan, u_shift_s=math.nan, size_ratio=1.01)
    assert "No shift in time can be told, of the right size" in curve_words(level)
    assert "On time" in curve_words(replace(CURVE, shift_s=0.05))


def test_page_holds_each_phase_and_keeps_its_rows_out_of_the_cards() -> None:
    analysis = invent_analysis()
    row = compare_quantity("mean pull", "N", (12.0, 0.5), (10.0, 0.2), 10.0, phase="contest")
    phase = Phase("contest", 2.0, 5.0, "from slip of heron until the clock stopped")
    verdict = replace(
        analysis.verdict, comparison=(*analysis.verdict.comparison, row), phases=(phase,), curves=(CURVE,)
    )
    told = replace(analysis, verdict=verdict)
    assert [p.name for p in tell_phases(told)] == ["Contest"]
    page = render_page(told, has_clip=False)
    assert "Phase by phase" in page
    assert "contest is from slip of heron until the clock stopped." in page
    assert "<h3>mean pull</h3>" not in page  # a card
    assert "mean pull (contest)" in page  # the instructor's table
    assert "Phase by phase" not in render_page(analysis, has_clip=False)
