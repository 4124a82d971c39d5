"""Parts of a machine beyond wheels: an anchor that holds, creeps and lets go, an arm that reaches out, a wall."""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from pydantic.dataclasses import dataclass

from matchvision.filming.arrays import Array
from matchvision.filming.values import STRICT, Colour, Name, NotNegative, Number, Point2, Positive, Share

#: Stiffness and damping of a bump against a wall.
WALL_N_PER_M, WALL_N_S_PER_M = 2.0e4, 200.0


@dataclass(frozen=True, config=STRICT)
class Anchor:
    """A base that holds up to ``holding_N``, less ``leak_N_per_s`` from the start on.

    Above ``creeps_at_ratio`` of its hold it creeps, at its hold with ``creep_m_s``; beyond it breaks away and drags
    with the machine's ``grip_ratio``.
    """

    holding_N: Positive
    leak_N_per_s: NotNegative = 0.0
    creeps_at_ratio: Share = 1.0
    creep_m_s: NotNegative = 0.0

    def hold_at(self, match_s: float) -> float:
        """What it holds at a moment."""
        return max(self.holding_N - self.leak_N_per_s * max(match_s, 0.0), 0.0)


@dataclass(frozen=True, config=STRICT)
class Arm:
    """An arm that carries the hitch outwards, away from home: it starts at ``at_s`` (match time) and takes ``lasts_s``.

    It gathers speed over a third of that time and stops within ``stop_s``.
    """

    stroke_m: Positive
    mass_kg: Positive
    at_s: Number
    lasts_s: Positive
    stop_s: Positive = 0.04

    @property
    def top_m_s(self) -> float:
        """Its speed between gathering speed and stopping."""
        return self.stroke_m / (self.lasts_s - self.lasts_s / 6 - self.stop_s / 2)

    def out_m(self, match_s: Array) -> Array:
        """How far it is out at some moments."""
        first, stop = self.lasts_s / 3, self.lasts_s - self.stop_s
        t = np.clip(match_s - self.at_s, 0.0, self.lasts_s)
        gathering = 0.5 * np.minimum(t, first) ** 2 / first
        steady = np.clip(t - first, 0.0, stop - first)
        late = np.clip(t - stop, 0.0, self.stop_s)
        return np.asarray(self.top_m_s * (gathering + steady + late - 0.5 * late**2 / self.stop_s))

    def accel_m_s2(self, match_s: float) -> float:
        """Its acceleration outwards."""
        t = match_s - self.at_s
        if 0 <= t < self.lasts_s / 3:
            return self.top_m_s / (self.lasts_s / 3)
        if self.lasts_s - self.stop_s <= t < self.lasts_s:
            return -self.top_m_s / self.stop_s
        return 0.0


@dataclass(frozen=True, config=STRICT)
class Wall:
    """A block that ``owner`` has set on the table: along x, across, and its height."""

    owner: Name
    at_m: Point2
    size_m: tuple[Positive, Positive, Positive]
    colour: Colour = "#8a6f4d"

    def push_on(self, nose_x: float, y: float, half_width_m: float, way: Literal[-1, 1], speed_x: float) -> float:
        """Force along x on a body whose end towards ``way`` is at ``nose_x``; 0 where they do not touch."""
        if abs(y - self.at_m[1]) > half_width_m + self.size_m[1] / 2:
            return 0.0
        face = self.at_m[0] - way * self.size_m[0] / 2
        into = way * (nose_x - face)
        if not 0 < into < self.size_m[0]:
            return 0.0
        return -way * max(WALL_N_PER_M * into + WALL_N_S_PER_M * way * speed_x, 0.0)


def anchored_speed(anchor: Anchor, pull_N: float, match_s: float) -> float | None:
    """Creep of an anchored base under a pull [m/s], with the pull's sign; None where it cannot hold."""
    hold = anchor.hold_at(match_s)
    if abs(pull_N) > hold:
        return None
    free = anchor.creeps_at_ratio * hold
    if abs(pull_N) <= free or anchor.creeps_at_ratio >= 1:
        return 0.0
    return math.copysign(anchor.creep_m_s * (abs(pull_N) - free) / (hold - free), pull_N)


def lift_rad(lift: Sequence[Point2], match_s: Array) -> list[float]:
    """How far a machine's nose is up at some moments, from (match time, degrees) joined by straight lines."""
    if not lift:
        return [0.0] * len(match_s)
    at_s, degrees = np.array(lift, dtype=float).T
    return [float(angle) for angle in np.deg2rad(np.interp(match_s, at_s, degrees, left=0.0, right=0.0))]
