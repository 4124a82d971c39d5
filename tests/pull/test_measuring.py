"""The pull stage against the sample clips' truth, and without any source."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.pull import measure_pull
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_motion, make_rope, make_run, seconds
from tests.truth import SAMPLE_CLIPS, read_run, read_truth
from tests.truth_motion import true_clock, true_motion

SLED = SAMPLE_CLIPS / "sled-link"


def test_link_and_fused_pull_follow_the_truth() -> None:
    run, clock = read_run(SLED), true_clock(SLED)
    pull, note = measure_pull(run, true_motion(SLED, np.random.default_rng(3)), clock)
    truth = read_truth(SLED)
    true_N = truth["tension_mean_N"].to_numpy(float)
    during = truth["pts_s"].between(clock.start_clip_s, clock.end_clip_s).to_numpy()
    for name in ("link", "fused"):
        source = pull.source(name)
        assert source is not None
        error = (source.tension_N - true_N)[during]
        assert np.isfinite(error).all()
        assert np.sqrt(np.mean(error**2)) < 0.04 * true_N.max()
        assert 0.3 < np.sqrt(np.mean((error / source.u_tension_N[during]) ** 2)) < 3
    assert pull.sources[-1].source == "fused"
    assert "largest" in note.sentence


def test_rough_stretch_under_the_load_is_told() -> None:
    """Rough from x = 0 to 0.36 m, under the sled from 3.18 s of the clip, so its friction is not as stated."""
    run, clock = read_run(SLED), true_clock(SLED)
    pull, note = measure_pull(run, true_motion(SLED, np.random.default_rng(4)), clock)
    assert note.status == "done"
    assert note.warnings
    assert "inertia" in pull.disagreement[0]
    assert "link" in pull.disagreement[0]
    inertia, link = pull.source("inertia"), pull.source("link")
    assert inertia is not None
    assert link is not None
    t_s = clock.match_time(read_truth(SLED)["pts_s"].to_numpy(float))
    smooth = (t_s > 1.0) & (t_s < 1.9)
    assert np.nanmean(np.abs(inertia.tension_N - link.tension_N)[smooth]) < 1.0


def test_traction_follows_the_truth() -> None:
    run, clock = read_run(SLED), true_clock(SLED)
    pull, _ = measure_pull(run, true_motion(SLED, np.random.default_rng(5)), clock)
    (heron,) = pull.traction
    truth = read_truth(SLED)
    during = truth["pts_s"].between(clock.start_clip_s + 0.5, clock.end_clip_s).to_numpy()
    error_N = (heron.traction_N - truth["heron_ground_force_N"].to_numpy(float))[during]
    assert np.sqrt(np.mean(error_N**2)) < 0.6
    load_error_N = (heron.load_N - truth["heron_normal_N"].to_numpy(float))[during]
    assert np.sqrt(np.mean(load_error_N**2)) < 0.05
    # Grip of the true wheels: 0.84.
    late = truth["pts_s"].between(6.5, 8.4).to_numpy()
    assert np.mean(heron.grip_used[late]) == pytest.approx(0.84, abs=0.02)


def test_budget_of_the_peak_adds_up() -> None:
    pull, _ = measure_pull(read_run(SLED), true_motion(SLED, np.random.default_rng(6)), true_clock(SLED))
    link = pull.source("link")
    assert link is not None
    peak = int(np.nanargmax(link.tension_N))
    assert np.sqrt(sum(line.u**2 for line in link.budget)) == pytest.approx(link.u_tension_N[peak])
    common = np.sqrt(sum(line.u**2 for line in link.budget if line.common))
    assert common == pytest.approx(link.u_common_N[peak])


def test_forecast_alone_gives_no_independent_pull_and_no_traction() -> None:
    flat = SAMPLE_CLIPS / "flat-match"
    pull, note = measure_pull(read_run(flat), true_motion(flat, np.random.default_rng(7)), true_clock(flat))
    fused = pull.source("fused")
    assert fused is not None
    assert not fused.independent
    assert not pull.traction
    assert "not independent" in note.sentence


def test_nothing_to_measure_with_says_what_would_help() -> None:
    t_s = seconds(1.0)
    motion = make_motion(t_s, machines=[make_machine("heron", len(t_s))], rope=make_rope(len(t_s)))
    with pytest.raises(CannotMeasure) as caught:
        measure_pull(make_run(), motion, MatchClock(0.0, 1.0))
    for key in ("[rope.link]", "hang_test", "[machine.heron.drive] motors, stall_torque_Nm", "rim", "grip_sliding"):
        assert key in caught.value.do
    with pytest.raises(CannotMeasure, match="no rope"):
        measure_pull(make_run(), replace(motion, rope=None), MatchClock(0.0, 1.0))


def test_described_link_that_was_not_seen_leaves_the_pull_partly_measured() -> None:
    motion = true_motion(SLED, np.random.default_rng(8))
    assert motion.rope is not None
    unseen = replace(motion.rope, link_length_m=np.full(len(motion.real_s), np.nan))
    pull, note = measure_pull(read_run(SLED), replace(motion, rope=unseen), true_clock(SLED))
    assert note.status == "partly"
    assert any("markers were not seen" in sentence for sentence in pull.left_out)
    assert [s.source for s in pull.sources] == ["inertia", "momentum", "drive", "fused"]


def test_touching_machines_silence_inertia_and_drive_but_not_the_link() -> None:
    run, clock, motion = read_run(SLED), true_clock(SLED), true_motion(SLED, np.random.default_rng(9))
    together = (motion.real_s > 4.0) & (motion.real_s < 5.0)
    sled = motion.machines["sled"]
    beside = replace(sled, x_m=np.where(together, motion.machines["heron"].x_m + 0.2, sled.x_m))
    touching = replace(motion, machines={**motion.machines, "sled": beside})
    pull, _ = measure_pull(run, touching, clock)
    for name, silent in (("inertia", True), ("drive", True), ("link", False), ("fused", False)):
        source = pull.source(name)
        assert source is not None
        assert np.isnan(source.tension_N[together]).all() == silent
    assert any("touch" in sentence for sentence in pull.left_out)
