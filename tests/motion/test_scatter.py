"""How the errors of rim marks are told apart."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.placing import PlanePlacing
from matchvision.motion.faces import find_face, straighten
from matchvision.motion.rims import RimPlaces, errors_of_marks, scatter_of_marks
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

CIRCLE_M = 0.029
N = 3000
REAL_S = np.arange(N) / 60.0
ALWAYS = np.ones(N, dtype=np.bool_)
PLANS = [MarkerPlan(f"w{i}", "rim", "red", 0.008, circle_m=CIRCLE_M, angle_deg=90.0 * i) for i in (0, 1)]


def rim_with(errors_m: FloatArray) -> RimPlaces:
    """Two marks of a turning wheel, off by errors (n, 2 marks, 2) along and up."""
    place = np.radians([0.0, 90.0]) - 3.0 * REAL_S[:, None]
    nothing = PlanePlacing(np.zeros((N, 2, 3)), np.zeros((N, 2, 3, 3)), np.zeros((N, 2, 3, 3)), np.zeros((N, 2, 3, 15)))
    variance = np.broadcast_to(0.0003**2 * np.eye(2), (N, 2, 2, 2))
    return RimPlaces(
        [0, 1],
        nothing,
        CIRCLE_M * np.cos(place) + errors_m[..., 0],
        CIRCLE_M * np.sin(place) + errors_m[..., 1],
        variance,
        np.zeros((N, 2, 3, 15)),
        np.ones((N, 2), np.bool_),
    )


def slow_errors(generator: np.random.Generator, u_m: float, memory_s: float) -> FloatArray:
    keep = np.exp(-1 / 60.0 / memory_s)
    kicks = u_m * np.sqrt(1 - keep**2) * generator.standard_normal((N, 2, 2))
    errors = np.zeros((N, 2, 2))
    for k in range(1, N):
        errors[k] = keep * errors[k - 1] + kicks[k]
    return errors


def test_slow_errors_are_told_from_fast_ones() -> None:
    generator = np.random.default_rng(12)
    fast = 0.00012 * generator.standard_normal((N, 2, 2))
    rim = rim_with(fast + slow_errors(generator, 0.00025, 0.12))
    found = scatter_of_marks(errors_of_marks(rim, PLANS), ALWAYS, REAL_S)
    assert found is not None
    fast_m, slow = found
    # 3000 angles between the marks that go together over 14 frames (2 memories) are 215 independent ones: a variance to
    # 10 %, the memory to about 20 %; three of each.
    assert slow.u == pytest.approx(0.00025, rel=0.15)
    assert slow.memory_s == pytest.approx(0.12, rel=0.6)
    assert fast_m == pytest.approx(0.00012, rel=0.2)


def test_white_errors_are_not_slow() -> None:
    rim = rim_with(0.0003 * np.random.default_rng(2).standard_normal((N, 2, 2)))
    face = straighten(rim, find_face(rim, PLANS).numbers)
    found = scatter_of_marks(errors_of_marks(face, PLANS), ALWAYS, REAL_S)
    assert found is not None
    assert found[1].u == 0.0
    # 3000 values: a standard deviation to 1.3 %; three of that.
    assert found[0] == pytest.approx(0.0003, rel=0.04)


def test_marks_that_stay_behind_are_seen_to() -> None:
    """A coded picture leaves marks behind along their path while they turn, and hardly moves them across it."""
    place = np.radians([0.0, 90.0]) - 3.0 * REAL_S[:, None]
    turns = np.arange(N) < N // 2
    behind = np.where(turns, 0.0006, 0.00006)[:, None] * np.random.default_rng(3).standard_normal((N, 2))
    rim = rim_with(behind[..., None] * np.stack([-np.sin(place), np.cos(place)], axis=-1))
    found = scatter_of_marks(errors_of_marks(rim, PLANS), turns, REAL_S)
    assert found is not None
    # 1500 values: a standard deviation to 1.8 %; three of that.
    assert found[0][turns] == pytest.approx(0.0006, rel=0.055)
    assert found[0][~turns] == pytest.approx(0.00006, rel=0.055)


def test_too_few_marks_say_nothing() -> None:
    rim = rim_with(np.zeros((N, 2, 2)))
    few = np.zeros((N, 2), np.bool_)
    few[:20] = True
    sparse = RimPlaces(rim.columns, rim.placing, rim.along_m, rim.up_m, rim.variance, rim.camera_jacobian, few)
    assert scatter_of_marks(errors_of_marks(sparse, PLANS), ALWAYS, REAL_S) is None
