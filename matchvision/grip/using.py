"""How much of its grip a machine used, in looks of a tenth of a second: what the map of its grip is made of."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray, IntArray
from matchvision.grip.states import SLIDING
from matchvision.grip.wheels import WatchedWheel
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, axle_loads_N
from matchvision.records.motion import MachineMotion, MatchClock
from matchvision.records.pull import Traction
from matchvision.records.sheet import Machine

#: A look takes in so much time: neighbouring frames are tied by the smoothers over about 0.06 s, looks hardly are.
LOOK_S: Final = 0.1
#: A side slides, or grips, where that is surer than this throughout a look; what lies between says nothing.
SURE: Final = 0.9
GRIPS, SLIDES, UNSURE = 0, 1, 2
#: A wheel stands on so much of the table, either side of its middle, and its place is known no better.
STANDS_M: Final = 0.004
#: A machine's motion across its heading is taken over so long: a place's noise over less would be speed.
ACROSS_S: Final = 0.15


@dataclass(frozen=True, eq=False)
class GripUse:
    """One machine's looks, (k,) arrays; of each watched side (s) and driven axle (a).

    Attributes
    ----------
    sides : the watched sides, "left" or "right".
    t_s : match time.
    used, u_used : traction over the driven wheels' load, along the drive direction where the wheels push ahead, its
        opposite where they are dragged; and standard uncertainty.
    state : (s, k) GRIPS, SLIDES or UNSURE.
    x_m, y_m : (s, a, k) places of the wheels on the table.
    blur_m : how far a wheel moves along x in a look, and the length that it stands on, as a standard deviation.
    share : (a, k) share of the load that an axle carries.
    along : (s, a, k) cosine of the angle between sliding and the drive direction, 1 where it grips.
    own, u_own : (s, k) what each side used of its own grip, where the two can be told apart; else of no columns.
    """

    machine: str
    sides: tuple[str, ...]
    t_s: FloatArray
    used: FloatArray
    u_used: FloatArray
    state: IntArray
    x_m: FloatArray
    y_m: FloatArray
    blur_m: FloatArray
    share: FloatArray
    along: FloatArray
    own: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    u_own: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def apart(self) -> bool:
        """Whether each side's own use is told."""
        return self.own.size > 0

    @property
    def all_slide(self) -> BoolArray:
        """Looks in which every watched side slides."""
        return np.asarray((self.state == SLIDES).all(axis=0))

    @property
    def one_slides(self) -> BoolArray:
        """Looks in which one watched side slides and the other grips."""
        return np.asarray((self.state == SLIDES).any(axis=0) & (self.state == GRIPS).any(axis=0))

    @property
    def all_grip(self) -> BoolArray:
        """Looks in which every watched side grips."""
        return np.asarray((self.state == GRIPS).all(axis=0))


def look_at_use(
    machine: Machine,
    moved: MachineMotion,
    watched: Sequence[WatchedWheel],
    traction: Traction,
    real_s: FloatArray,
    clock: MatchClock,
) -> GripUse | None:
    """Looks at what a machine used of its grip while the clock ran; None without a driven wheel watched in two frames.

    A side's wheels are taken to be geared together: a watched one stands for its side. Without ``wheelbase_m`` all
    driven wheels stand where the watched one does.

    Notes
    -----
    Checked by: tests/grip/test_using.py::test_looks_hold_grip_used_and_state
    """
    by_side = {
        side: next((w for w in watched if w.motion.driven and (w.sheet.face_m[1] > 0) == (side == "left")), None)
        for side in ("left", "right")
    }
    wheels = {side: wheel for side, wheel in by_side.items() if wheel is not None}
    if not wheels or len(real_s) < 2:
        return None
    match_s = real_s - clock.start_clip_s * clock.real_per_clip_ratio
    edges = np.arange(0.0, clock.duration_s + LOOK_S / 2, LOOK_S)
    known = np.isfinite(traction.grip_used) & np.isfinite(traction.u_grip_used)
    known &= np.isfinite(moved.x_m) & np.isfinite(moved.y_m) & np.isfinite(moved.heading_deg)
    sides = tuple(wheels)
    axles_m, share = _axles(machine, next(iter(wheels.values())), moved, traction)
    across_m_s, turn_rad_s = _across(moved, real_s)
    heading = np.deg2rad(moved.heading_deg)
    slides = [w.chain.chance[:, list(SLIDING)].sum(axis=1) for w in wheels.values()]
    slip = [w.motion.slip_speed_m_s for w in wheels.values()]
    # Where sides slide opposite ways the machine turns on the spot: no one direction's grip.
    one_way = np.all([np.sign(s) == np.sign(slip[0]) for s in slip], axis=0)
    rows: list[tuple[float, ...]] = []
    states, xs, ys, blurs, shares, cosines = [], [], [], [], [], []
    for first_s, last_s in pairwise(edges):
        at = np.flatnonzero((match_s >= first_s) & (match_s < last_s) & known)
        if len(at) < max(1, 0.5 * LOOK_S / max(float(np.median(np.diff(real_s))), 1e-3)):
            continue
        state = [
            SLIDES if (p[at] > SURE).all() else GRIPS if (p[at] < 1 - SURE).all() else UNSURE
            for p in (np.where(np.isfinite(s), chance, 0.5) for chance, s in zip(slides, slip, strict=True))
        ]
        if UNSURE in state or (SLIDES in state and not one_way[at].all()):
            continue
        sliding = [s[at].mean() for s, word in zip(slip, state, strict=True) if word == SLIDES]
        way = float(np.sign(sliding[0])) if sliding else 1.0
        used = float(traction.grip_used[at].mean()) * way
        rows.append((float(match_s[at].mean()), used, float(np.median(traction.u_grip_used[at]))))
        states.append(state)
        blurs.append(float(np.hypot(np.std(moved.x_m[at]), STANDS_M)))
        shares.append(share[:, at].mean(axis=1))
        x, y, cosine = (np.empty((len(sides), len(axles_m))) for _ in range(3))
        for s, wheel in enumerate(wheels.values()):
            left_m = wheel.sheet.face_m[1]
            for a, ahead_m in enumerate(axles_m):
                x[s, a] = np.mean(moved.x_m[at] + np.cos(heading[at]) * ahead_m - np.sin(heading[at]) * left_m)
                y[s, a] = np.mean(moved.y_m[at] + np.sin(heading[at]) * ahead_m + np.cos(heading[at]) * left_m)
                side_m_s = np.mean(across_m_s[at] + turn_rad_s[at] * ahead_m)
                speed = abs(float(np.mean(slip[s][at])))
                cosine[s, a] = speed / max(np.hypot(speed, side_m_s), 1e-6) if state[s] == SLIDES else 1.0
        xs.append(x)
        ys.append(y)
        cosines.append(cosine)
    if not rows:
        return None
    t_s, used_, u_used = np.array(rows).T
    return GripUse(
        moved.machine, sides, t_s, used_, u_used, np.array(states).T, np.moveaxis(np.array(xs), 0, -1),
        np.moveaxis(np.array(ys), 0, -1), np.array(blurs), np.array(shares).T, np.moveaxis(np.array(cosines), 0, -1),
    )  # fmt: skip


def _axles(
    machine: Machine, wheel: WatchedWheel, moved: MachineMotion, traction: Traction
) -> tuple[list[float], FloatArray]:
    """How far ahead of the machine's middle each driven axle is [m], and its share of the load (a, n)."""
    base, n = machine.wheelbase_m, len(traction.load_N)
    if base is None or machine.mass_kg is None:
        return [wheel.sheet.face_m[0]], np.ones((1, n))
    if machine.driven_wheels is not None and machine.driven_wheels < 4:
        return [np.copysign(base / 2, wheel.sheet.face_m[0])], np.ones((1, n))
    centre = machine.middle_of_mass_m or (0.0, 0.0, 0.0)
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    side = 1.0 if machine.home == "+x" else -1.0
    ahead = moved.accel_m_s2 * side * np.cos(np.deg2rad(moved.heading_deg))
    pulled_N = traction.traction_N - machine.mass_kg * ahead
    front, rear = axle_loads_N(
        machine.mass_kg, STANDARD_GRAVITY_M_S2, base, (centre[0], centre[2]), (hitch[0], hitch[2]), pulled_N, 0.0, ahead
    )
    share = front / np.maximum(front + rear, 1e-9)
    return [base / 2, -base / 2], np.stack([share, 1 - share])


def _across(moved: MachineMotion, real_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Speed (n,) of the machine's middle to its left [m/s] and its turning [rad/s], over about 0.15 s."""
    heading = np.deg2rad(moved.heading_deg)
    width = max(1, round(ACROSS_S / max(float(np.median(np.diff(real_s))), 1e-3)))
    ahead = np.minimum(np.arange(len(real_s)) + width // 2 + 1, len(real_s) - 1)
    behind = np.maximum(np.arange(len(real_s)) - width // 2 - 1, 0)
    span = np.maximum(real_s[ahead] - real_s[behind], 1e-9)
    vx, vy, turn = ((v[ahead] - v[behind]) / span for v in (moved.x_m, moved.y_m, heading))
    across = -np.sin(heading) * vx + np.cos(heading) * vy
    return np.nan_to_num(across), np.nan_to_num(turn)
