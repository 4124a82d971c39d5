"""Fast wheels: which of the rates that look alike is the true one, and where none can be told."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.motion.turns import count_turns, fastest_rate, pattern_turn
from matchvision.records.sheet import Drive
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

N = 180
TICK_S = 1 / 60.0
REAL_S: FloatArray = np.arange(N, dtype=np.float64) * TICK_S


def mark(colour: str, angle_deg: float) -> MarkerPlan:
    return MarkerPlan(f"w{angle_deg}", "rim", colour, 0.008, circle_m=0.03, angle_deg=angle_deg)


def seen(turns: FloatArray, repeat_turns: float = 1.0, seed: int = 3) -> FloatArray:
    """A wheel's angle as its marks show it, with 10 mrad of noise, up to turns of its pattern."""
    noisy = 2 * np.pi * turns + 0.01 * np.random.default_rng(seed).standard_normal(len(turns))
    return np.asarray((noisy + 0.3) % (2 * np.pi * repeat_turns))


def spin_up(top_turns: float, frames: int) -> FloatArray:
    """Turns of a wheel that stands, then spins up within some frames, holds, and stops as fast."""
    rate = top_turns * np.clip((np.arange(N) - 40) / frames, 0, 1) * np.clip((150 - np.arange(N)) / frames, 0, 1)
    return np.asarray(np.concatenate([[0.0], np.cumsum(rate[1:])]))


@pytest.mark.parametrize("direction", [1.0, -1.0])
@pytest.mark.parametrize("frames", [1, 6, 20])
@pytest.mark.parametrize("top", [0.1, 0.25, 0.4])
def test_fast_wheels_are_followed_up_to_the_frame_rate(top: float, frames: int, direction: float) -> None:
    turns = direction * spin_up(top, frames)
    count = count_turns(seen(turns), REAL_S)
    assert not count.undecided.any()
    error = (count.angle_rad - count.angle_rad[0]) / (2 * np.pi) - turns
    assert np.abs(error).max() < 0.02


def test_a_rate_beyond_half_a_turn_is_followed_through_or_refused_but_never_folded() -> None:
    for top in (0.55, 0.65, 0.8):
        for frames in (2, 5, 10, 25):
            turns = spin_up(top, frames)
            count = count_turns(seen(turns), REAL_S)
            rate = np.diff(count.angle_rad) / (2 * np.pi)
            decided = np.isfinite(rate)
            assert np.abs(rate - np.diff(turns))[decided].max() < 0.02
            # Where it stands, and stands long before, nothing is in doubt.
            assert decided[:30].all()


def test_a_sudden_half_turn_a_frame_is_refused() -> None:
    turns = spin_up(0.5, 1)
    count = count_turns(seen(turns), REAL_S)
    assert count.undecided[60:140].all()
    assert not count.undecided[:38].any()


def test_the_drive_decides_what_the_pattern_cannot() -> None:
    """A clip that begins at 0.4 turns a frame forwards: 0.6 backwards looks the same, unless the drive cannot do it."""
    turns: FloatArray = 0.4 * np.arange(N, dtype=np.float64)
    can_do_both = 0.7 * 2 * np.pi / TICK_S
    assert count_turns(seen(turns), REAL_S, fastest_rad_s=can_do_both).undecided.all()
    cannot = 0.5 * 2 * np.pi / TICK_S
    count = count_turns(seen(turns), REAL_S, fastest_rad_s=cannot)
    assert not count.undecided.any()
    assert (count.angle_rad[-1] - count.angle_rad[0]) / (2 * np.pi) == pytest.approx(turns[-1], abs=0.02)


def test_a_drive_that_is_stated_too_slow_does_not_fold() -> None:
    turns = spin_up(0.4, 6)
    count = count_turns(seen(turns), REAL_S, fastest_rad_s=0.1 * 2 * np.pi / TICK_S)
    rate = np.diff(count.angle_rad) / (2 * np.pi)
    decided = np.isfinite(rate)
    assert np.abs(rate - np.diff(turns))[decided].max() < 0.02


def test_marks_of_one_colour_repeat() -> None:
    assert pattern_turn([mark("red", 10.0)]) == pytest.approx(2 * np.pi)
    assert pattern_turn([mark("red", 0.0), mark("cyan", 180.0)]) == pytest.approx(2 * np.pi)
    assert pattern_turn([mark("red", 0.0), mark("red", 90.0)]) == pytest.approx(2 * np.pi)
    assert pattern_turn([mark("red", 20.0), mark("red", 200.0)]) == pytest.approx(np.pi)
    assert pattern_turn([mark("red", k * 120.0) for k in range(3)]) == pytest.approx(2 * np.pi / 3)


def test_alike_marks_halve_the_rate_that_can_be_told() -> None:
    turns = spin_up(0.2, 6)
    alike = count_turns(seen(turns, 0.5), REAL_S, np.pi)
    error = (alike.angle_rad - alike.angle_rad[0]) / (2 * np.pi) - turns
    assert np.abs(error).max() < 0.02
    sudden = count_turns(seen(spin_up(0.25, 1), 0.5), REAL_S, np.pi)
    assert sudden.undecided[60:140].all()


def test_frames_that_are_missing_are_counted_over() -> None:
    generator = np.random.default_rng(8)
    turns = spin_up(0.3, 10)
    angle = seen(turns)
    angle[generator.random(N) < 0.3] = np.nan
    count = count_turns(angle, REAL_S)
    known = np.isfinite(count.angle_rad)
    error = count.angle_rad[known] / (2 * np.pi) - turns[known]
    assert np.abs(error - error[0]).max() < 0.02
    assert known.sum() >= 0.9 * np.isfinite(angle).sum()


def test_fastest_rate_of_stated_drives() -> None:
    drive = Drive.model_validate({"no_load_rev_min": 12000, "gear_ratio": 100})
    assert fastest_rate([None, Drive()]) is None
    assert fastest_rate([None, drive]) == pytest.approx(1.25 * 120 * 2 * np.pi / 60)
