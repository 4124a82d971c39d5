"""Machines that rear up or are tipped: their tilt from their markers' pixels, so that these are looked for where it is.

Only for the search: what a machine's tilt was is measured afterwards, from all frames together.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.poses import Pose, Profile, stand
from matchvision.markers.projecting import project_markers
from matchvision.records.camera import Camera
from matchvision.records.sheet import Machine
from matchvision.records.tracks import MarkerPlan

#: Distances between axles and sides where the sheet does not say them: small machines [m].
_USUAL_CONTACT_M: Final = 0.15
#: How well a marker's pixel is known against the sheet's places, a millimetre or two of which are usual [px].
_U_PIXEL_PX: Final = 1.0
#: A body fits where its markers lie this near to it [px, rms over what is to spare].
_FITS_PX: Final = 2.5
#: What one frame may bring beside what was foreseen: place [m], heading, pitch and roll [rad].
_U_FORESEEN: Final = (0.05, 0.05, 0.3, 0.12, 0.06)
#: A wheel may turn by any angle between looks.
_U_WHEEL_RAD: Final = 1.0
#: A machine leans from this tilt on where it is so many standard uncertainties, until it falls below the lesser one.
LEANS_RAD: Final = 0.035
LEANS_U: Final = 3.0
STANDS_RAD: Final = 0.015
#: Turns of Gauss–Newton, a step that needs no further one, and the longest step of an angle.
_TURNS: Final = 6
_SETTLED: Final = 1e-4
_LONGEST_RAD: Final = 0.2
_STEPS: Final = (1e-4, 1e-4, 1e-3, 1e-3, 1e-3)


@dataclass(frozen=True)
class LeaningPose(Pose):
    """A machine that stands on an axle or on one side: nose up and left side up are positive [rad].

    ``contact_m``: half the distances between what it can stand on, lengthwise and across.
    """

    pitch_rad: float = 0.0
    roll_rad: float = 0.0
    contact_m: tuple[float, float] = (0.0, 0.0)

    @cached_property
    def _axes(self) -> tuple[tuple[float, float, float], ...]:
        """Forward, left and up, and the origin, in the table frame."""
        ch, sh = math.cos(self.heading_rad), math.sin(self.heading_rad)
        cs, ss = math.cos(self.slope_rad), math.sin(self.slope_rad)
        cp, sp = math.cos(self.pitch_rad), math.sin(self.pitch_rad)
        cr, sr = math.cos(self.roll_rad), math.sin(self.roll_rad)
        ahead, aside, off = (ch * cs, sh, ch * ss), (-sh * cs, ch, -sh * ss), (-ss, 0.0, cs)
        forward = tuple(cp * a + sp * o for a, o in zip(ahead, off, strict=True))
        raised = tuple(cp * o - sp * a for a, o in zip(ahead, off, strict=True))
        left = tuple(cr * a + sr * r for a, r in zip(aside, raised, strict=True))
        up = tuple(cr * r - sr * a for a, r in zip(aside, raised, strict=True))
        lift = abs(sp) * self.contact_m[0] + abs(sr) * self.contact_m[1]
        origin = (self.x_m + lift * off[0], self.y_m, self.z_m + lift * off[2])
        return forward, left, up, origin  # type: ignore[return-value]

    def place(self, at_m: FloatArray) -> FloatArray:
        """Table points (..., 3) of machine points (..., 3) [m]."""
        forward, left, up, origin = self._axes
        return np.asarray(np.asarray(at_m, dtype=np.float64) @ np.array([forward, left, up]) + np.array(origin))

    def place_one(self, x_m: float, y_m: float, z_m: float) -> tuple[float, float, float]:
        """Table point of a single machine point [m]."""
        f, s, u, o = self._axes
        return (
            o[0] + f[0] * x_m + s[0] * y_m + u[0] * z_m,
            o[1] + f[1] * x_m + s[1] * y_m + u[1] * z_m,
            o[2] + f[2] * x_m + s[2] * y_m + u[2] * z_m,
        )

    def in_profile(self, x_m: float, y_m: float, z_m: float) -> tuple[float, float]:
        """Parts of a table vector along the machine and along its own upright [m]."""
        f, _, u, _ = self._axes
        return f[0] * x_m + f[1] * y_m + f[2] * z_m, u[0] * x_m + u[1] * y_m + u[2] * z_m

    @property
    def forward(self) -> FloatArray:
        """Unit vector along the machine, table frame."""
        return np.array(self._axes[0])

    @property
    def left(self) -> FloatArray:
        """Unit vector to the machine's left, table frame."""
        return np.array(self._axes[1])

    @property
    def up(self) -> FloatArray:
        """Unit vector along the machine's own upright, table frame."""
        return np.array(self._axes[2])


def contact_of(machine: Machine) -> tuple[float, float]:
    """Half the distances between what a machine can stand on, lengthwise and across [m]."""
    size = machine.size_m
    length = machine.wheelbase_m or (size[0] if size is not None else _USUAL_CONTACT_M)
    sides = [abs(wheel.face_m[1]) for wheel in machine.wheel]
    width = 2 * max(sides) if sides else (size[1] if size is not None else _USUAL_CONTACT_M)
    return length / 2, width / 2


@dataclass(frozen=True)
class Lean:
    """A pose with its tilt as markers show it, wheel angles [rad], the tilt's u [rad] and the misfit [px]."""

    pose: LeaningPose
    wheel_rad: Mapping[str, float]
    u_pitch_rad: float
    u_roll_rad: float
    misfit_px: float

    @property
    def fits(self) -> bool:
        """Whether the markers lie where a rigid body in this pose has them."""
        return self.misfit_px < _FITS_PX

    @property
    def leans(self) -> bool:
        """Whether it surely does not stand on all its wheels."""
        return any(
            abs(tilt) > max(LEANS_RAD, LEANS_U * u)
            for tilt, u in ((self.pose.pitch_rad, self.u_pitch_rad), (self.pose.roll_rad, self.u_roll_rad))
        )

    @property
    def stands(self) -> bool:
        """Whether it stands level again."""
        return max(abs(self.pose.pitch_rad), abs(self.pose.roll_rad)) < STANDS_RAD


def fit_lean(
    plans: Sequence[MarkerPlan],
    columns: Sequence[int],
    place_px: FloatArray,
    camera: Camera,
    foreseen: Pose,
    wheel_rad: Mapping[str, float],
    contact_m: tuple[float, float],
    profile_m: Profile,
) -> Lean | None:
    """The pose, tilt and wheel angles that bring a rigid body's markers nearest to their pixels; None with too few.

    Parameters
    ----------
    columns : sequence of int
        Its own markers and rim marks that are seen.
    place_px : (m, 2) float array
        Of all markers.
    foreseen : Pose
        What is expected, from which a frame may differ by so much; one that does not lean is expected level.
    wheel_rad : mapping from wheel to angle
        Expected; of every wheel with a mark among the columns.

    Notes
    -----
    Gauss–Newton on the pixels under a normal prior about what is foreseen. The body stands on its rear axle while its
    nose is up and on its front axle while its tail is, and likewise on its sides.
    Checked by: tests/markers/test_leaning.py::test_tilt_is_found_from_pixels
    """
    wheels = sorted({plans[i].wheel for i in columns if plans[i].kind == "rim"})
    count = 5 + len(wheels)
    if 2 * len(columns) < count or len(columns) < 3:
        return None
    tilt = (foreseen.pitch_rad, foreseen.roll_rad) if isinstance(foreseen, LeaningPose) else (0.0, 0.0)
    prior = np.array([foreseen.x_m, foreseen.y_m, foreseen.heading_rad, *tilt, *(wheel_rad[w] for w in wheels)])
    weight = np.array([*_U_FORESEEN, *[_U_WHEEL_RAD] * len(wheels)]) ** -2.0
    steps = np.array([*_STEPS, *[1e-3] * len(wheels)])
    seen_px = place_px[list(columns)]
    mine = [plans[i] for i in columns]
    turned = [wheels.index(p.wheel) + 5 if p.kind == "rim" else -1 for p in mine]

    def sight(states: FloatArray) -> FloatArray:
        """Pixels (s, k, 2) for states (s, d)."""
        places = [point for state in states.tolist() for point in _places(mine, turned, state, contact_m, profile_m)]
        return project_markers(camera.parameters, np.array(places)).reshape(len(states), len(mine), 2)

    state, normal, off = prior.copy(), np.eye(count), np.zeros(0)
    for _ in range(_TURNS):
        pictures = sight(np.vstack([state, state + np.diag(steps)]))
        off = (seen_px - pictures[0]).ravel()
        design = (pictures[1:] - pictures[0]).reshape(count, -1).T / steps
        if not (np.isfinite(off).all() and np.isfinite(design).all()):
            return None
        normal = design.T @ design / _U_PIXEL_PX**2 + np.diag(weight)
        step = np.linalg.solve(normal, design.T @ off / _U_PIXEL_PX**2 + weight * (prior - state))
        state = state + np.clip(step, -_LONGEST_RAD, _LONGEST_RAD)
        if np.abs(step).max() < _SETTLED:
            break
    off = (seen_px - sight(state[None])[0]).ravel()
    spread = np.sqrt(np.diag(np.linalg.inv(normal)))
    pose = _stand(state.tolist(), contact_m, profile_m)
    spare = max(len(off) - count, 1)
    return Lean(
        pose, {w: float(state[5 + n]) for n, w in enumerate(wheels)}, float(spread[3]), float(spread[4]),
        float(np.sqrt((off**2).sum() / spare)),
    )  # fmt: skip


def _stand(state: Sequence[float], contact_m: tuple[float, float], profile_m: Profile) -> LeaningPose:
    level = stand(state[0], state[1], state[2], profile_m)
    return LeaningPose(
        level.x_m, level.y_m, level.heading_rad, level.z_m, level.slope_rad, state[3], state[4], contact_m
    )


def _places(
    plans: Sequence[MarkerPlan],
    turned: Sequence[int],
    state: Sequence[float],
    contact_m: tuple[float, float],
    profile_m: Profile,
) -> list[tuple[float, float, float]]:
    """Table places of markers in a state; rim marks as their wheels are turned."""
    pose = _stand(state, contact_m, profile_m)
    places = []
    for plan, wheel in zip(plans, turned, strict=True):
        x, y, z = plan.at_m
        if wheel >= 0:
            angle = math.radians(plan.angle_deg) - state[wheel]
            x, z = x + math.cos(angle) * plan.circle_m, z + math.sin(angle) * plan.circle_m
        places.append(pose.place_one(x, y, z))
    return places
