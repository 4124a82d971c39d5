"""Where each marker should be now: from poses, wheel angles and neighbours on the rope."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.leaning import LeaningPose
from matchvision.markers.poses import Pose, Profile, stand
from matchvision.records.tracks import MarkerPlan

#: A speed is trusted this long after the last sight, then the marker is taken as standing [s].
COASTING_S = 0.1
#: A wheel out of sight for longer may have any angle [s].
WHEEL_MEMORY_S = 0.3


@dataclass(frozen=True)
class Turning:
    """A quantity with its rate, at a time."""

    value: float
    rate_per_s: float
    at_s: float

    def at(self, clip_s: float) -> float:
        """Value at a time, its rate trusted for a short while only."""
        return self.value + self.rate_per_s * min(clip_s - self.at_s, COASTING_S)


def follow(old: Turning | None, value: float, clip_s: float) -> Turning:
    """The quantity after a new reading."""
    if old is None or clip_s <= old.at_s or clip_s - old.at_s > 0.5:
        return Turning(value, 0.0, clip_s)
    rate = (value - old.value) / (clip_s - old.at_s)
    return Turning(value, 0.5 * old.rate_per_s + 0.5 * rate, clip_s)


@dataclass
class MachineState:
    """Pose and wheel angles of one machine, as last seen; ``pitch`` and ``roll`` while it leans.

    ``contact_m``: half the distances between what it can stand on. ``strained``: whether its markers went together so
    ill in the last frame that it may lean; ``strain``: how ill when it was last found to stand on its wheels after all.
    """

    profile_m: Profile = ()
    contact_m: tuple[float, float] = (0.0, 0.0)
    x: Turning | None = None
    y: Turning | None = None
    heading: Turning | None = None
    pitch: Turning | None = None
    roll: Turning | None = None
    strained: bool = False
    strain: float = 0.0
    wheels: dict[str, Turning] = field(default_factory=dict)

    def pose(self, clip_s: float) -> Pose | None:
        """Pose expected at a time, None while it has never been seen."""
        if self.x is None or self.y is None or self.heading is None:
            return None
        level = stand(self.x.at(clip_s), self.y.at(clip_s), self.heading.at(clip_s), self.profile_m)
        if self.pitch is None or self.roll is None:
            return level
        return LeaningPose(
            level.x_m, level.y_m, level.heading_rad, level.z_m, level.slope_rad, self.pitch.at(clip_s),
            self.roll.at(clip_s), self.contact_m,
        )  # fmt: skip

    def take(self, pose: Pose, clip_s: float) -> None:
        """Note a pose seen."""
        heading = pose.heading_rad
        if self.heading is not None:
            heading = self.heading.value + math.remainder(heading - self.heading.value, math.tau)
        self.x = follow(self.x, pose.x_m, clip_s)
        self.y = follow(self.y, pose.y_m, clip_s)
        self.heading = follow(self.heading, heading, clip_s)
        leaning = pose if isinstance(pose, LeaningPose) else None
        self.pitch = None if leaning is None else follow(self.pitch, leaning.pitch_rad, clip_s)
        self.roll = None if leaning is None else follow(self.roll, leaning.roll_rad, clip_s)

    def knows_wheel(self, wheel: str, clip_s: float) -> bool:
        """Whether the wheel was seen lately enough to say where its marks are."""
        return wheel in self.wheels and clip_s - self.wheels[wheel].at_s <= WHEEL_MEMORY_S

    def take_wheel(self, wheel: str, angle_rad: float, clip_s: float) -> None:
        """Note a wheel angle seen, which is known but for whole turns."""
        old = self.wheels.get(wheel)
        if old is not None:
            expected = old.at(clip_s)
            angle_rad = expected + math.remainder(angle_rad - expected, math.tau)
        self.wheels[wheel] = follow(old, angle_rad, clip_s)


def place_rim(plan: MarkerPlan, pose: Pose, angle_rad: float) -> tuple[float, float, float]:
    """Table place of a rim mark at a wheel angle: driving forward carries it from up to forward."""
    turned = math.radians(plan.angle_deg) - angle_rad
    x, y, z = plan.at_m
    return pose.place_one(x + math.cos(turned) * plan.circle_m, y, z + math.sin(turned) * plan.circle_m)


def predict_machine(
    plans: Sequence[MarkerPlan], columns: Sequence[int], state: MachineState, clip_s: float, place_m: FloatArray
) -> Pose | None:
    """Write the expected table places of a machine's markers into ``place_m`` (m, 3); give the expected pose.

    A rim mark whose wheel's angle is not known is expected at the middle of its face.
    """
    pose = state.pose(clip_s)
    if pose is None:
        return None
    fixed = [i for i in columns if not plans[i].on_reach]
    angles_rad = {w: turning.at(clip_s) for w, turning in state.wheels.items() if state.knows_wheel(w, clip_s)}
    places = []
    for i in fixed:
        plan = plans[i]
        if plan.wheel in angles_rad:
            places.append(place_rim(plan, pose, angles_rad[plan.wheel]))
        else:
            places.append(pose.place_one(*plan.at_m))
    if fixed:
        place_m[fixed] = places
    return pose


def predict_rope(
    columns: Sequence[int],
    arc_m: FloatArray,
    last_m: FloatArray,
    velocity_m_s: FloatArray,
    age_s: FloatArray,
    step_s: float,
    ends: Mapping[float, FloatArray],
    place_m: FloatArray,
) -> None:
    """Write the expected table places of rope markers into ``place_m`` (m, 3).

    A marker seen lately goes on as it moved; one out of sight for longer is expected on the line between its nearest
    known neighbours on the rope (hitches included), by arc length.

    Parameters
    ----------
    arc_m : (m,) float array
        Arc lengths of all markers.
    age_s : (m,) float array
        Time since each was seen; infinite if never.
    step_s : float
        Time since the frame before.
    ends : mapping from arc length to table place
        Hitches known now.
    """
    rope = np.asarray(columns)
    rope_age_s = age_s[rope]
    lately = rope_age_s <= COASTING_S
    moving = rope[lately]
    # After a jerk the speed of one frame says little about the frame after the next.
    going_s = np.where(rope_age_s[lately] <= 1.6 * step_s, rope_age_s[lately], 0.0)
    place_m[moving, :2] = last_m[moving, :2] + velocity_m_s[moving, :2] * going_s[:, None]
    place_m[moving, 2] = last_m[moving, 2]
    if lately.all():
        return
    fresh, stale = moving.tolist(), rope[~lately].tolist()
    points = {float(arc_m[i]): place_m[i].copy() for i in fresh if np.isfinite(arc_m[i])}
    known = {**ends, **points}
    if len(known) < 2:
        return
    arcs = np.array(sorted(known))
    places = np.array([known[a] for a in arcs])
    for i in stale:
        if np.isfinite(arc_m[i]) and arcs[0] <= arc_m[i] <= arcs[-1]:
            for axis in range(2):
                place_m[i, axis] = np.interp(arc_m[i], arcs, places[:, axis])
        elif np.isfinite(arc_m[i]) and len(points) >= 2:
            a, b = (arcs[1], arcs[0]) if arc_m[i] < arcs[0] else (arcs[-2], arcs[-1])
            share = (arc_m[i] - a) / (b - a)
            if abs(share) < 3:
                place_m[i, :2] = known[float(a)][:2] + share * (known[float(b)][:2] - known[float(a)][:2])
