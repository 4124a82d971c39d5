"""Runs in one clip, found by what moves."""

import numpy as np

from matchvision.footage.phases import split_phases

TIMES_S = np.arange(0, 60, 0.12)


def activity(*runs: tuple[float, float], quiet: float = 2e-4, loud: float = 8e-3) -> np.ndarray:
    rng = np.random.default_rng(4)
    level = np.full(len(TIMES_S), quiet)
    for begin_s, end_s in runs:
        level[(begin_s < TIMES_S) & (end_s >= TIMES_S)] = loud
    return np.asarray(level * rng.uniform(0.5, 1.5, len(TIMES_S)))


def test_runs_of_an_evening_are_found() -> None:
    found = split_phases(TIMES_S, activity((5.0, 13.0), (25.0, 34.0), (48.0, 56.0)))
    assert np.allclose([(p.from_s, p.until_s) for p in found], [(5, 13), (25, 34), (48, 56)], atol=0.13)


def test_twitches_and_short_pauses_do_not_count() -> None:
    found = split_phases(TIMES_S, activity((2.0, 2.15), (5.0, 9.0), (10.0, 13.0), (40.0, 40.5)))
    assert np.allclose([(p.from_s, p.until_s) for p in found], [(5, 13)], atol=0.13)


def test_restless_and_still_clips_hold_no_runs() -> None:
    assert split_phases(TIMES_S, activity()) == ()
    assert split_phases(TIMES_S, activity((0.0, 60.0), quiet=5e-2, loud=5e-2)) == ()
    assert split_phases(TIMES_S[:2], activity()[:2]) == ()
