"""What each side of a machine used of its grip, where only one side's wheel is seen: the drive tells them apart."""

from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.drive import MotorLine
from matchvision.grip.using import GRIPS, LOOK_S, SLIDES, UNSURE, GripUse
from matchvision.records.motion import MachineMotion, MatchClock, WheelMotion
from matchvision.records.pull import Traction
from matchvision.uncertainty import K_95

#: The line is put to scale by so many looks at least in which the seen side grips, …
LEAST_LOOKS: Final = 8
#: … each under so much of the greatest load asked of it, and no worse than this about one scale, or it is not trusted.
LOADED_RATIO: Final = 0.4
WORST_SCATTER: Final = 0.06
#: No line is better known than this from look to look.
LEAST_SCATTER: Final = 0.02
#: A geared drive without load comes up to its free rate in about this long: what its unstated inertia may be.
RUNS_UP_S: Final = 0.02
#: How well a line's slope is known: what it promises at rates away from those at which it was put to scale.
U_SLOPE_RATIO: Final = 0.1
#: The other side slides where it uses less than what its drive would bring at the ground's speed, by more than this.
BALANCE_RATIO: Final = 0.12
#: Sides are told apart where one slides and they are unlike in so many looks: of like sides the whole tells more.
LEAST_UNLIKE: Final = 3


def tell_sides_apart(
    use: GripUse,
    wheel: WheelMotion,
    moved: MachineMotion,
    traction: Traction,
    line: MotorLine,
    half_track_m: float,
    real_s: FloatArray,
    clock: MatchClock,
) -> GripUse:
    """The same looks with both sides, each with its own use; as they were where the drive cannot tell.

    Half of the motors drive each side. At the seen wheel's rate the motor line says what that side brings to the
    table, and the other side brings the rest of the traction. The line is put to scale by the looks in which the seen
    side grips, so that an error that it has all along does not count.

    Notes
    -----
    F = (T(ω)/2 − friction/2 − I/2 · dω/dt) / r for a side; the other side grips where it brings what the line promises
    at the rate of rolling, v/r, and slides where it brings less.
    Checked by: tests/grip/test_sides.py::test_other_side_is_told_by_the_drive
    """
    if len(use.sides) != 1:
        return use
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s, radius = real_s - zero_s, wheel.radius_m
    side_way = 1.0 if use.sides[0] == "left" else -1.0
    turning = np.gradient(np.deg2rad(moved.heading_deg), real_s)
    # A machine that turns left rolls faster on its right.
    rolls = (wheel.surface_speed_m_s - wheel.slip_speed_m_s + side_way * turning * half_track_m) / radius
    gathers = np.gradient(wheel.rate_rad_s, real_s)
    friction = 0.5 * line.friction_Nm
    brings = (0.5 * line.torque_Nm(wheel.rate_rad_s) - friction * np.sign(wheel.rate_rad_s)) / radius
    would = (0.5 * line.torque_Nm(rolls) - friction * np.sign(rolls)) / radius
    half_N = 0.5 * traction.load_N
    seen, other, u_spent = (np.full(len(use.t_s), np.nan) for _ in range(3))
    inertia, u_inertia = line.inertia_kg_m2 or 0.0, 0.0
    if line.inertia_kg_m2 is None:
        u_inertia = RUNS_UP_S * line.stall_Nm / line.free_rad_s
    for k, t in enumerate(use.t_s):
        at = (np.abs(match_s - t) <= LOOK_S / 2) & np.isfinite(brings + would + half_N + gathers)
        if not at.any():
            continue
        # Torque that a wheel keeps for its own inertia.
        spent = 0.5 * gathers[at].mean() / radius / half_N[at].mean()
        seen[k] = brings[at].mean() / half_N[at].mean() - inertia * spent
        other[k], u_spent[k] = would[at].mean() / half_N[at].mean(), u_inertia * abs(spent)
    grips = (use.state[0] == GRIPS) & np.isfinite(seen) & (seen > 0)
    grips &= use.used > LOADED_RATIO * float(np.max(use.used, initial=0.0))
    if grips.sum() < LEAST_LOOKS:
        return use
    scale, scatter = _scale_of(use.used[grips] / seen[grips])
    if not scatter < WORST_SCATTER or not 0.5 < scale < 2.0:
        return use
    scatter = max(scatter, LEAST_SCATTER)
    seen, other = scale * seen, scale * other
    rest = 2 * use.used - seen
    away = U_SLOPE_RATIO * np.abs(seen - scale * at_usual_rate(line, wheel, use, grips, match_s, half_N))
    u_seen = np.sqrt((scatter * seen) ** 2 + u_spent**2 + away**2)
    u_rest = np.hypot(u_seen, 0.5 * use.u_used)
    lacks = other - rest
    u_lacks = np.hypot(u_rest, scatter * np.abs(other))
    state = np.full(len(use.t_s), UNSURE)
    # While little is asked, what the drive keeps for itself looks like a lack.
    loaded = seen > LOADED_RATIO * float(np.max(seen[grips]))
    state[loaded & (lacks > BALANCE_RATIO * np.abs(other) + K_95 * u_lacks)] = SLIDES
    state[lacks < np.fmax(BALANCE_RATIO * np.abs(other), K_95 * u_lacks) / 2] = GRIPS
    slides = (use.state[0] == SLIDES) | (state == SLIDES)
    unlike = np.abs(seen - rest) > BALANCE_RATIO * np.abs(other) + K_95 * np.hypot(u_seen, u_rest)
    if (slides & unlike).sum() < LEAST_UNLIKE:
        return use
    unseen = "right" if use.sides[0] == "left" else "left"
    across = 2 * side_way * half_track_m
    heading = np.interp(use.t_s, match_s, np.deg2rad(np.nan_to_num(moved.heading_deg)))
    x = use.x_m[0] + across * np.sin(heading)
    y = use.y_m[0] - across * np.cos(heading)
    known = np.isfinite(seen)
    return replace(
        use,
        sides=(*use.sides, unseen),
        state=np.stack([use.state[0], np.where(known, state, UNSURE)]),
        x_m=np.concatenate([use.x_m, x[None]]),
        y_m=np.concatenate([use.y_m, y[None]]),
        along=np.concatenate([use.along, np.ones_like(use.along)]),
        own=np.stack([seen, rest]),
        u_own=np.stack([u_seen, u_rest]),
    )


def _scale_of(ratios: FloatArray) -> tuple[float, float]:
    """Scale of the line and scatter about it, from the looks in which both sides grip.

    While the other side slides the whole is less than twice the seen side: those looks lie below the others and are
    left out, from the upper quartile on.
    """
    scale = float(np.percentile(ratios, 75))
    for _ in range(3):
        near = ratios[np.abs(ratios / scale - 1) < 2 * WORST_SCATTER]
        if len(near) < LEAST_LOOKS:
            return scale, np.inf
        scale = float(np.median(near))
    return scale, float(np.median(np.abs(near / scale - 1))) / 0.6745


def at_usual_rate(
    line: MotorLine, wheel: WheelMotion, use: GripUse, grips: BoolArray, match_s: FloatArray, half_N: FloatArray
) -> FloatArray:
    """What the line would bring in each look (k,) at the middle rate of the looks that put it to scale."""
    rate = np.interp(use.t_s, match_s, np.nan_to_num(wheel.rate_rad_s))
    usual = np.full(len(match_s), float(np.median(rate[grips])))
    brings = (0.5 * line.torque_Nm(usual) - 0.5 * line.friction_Nm * np.sign(usual)) / wheel.radius_m
    return np.asarray(np.interp(use.t_s, match_s, brings / half_N))
