"""A rope that is let go falls freely from its taut line, dated between two frames by what is seen of it."""

import numpy as np
import pytest

from matchvision.motion.falling import let_down

CLOCK_RATE_HZ, SPAN_M, HEIGHT_M, RADIUS_M = 30.0, 1.2, 0.05, 0.009
#: A camera on one side, looking down obliquely: a place moves sideways by so much for each metre of height.
LEVER = np.array([0.1, 1.1])


def fall(begun_s: float, off: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """True and found heights and their u (n, m) of a rope let go at a time; by its shape alone it lies already."""
    real_s = np.arange(24) / CLOCK_RATE_HZ
    x = np.linspace(0.05, SPAN_M - 0.05, 12)
    taut = np.full((len(real_s), len(x)), HEIGHT_M)
    since = np.maximum(real_s - begun_s, 0.0)[:, None]
    true = np.maximum(taut - 0.5 * 9.81 * since**2, RADIUS_M)
    place = np.stack([np.broadcast_to(x, true.shape), np.zeros_like(true)], axis=-1)
    foot = place - LEVER * true[..., None]
    foot += np.random.default_rng(3).normal(0.0, 0.0002, foot.shape)
    ends = np.zeros((len(real_s), 2, 3))
    ends[:, 1, 0], ends[:, :, 2] = SPAN_M, HEIGHT_M
    slack = real_s > begun_s + 0.02
    shape = np.where(slack[:, None], RADIUS_M, taut)
    lever, floor = np.broadcast_to(LEVER, foot.shape), np.full_like(true, RADIUS_M)
    z, u = let_down(shape, np.full_like(true, 0.001), foot, lever, taut, ends, slack, slack & off, floor, real_s)
    return true, z, u


@pytest.mark.parametrize("off", [True, False])
@pytest.mark.parametrize("late", [0.1, 0.35, 0.6, 0.9])
def test_dated_between_two_frames(off: bool, late: float) -> None:
    """Wherever between two frames it was let go, heights in the air come out right, and within their u."""
    true, z, u = fall((10 + late) / CLOCK_RATE_HZ, off)
    in_air = (true < HEIGHT_M - 0.0025) & (true > RADIUS_M + 1e-6)
    assert in_air.any()
    assert np.abs(z - true)[in_air].max() < 0.0015
    assert np.all(np.abs(z - true)[in_air] < 1.96 * u[in_air])


def test_nothing_seen_of_it() -> None:
    """A camera right above sees no drop: an end let go is taken to fall from between the frames, and u says so."""
    true, z, u = (values[:, :1] for values in fall_from_above())
    in_air = (true < HEIGHT_M - 0.0025) & (true > RADIUS_M + 1e-6)
    assert np.all(np.abs(z - true)[in_air] < 2.5 * u[in_air])
    assert np.abs(z - true)[in_air].max() > 0.002


def fall_from_above() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `fall`, seen from right above, let go soon after a frame."""
    real_s = np.arange(24) / CLOCK_RATE_HZ
    since = np.maximum(real_s - 10.1 / CLOCK_RATE_HZ, 0.0)[:, None]
    true = np.maximum(HEIGHT_M - 0.5 * 9.81 * since**2, RADIUS_M)
    foot = np.zeros((len(real_s), 1, 2))
    foot[..., 0] = 0.5 * SPAN_M
    ends = np.zeros((len(real_s), 2, 3))
    ends[:, 1, 0], ends[:, :, 2] = SPAN_M, HEIGHT_M
    slack = real_s > 10.5 / CLOCK_RATE_HZ
    taut, floor = np.full_like(true, HEIGHT_M), np.full_like(true, RADIUS_M)
    shape = np.where(slack[:, None], RADIUS_M, taut)
    z, u = let_down(
        shape, np.full_like(true, 0.001), foot, np.zeros_like(foot), taut, ends, slack, slack, floor, real_s
    )
    return true, z, u
