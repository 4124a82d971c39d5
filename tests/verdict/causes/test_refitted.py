"""When a run is no ground for saying what would have won."""

from math import nan

import pytest

from matchvision.errors import CannotMeasure
from matchvision.pipeline import start_poses
from matchvision.records.results import Analysis, CauseRow
from matchvision.verdict.causes.refitted import fit_match
from tests.report.invented import invent_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invent_analysis("flat-match")


def fit(analysis: Analysis, *causes: tuple[str, str, float]) -> None:
    rows = tuple(CauseRow(cause, machine, p, nan, nan, "", nan, "") for cause, machine, p in causes)
    starts = start_poses(analysis.run, analysis.motion, analysis.clock)
    fit_match(analysis.run, analysis.grounds, starts, rows, samples=2)


def test_no_cause_is_likely_enough(analysis: Analysis) -> None:
    with pytest.raises(CannotMeasure, match="more likely than not"):
        fit(analysis)
    with pytest.raises(CannotMeasure, match="more likely than not"):
        fit(analysis, ("less-grip", "heron", 0.4), ("drive-loss", "heron", 0.35), ("as-predicted", "", 0.25))


def test_what_says_nothing_about_machines_is_no_ground(analysis: Analysis) -> None:
    with pytest.raises(CannotMeasure, match='"unexplained", says nothing'):
        fit(analysis, ("unexplained", "", 0.9))


def test_a_fit_that_leaves_too_much_is_no_ground(analysis: Analysis) -> None:
    """The invented rope speed and wheels do not belong to one match: more than a quarter is left."""
    with pytest.raises(CannotMeasure, match="unexplained, which is no ground"):
        fit(analysis, ("as-predicted", "", 0.9))
