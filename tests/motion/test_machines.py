"""Poses from markers."""

from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchvision.motion.bodies import BodyPlaces
from matchvision.motion.bodyfit import rigid_fit
from matchvision.motion.machines import Pose
from matchvision.motion.scatter import NO_SLOW_NOISE
from matchvision.motion.smoothing import smooth_series
from matchvision.motion.surface import Ground

OFFSETS = np.array([[0.09, 0.0], [-0.09, 0.01], [0.0, 0.08]])


def place(x: float, y: float, heading: float, offsets: npt.NDArray[np.float64] = OFFSETS) -> npt.NDArray[np.float64]:
    c, s = np.cos(heading), np.sin(heading)
    return np.asarray(offsets @ np.array([[c, s], [-s, c]]) + [x, y])[None]


@given(st.floats(-1, 1), st.floats(-0.5, 0.5), st.floats(-3.1, 3.1), st.integers(2, 3))
def test_pose_of_two_points(x: float, y: float, heading: float, count: int) -> None:
    covariance = np.broadcast_to(np.diag([1e-7, 4e-7]), (1, count, 2, 2))
    points = place(x, y, heading)[:, :count]
    pose, cov, _ = rigid_fit(points, covariance, OFFSETS[:count], np.array([heading + 0.4]), np.array([100.0]))
    assert pose[0, :2] == pytest.approx([x, y], abs=1e-6)
    assert np.angle(np.exp(1j * (pose[0, 2] - heading))) == pytest.approx(0.0, abs=1e-6)
    assert np.linalg.eigvalsh(cov[0]).min() > 0


def test_covariance_is_that_of_many_draws() -> None:
    generator = np.random.default_rng(3)
    spread = np.array([[2e-7, 5e-8], [5e-8, 6e-7]])
    points = place(0.3, -0.1, 2.9)
    noise = generator.multivariate_normal(np.zeros(2), spread, (4000, 3))
    covariance = np.broadcast_to(spread, (4000, 3, 2, 2))
    pose, cov, leverage = rigid_fit(points + noise, covariance, OFFSETS, np.full(4000, 3.0), np.full(4000, 100.0))
    # The variance of 4000 draws is known to 2.2 %; four of that.
    assert np.cov(pose, rowvar=False).diagonal() == pytest.approx(cov[0].diagonal(), rel=0.09)
    assert np.einsum("nikl,nkl->ni", leverage, noise) == pytest.approx(pose - [0.3, -0.1, 2.9], abs=5e-5)


def test_one_point_leans_on_the_prior() -> None:
    points = np.full((1, 3, 2), np.nan)
    points[0, 0] = place(0.2, 0.1, 3.0)[0, 0]
    covariance = np.broadcast_to(1e-7 * np.eye(2), (1, 3, 2, 2))
    pose, cov, _ = rigid_fit(points, covariance, OFFSETS, np.array([3.0]), np.array([0.1]))
    assert pose[0] == pytest.approx([0.2, 0.1, 3.0], abs=1e-9)
    assert np.sqrt(cov[0, 2, 2]) == pytest.approx(0.1, rel=1e-6)
    # Across, the origin swings with the heading on an arm of 90 mm.
    assert np.sqrt(cov[0, 1, 1]) == pytest.approx(0.009, rel=0.05)


def test_nothing_seen_is_not_a_place() -> None:
    pose, cov, _ = rigid_fit(
        np.full((1, 3, 2), np.nan), np.full((1, 3, 2, 2), np.nan), OFFSETS, np.array([3.0]), np.array([0.1])
    )
    assert np.isnan(pose).all()
    assert np.isnan(cov).all()


def test_a_wheel_beside_a_turning_machine_goes_its_own_way() -> None:
    """Round a circle of radius R to the left a wheel y to the left of the middle makes (R − y) of way a radian."""
    n, radius_m, aside_m = 240, 0.8, 0.12
    t_s = np.arange(n) / 60.0
    turned = 0.3 * t_s
    along_m, y_m = radius_m * np.sin(turned), radius_m * (1 - np.cos(turned))
    exact = np.full(n, 1e-5)
    along, y, heading = (smooth_series(t_s, series, exact, drive=1.0) for series in (along_m, y_m, turned))
    pose = Pose(
        "heron", 1.0, cast(Ground, None), along, y, heading, np.zeros((n, 3, 15)), np.stack([along_m, y_m], axis=1),
        np.full((n, 2), 1e-5), NO_SLOW_NOISE, 1.0, turned, exact, True, cast(BodyPlaces, None),
    )  # fmt: skip
    for side, way_m in ((0.0, radius_m * turned), (aside_m, (radius_m - aside_m) * turned)):
        travel_m, u_m = pose.travel_along_drive(t_s, side)
        assert travel_m - travel_m[0] == pytest.approx(way_m, abs=2e-4)
        assert u_m.max() < 2e-5
