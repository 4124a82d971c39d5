"""Signs of a cut: none in what was filmed at one go, one where pictures were taken out."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.records.results import Analysis
from matchvision.report.continuity import look_for_cuts
from tests.report.invented import invent_analysis


@pytest.mark.parametrize("clip", ["flat-match", "hand-held", "hitch-slips"])
def test_uncut_runs_look_uncut(clip: str) -> None:
    cuts = look_for_cuts(invent_analysis(clip))
    assert cuts.gaps_s == ()
    assert cuts.jumps_s == ()
    assert cuts.unbroken
    assert cuts.before_s > 0.5


def cut_out(analysis: Analysis, from_s: float, until_s: float, *, hide: bool) -> Analysis:
    """The analysis of the clip with a part cut out; hidden, the pictures after it follow at the usual step."""
    motion = analysis.motion
    t_s = analysis.clock.match_time(motion.clip_s)
    left = (t_s < from_s) | (t_s >= until_s)
    clip_s = motion.clip_s[left]
    if hide:
        clip_s = motion.clip_s[: len(clip_s)]
    tracks = replace(motion.tracks, state=motion.tracks.state[left])
    places = replace(
        motion.places,
        **{name: getattr(motion.places, name)[left] for name in ("x_m", "y_m", "z_m", "u_x_m", "u_y_m")},
    )
    return replace(analysis, motion=replace(motion, clip_s=clip_s, tracks=tracks, places=places))


def test_a_second_cut_out_shows() -> None:
    whole = invent_analysis("flat-match")
    shows = look_for_cuts(cut_out(whole, 5.0, 6.0, hide=False))
    assert shows.gaps_s == pytest.approx((5.0,), abs=0.02)
    hidden = look_for_cuts(cut_out(whole, 5.0, 6.0, hide=True))
    assert hidden.gaps_s == ()
    assert hidden.jumps_s == pytest.approx((5.0,), abs=0.04)
    assert not hidden.unbroken
    assert hidden.greatest_m > 0.05


def test_one_marker_that_was_mistaken_is_no_cut() -> None:
    whole = invent_analysis("flat-match")
    x_m = whole.motion.places.x_m.copy()
    x_m[300, 0] += 0.4
    moved = replace(whole, motion=replace(whole.motion, places=replace(whole.motion.places, x_m=x_m)))
    assert look_for_cuts(moved).unbroken


def test_a_clip_that_ends_early_is_not_whole() -> None:
    whole = invent_analysis("flat-match")
    assert not look_for_cuts(cut_out(whole, 7.0, np.inf, hide=False)).unbroken
