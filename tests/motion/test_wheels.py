"""Wheels' turning and slip."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchvision.geometry.placing import PlanePlacing
from matchvision.motion import measure_motion
from matchvision.motion.rims import RimPlaces, turning_angles
from matchvision.motion.turns import count_turns
from matchvision.records.tracks import MarkerPlan
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, true_cameras, true_tracks

FloatArray = npt.NDArray[np.float64]

CIRCLE_M = 0.029


def rim_of(turned: FloatArray, middle: tuple[float, float], noise_m: float) -> RimPlaces:
    generator = np.random.default_rng(4)
    place = np.radians([0.0, 90.0]) - turned[:, None]
    along = middle[0] + CIRCLE_M * np.cos(place) + noise_m * generator.standard_normal(place.shape)
    up = middle[1] + CIRCLE_M * np.sin(place) + noise_m * generator.standard_normal(place.shape)
    n = len(turned)
    variance = np.broadcast_to(max(noise_m, 1e-6) ** 2 * np.eye(2), (n, 2, 2, 2))
    nothing = PlanePlacing(np.zeros((n, 2, 3)), np.zeros((n, 2, 3, 3)), np.zeros((n, 2, 3, 3)), np.zeros((n, 2, 3, 15)))
    return RimPlaces([0, 1], nothing, along, up, variance, np.zeros((n, 2, 3, 15)), np.ones((n, 2), np.bool_))


PLANS = [MarkerPlan(f"w{i}", "rim", "red", 0.008, circle_m=CIRCLE_M, angle_deg=90.0 * i) for i in (0, 1)]


def test_driving_forward_carries_a_mark_from_up_to_forward() -> None:
    quarter = np.array([0.0, np.pi / 2])
    rim = rim_of(quarter, (0.0, 0.0), 0.0)
    # The second mark starts up (90° from forward through up) and stands forward after a quarter turn.
    assert rim.along_m[:, 1] == pytest.approx([0.0, CIRCLE_M], abs=1e-9)
    angle, _ = turning_angles(rim, PLANS)
    assert angle[1] - angle[0] == pytest.approx(np.pi / 2, abs=1e-9)


@settings(max_examples=25)
@given(st.integers(0, 1000), st.floats(-9.0, 9.0))
def test_turns_are_unwrapped(seed: int, rate: float) -> None:
    generator = np.random.default_rng(seed)
    t = np.cumsum(generator.uniform(0.015, 0.035, 80))
    true = rate * t + 0.3 * np.sin(t)
    seen = np.angle(np.exp(1j * true))
    seen[generator.random(80) < 0.2] = np.nan
    unwrapped = count_turns(seen, t).angle_rad
    known = np.isfinite(unwrapped)
    assert (unwrapped - true)[known] == pytest.approx((unwrapped - true)[known][0], abs=1e-9)


@pytest.mark.parametrize(("clip", "limit_mm_s"), [("flat-match", 7.0), ("sled-link", 6.0), ("hitch-slips", 4.0)])
def test_slip_of_sample_clip(clip: str, limit_mm_s: float) -> None:
    folder = SAMPLE_CLIPS / clip
    run, truth = read_run(folder), read_truth(folder)
    tracks = true_tracks(folder, run, np.random.default_rng(7))
    motion, _ = measure_motion(run, tracks, true_cameras(folder, run))
    for wheel in motion.wheels:
        rate_error = wheel.rate_rad_s - truth[f"{wheel.machine}_wheel_w"].to_numpy()
        slip_error = wheel.slip_speed_m_s - truth[f"{wheel.machine}_slip"].to_numpy()
        assert np.isfinite(slip_error).all()
        assert 1000 * np.sqrt(np.mean(slip_error**2)) < limit_mm_s
        assert np.sqrt(np.mean(rate_error**2)) < 0.03 * truth[f"{wheel.machine}_wheel_w"].abs().max() + 0.05
        assert 0.3 < np.sqrt(np.mean((slip_error / wheel.u_slip_speed_m_s) ** 2)) < 3.0
        assert wheel.angle_rad[0] == 0.0
        kept = np.isfinite(wheel.slip_ratio)
        assert kept.any()
        assert (wheel.u_slip_ratio[kept] <= 0.1).all()
