"""Wheels' faces that lie elsewhere than pose and camera put them, and look wider or drawn out."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.placing import PlanePlacing
from matchvision.motion.faces import OWN_SHARE, find_face, straighten
from matchvision.motion.rims import RimPlaces, errors_of_marks, scatter_of_marks, turning_angles
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

CIRCLE_M = 0.029
#: Middle along and up [m]; wider, longer along than up, longer aslant.
TRUE = np.array([0.0015, -0.0020, 0.012, -0.008, 0.006])
PLANS = [MarkerPlan(f"w{i}", "rim", "red", 0.008, circle_m=CIRCLE_M, angle_deg=90.0 * i) for i in (0, 1)]


def rim_of(turned: FloatArray, noise_m: float, seed: int, marks: int = 2) -> RimPlaces:
    """Marks of a face as `TRUE` tells, with white noise."""
    generator = np.random.default_rng(seed)
    place = np.radians([0.0, 90.0][:marks]) - turned[:, None]
    c, s = CIRCLE_M * np.cos(place), CIRCLE_M * np.sin(place)
    _, _, wider, longer, aslant = TRUE
    along = TRUE[0] + (1 + wider + longer) * c + aslant * s
    up = TRUE[1] + (1 + wider - longer) * s + aslant * c
    n = len(turned)
    variance = np.broadcast_to(noise_m**2 * np.eye(2), (n, marks, 2, 2))
    size = (n, marks)
    nothing = PlanePlacing(np.zeros((*size, 3)), *(np.zeros((*size, 3, k)) for k in (3, 3, 15)))
    along, up = (part + noise_m * generator.standard_normal(size) for part in (along, up))
    columns = list(range(marks))
    return RimPlaces(columns, nothing, along, up, variance, np.zeros((*size, 3, 15)), np.ones(size, np.bool_))


def test_a_face_that_is_moved_and_drawn_out_is_found() -> None:
    turned = np.linspace(0, 9, 300)
    off = []
    for seed in range(40):
        rim = rim_of(turned, 0.0004, seed)
        face = find_face(rim, PLANS)
        # White errors count in full, though the fit takes only a share of them as each frame's own.
        off.append((face.numbers - TRUE) / np.sqrt(OWN_SHARE * np.diag(face.covariance)))
    # 200 numbers, known to themselves by 5 %; those of one fit go together a little. What is beyond first order in a
    # ratio of 1 % of a circle of 29 mm is 0.003 mm, a tenth of u.
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(1.0, abs=0.2)
    angle, u = turning_angles(straighten(rim, face.numbers), PLANS)
    error = np.angle(np.exp(1j * (angle - turned)))
    assert np.sqrt(np.mean((error / u) ** 2)) == pytest.approx(1.0, abs=0.15)


def test_a_face_drawn_out_is_not_taken_for_errors_that_go_together() -> None:
    """A wheel that turns only a little: white errors stay white, however its face is drawn out."""
    turned = np.linspace(0, 2, 1500)
    rim, real_s, ever = rim_of(turned, 0.0004, 3), np.arange(1500) / 60.0, np.ones(1500, dtype=np.bool_)
    straight = straighten(rim, find_face(rim, PLANS).numbers)
    found = scatter_of_marks(errors_of_marks(straight, PLANS), ever, real_s)
    assert found is not None
    # 1500 values: a standard deviation to 1.8 %; three of that. Slow errors below their own threshold,
    # √(2 · 0.0004² / √1500), are none.
    assert found[0] == pytest.approx(0.0004, rel=0.055)
    assert found[1].u < 0.0001
    untouched = scatter_of_marks(errors_of_marks(rim, PLANS), ever, real_s)
    assert untouched is not None
    assert untouched[1].u > 0.0001


@pytest.mark.parametrize("marks", [1, 2])
def test_marks_that_stand_leave_the_face_unsure(marks: int) -> None:
    face = find_face(rim_of(np.full(50, 0.3), 0.0004, 1, marks), PLANS[:marks])
    u = np.sqrt(np.diag(face.covariance))
    assert np.isfinite(face.numbers).all()
    # One place on the circle cannot tell a middle from a width: as unsure as beforehand.
    assert u.max() > 0.01
    assert np.linalg.eigvalsh(face.covariance).min() > 0
