"""Where a wheel's face truly lies and how it is drawn out: what its own marks say of it, against pose and camera."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.motion.rims import WILD_MARK_M, RimPlaces
from matchvision.records.tracks import MarkerPlan

#: How far the face's middle may lie off where pose and sheet put it, in its plane [m].
U_FACE_MIDDLE_M: Final = 0.004
#: How much its circle may be wider, or longer one way than the other: read with a rule to some tenths of a millimetre
#: of 30, and seen by a camera that is off, on a plane that is off.
U_FACE_DRAWN_RATIO: Final = 0.02
#: Errors of neighbouring frames go together: so much of each frame's weight is its own.
OWN_SHARE: Final = 0.1
#: Turns of Gauss–Newton.
TURNS: Final = 6
#: Numbers that describe a face: its middle along and up [m], and by how much it is wider, longer along than up, and
#: longer aslant.
SIZE: Final = 5


@dataclass(frozen=True, eq=False)
class Face:
    """A wheel's face as its marks show it: the five numbers (5,) and their covariance (5, 5)."""

    numbers: FloatArray
    covariance: FloatArray


def straighten(rim: RimPlaces, numbers: FloatArray) -> RimPlaces:
    """The marks' places about the face's own middle, as on a circle of the stated size."""
    wider, longer, aslant = numbers[2:]
    along, up = rim.along_m - numbers[0], rim.up_m - numbers[1]
    return replace(
        rim,
        along_m=along - (wider + longer) * along - aslant * up,
        up_m=up - (wider - longer) * up - aslant * along,
    )


def find_face(rim: RimPlaces, plans: list[MarkerPlan]) -> Face:
    """A wheel's face from its marks, which keep their distance from the middle and their angles to each other.

    An error of the camera or of the pose moves the face and draws it out; all frames share that, so a wheel would seem
    to turn unevenly, and marks that go round show it.

    Notes
    -----
    Place p of a mark at the angle ψ: p = m + (1 + E) c (cos ψ, sin ψ), E symmetric. Gauss–Newton on the distances,
    c (nᵀ E n) + nᵀ m, and on the angles between neighbouring marks, to which each gives τᵀ E n + τᵀ m / c, with n and τ
    across and along the circle; under a prior about zero, with `OWN_SHARE` of the pixels' weight.
    Checked by: tests/motion/test_faces.py::test_a_face_that_is_moved_and_drawn_out_is_found
    """
    circle = np.array([p.circle_m for p in plans])
    apart = np.radians([p.angle_deg for p in plans])
    prior = np.diag(np.array([U_FACE_MIDDLE_M] * 2 + [U_FACE_DRAWN_RATIO] * 3) ** -2.0)
    numbers, normal = np.zeros(SIZE), prior
    seen = rim.seen & np.isfinite(rim.along_m) & np.isfinite(rim.variance).all(axis=(2, 3))
    for _ in range(TURNS if seen.any() else 0):
        q = straighten(rim, numbers)
        reach, place = np.hypot(q.along_m, q.up_m), np.arctan2(q.up_m, q.along_m)
        n, tau = np.stack([np.cos(place), np.sin(place)], -1), np.stack([-np.sin(place), np.cos(place)], -1)
        across, turn = _derivatives(n, n, circle), _derivatives(tau, n, circle)
        off = reach - circle
        good = seen & (np.abs(off) < WILD_MARK_M)
        safe = np.where(good[..., None, None], rim.variance, np.eye(2))
        normal, right = prior.copy(), -prior @ numbers
        for design, residual, variance, known in (
            (across, off, np.einsum("nki,nkij,nkj->nk", n, safe, n), good),
            *_between(turn, place, np.einsum("nki,nkij,nkj->nk", tau, safe, tau), good, circle, apart),
        ):
            weight = OWN_SHARE / variance[known]
            normal = normal + (design[known] * weight[:, None]).T @ design[known]
            right = right + (design[known] * weight[:, None]).T @ residual[known]
        numbers = numbers + np.linalg.solve(normal, right)
    return Face(numbers, np.asarray(np.linalg.inv(normal)))


def _derivatives(unit: FloatArray, n: FloatArray, circle_m: FloatArray) -> FloatArray:
    """How marks (…, k, 5) move along a direction with the five numbers."""
    c = circle_m[:, None]
    wider = (unit * n).sum(-1, keepdims=True)
    longer = unit[..., :1] * n[..., :1] - unit[..., 1:] * n[..., 1:]
    aslant = unit[..., :1] * n[..., 1:] + unit[..., 1:] * n[..., :1]
    return np.concatenate([unit, c * wider, c * longer, c * aslant], axis=-1)


def _between(
    turn: FloatArray, place: FloatArray, variance: FloatArray, good: npt.NDArray[np.bool_], circle: FloatArray,
    apart: FloatArray,
) -> list[tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]]:  # fmt: skip
    """Design, residual [m], variance and what is known of the angle between each mark and the next."""
    found = []
    for i, j in pairwise(range(len(circle))):
        size = 0.5 * (circle[i] + circle[j])
        off = size * np.angle(np.exp(1j * (place[:, i] - place[:, j] - apart[i] + apart[j])))
        design = size * (turn[:, i] / circle[i] - turn[:, j] / circle[j])
        spread = size**2 * (variance[:, i] / circle[i] ** 2 + variance[:, j] / circle[j] ** 2)
        found.append((design, off, spread, good[:, i] & good[:, j] & (np.abs(off) < WILD_MARK_M)))
    return found
