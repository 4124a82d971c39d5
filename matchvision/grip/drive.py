"""Drive that was lost in mid-run: from the pull against the motor line, or from one side's wheels standing still."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import FloatArray
from matchvision.grip.bends import FALSE_ALARMS
from matchvision.grip.hidden import tied_frames
from matchvision.grip.intervals import bridge_gaps, chance_above, date_crossing, keep_long, typical_step_s
from matchvision.mechanics.motor import drive_torque_Nm, throttle_share, wheel_free_rate_rad_s, wheel_stall_torque_Nm
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock, Motion, WheelMotion
from matchvision.records.pull import Traction
from matchvision.records.sheet import Drive, Quantity, Run
from matchvision.uncertainty import K_95, format_interval

#: A drive is lost where less than this share of what it gave before is left: one motor of three, or more, is gone.
LEFT_RATIO: Final = 0.7
#: It stays lost for at least this long, and had been there for as long before.
LASTS_S: Final = 0.4
#: A loss is sudden: an operator who slackens takes longer than this.
WITHIN_S: Final = 0.25
#: Below this share of full drive the ratio to the motor line says nothing.
LEAST_SHARE: Final = 0.15
#: … nor while a plan that was not logged changes by more than this within as long on either side.
STEADY_SHARE: Final = 0.05
#: One side's wheels stand where they turn slower than this share of the other side's.
STANDS_RATIO: Final = 0.2
#: … while those turn at least this fast.
TURNS_M_S: Final = 0.030


@dataclass(frozen=True, eq=False)
class DriveShare:
    """What a drive gave (n,), over what its motor line promises, with u, and where its facts come from."""

    machine: str
    ratio: FloatArray
    u_ratio: FloatArray
    planned_share: FloatArray
    logged: bool
    source: str


def drive_facts(run: Run, machine: str) -> tuple[Drive | None, str]:
    """The drive whose motor line is stated: as measured, else as forecast; and which of the two."""
    for facts, source in (
        (run.sheet.machine[machine].drive, "measured"),
        (run.sheet.forecast.get(machine), "forecast"),
    ):
        if facts is None or not facts.motors:
            continue
        if None not in (facts.stall_torque_Nm, facts.no_load_rev_min, facts.gear_ratio):
            return facts, source
    return None, ""


@dataclass(frozen=True, eq=False)
class MotorLine:
    """A drive's line over all its wheels, and the share of full drive (n,) that was set; where its facts come from."""

    stall_Nm: float
    free_rad_s: float
    friction_Nm: float
    inertia_kg_m2: float | None
    on_voltage: bool
    sag_ratio: float
    share: FloatArray
    logged: bool
    source: str

    def torque_Nm(self, rate_rad_s: FloatArray) -> FloatArray:  # noqa: N802 - SI capitals
        """Torque at the wheels before friction, (n,), for their rate (n,)."""
        return np.asarray(
            drive_torque_Nm(
                rate_rad_s, self.share, self.stall_Nm, self.free_rad_s, float(self.on_voltage), self.sag_ratio
            )
        )


def motor_line(run: Run, machine: str, match_s: FloatArray) -> MotorLine | None:
    """A machine's motor line with its throttle as logged, else as planned; None where the sheet states no such."""
    facts, source = drive_facts(run, machine)
    if facts is None:
        return None
    planned, logged = run.sheet.forecast.get(machine), run.commands.get(machine)
    plan = facts.throttle or (planned.throttle if planned is not None else ())
    if logged is None and not plan:
        return None
    given = plan if logged is None else np.column_stack([logged[:, 0], logged[:, 1:].mean(axis=1)])
    none, one = Quantity(value=0.0), Quantity(value=1.0)
    gear = (facts.gear_ratio or one).value
    stall = wheel_stall_torque_Nm(
        facts.motors or 0, (facts.stall_torque_Nm or none).value, gear, (facts.drive_efficiency or one).value
    )
    return MotorLine(
        stall_Nm=float(stall),
        free_rad_s=float(wheel_free_rate_rad_s((facts.no_load_rev_min or none).value, gear)),
        friction_Nm=(facts.drive_friction_Nm or none).value,
        inertia_kg_m2=facts.wheel_inertia_kg_m2.value if facts.wheel_inertia_kg_m2 is not None else None,
        on_voltage=facts.throttle_acts_on == "voltage",
        sag_ratio=(facts.supply_sag_ratio or none).value,
        share=throttle_share(match_s, given),
        logged=logged is not None,
        source=source,
    )


def drive_share(run: Run, motion: Motion, traction: Traction, clock: MatchClock) -> DriveShare | None:
    """Traction times radius, plus friction, over the torque that the motor line gives at the wheels' rate.

    None where the sheet states no motor line, or no throttle, or no wheel was seen. A ratio that starts off wrong by a
    constant is no matter: only its sudden fall counts.
    """
    line = motor_line(run, traction.machine, clock.match_time(motion.clip_s))
    wheels = [w for w in motion.wheels if w.machine == traction.machine and w.driven]
    if line is None or not wheels:
        return None
    rate = np.nanmean(np.stack([w.rate_rad_s for w in wheels]), axis=0) if len(wheels) > 1 else wheels[0].rate_rad_s
    promised, share = line.torque_Nm(rate), line.share
    friction = line.friction_Nm * np.sign(rate) * (np.abs(rate) > 3 * wheels[0].u_rate_rad_s)
    usable = (share > LEAST_SHARE) & (promised > LEAST_SHARE * line.stall_Nm * 0.5)
    # Without a pull there is nothing to tell it by: a rope that is slack or off.
    usable &= traction.traction_N > K_95 * traction.u_traction_N
    if motion.rope is not None:
        usable &= motion.rope.slack != 1
    below = np.where(usable, promised, np.nan)
    ratio = (traction.traction_N * wheels[0].radius_m + friction) / below
    u_ratio = traction.u_traction_N * wheels[0].radius_m / below
    return DriveShare(traction.machine, ratio, u_ratio, share, line.logged, line.source)


def find_drive_loss(share: DriveShare, real_s: FloatArray, clock: MatchClock) -> list[Event]:
    """The moment at which what a drive gives falls suddenly, for good or for at least 0.4 s.

    Notes
    -----
    Two levels with a step at τ against one level, over the run: the best τ is believed where its squared gain exceeds
    what noise reaches anywhere with probability `FALSE_ALARMS` (Bonferroni over the independent places), and where the
    fall is mostly over within 0.25 s.
    Checked by: tests/grip/test_drive.py::test_half_the_drive_is_missed
    """
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    usable = np.isfinite(share.ratio) & np.isfinite(share.u_ratio) & (match_s > 0.2) & (match_s <= clock.duration_s)
    at = np.flatnonzero(usable)
    if len(at) < 9:
        return []
    step_s = typical_step_s(real_s)
    least = max(3, round(LASTS_S / step_s))
    if len(at) < 3 * least:
        return []
    t, r = match_s[at], share.ratio[at]
    tied = max(tied_frames(r, share.u_ratio[at], t), 1.0)
    best = _best_fall(t, r, share.u_ratio[at], least, tied)
    if best is None:
        return []
    k, before, after, u_before, u_after, noise = best
    left = after / before
    u_left = abs(left) * float(np.hypot(u_before / before, u_after / max(abs(after), 1e-6)))
    chance = float(ndtr((LEFT_RATIO - left) / max(u_left, 1e-6)))
    # While a plan rises or falls, an operator who is late with it looks like a loss: until he has caught up, which the
    # time for which a loss must last leaves out.
    near = max(2, round(WITHIN_S / 2 / step_s))
    around = share.planned_share[at][max(0, k - near) : k + near]
    steady = share.logged or float(np.ptp(around)) < STEADY_SHARE
    if chance < 0.9 or not steady or not _sudden(t, r, k, before, after):
        return []
    start_s = float(0.5 * (t[k - 1] + t[k]))
    u_start_s = float(np.hypot(step_s, noise * np.sqrt(tied) / max(before - after, 1e-6) * step_s))
    evidence = (
        f"{share.machine}'s drive gave {format_interval(100 * left, 100 * u_left)} % (95 %) of what it had given "
        f"before, from the pull against its motor line ({share.source})"
    )
    evidence += "; its commands did not change so." if share.logged else ", unless its operator gave less than planned."
    return [
        Event(
            "drive-loss",
            share.machine,
            start_s,
            float("nan"),
            float(np.hypot(u_start_s, clock.u_start_s)),
            chance,
            evidence,
        )
    ]


def _best_fall(
    t: FloatArray, r: FloatArray, u: FloatArray, least: int, tied: float
) -> tuple[int, float, float, float, float, float] | None:
    """Where a step down fits best: place, level before and after, their u, and noise; None where none is sure.

    Levels are taken over at most a second and a half on each side, since grip and pull go their own way.
    """
    most = max(least, round(1.5 / typical_step_s(t)))
    steps = np.abs(np.diff(r))
    noise = max(float(np.median(steps)) / 0.6745 / np.sqrt(2), float(np.median(u)) * 0.3)
    level = float(2 * np.log(len(t) / (tied * FALSE_ALARMS)))
    sums, best, gain_best = np.concatenate([[0.0], np.cumsum(r)]), None, level
    for k in range(least, len(r) - least):
        a, b = max(0, k - most), min(len(r), k + most)
        before, after = (sums[k] - sums[a]) / (k - a), (sums[b] - sums[k]) / (b - k)
        per = noise**2 * tied * (1 / (k - a) + 1 / (b - k))
        gain = (before - after) ** 2 / per
        if after < LEFT_RATIO * before and before > 0 and gain > gain_best:
            u_before, u_after = noise * np.sqrt(tied / (k - a)), noise * np.sqrt(tied / (b - k))
            best, gain_best = (k, float(before), float(after), float(u_before), float(u_after), noise), gain
    return best


def _sudden(t: FloatArray, r: FloatArray, k: int, before: float, after: float) -> bool:
    """Whether most of the fall happens within a quarter of a second about frame ``k``."""
    early = (t > t[k] - WITHIN_S / 2 - 0.3) & (t < t[k] - WITHIN_S / 2)
    late = (t > t[k] + WITHIN_S / 2) & (t < t[k] + WITHIN_S / 2 + 0.3)
    if early.sum() < 3 or late.sum() < 3:
        return False
    return bool(np.median(r[early]) - np.median(r[late]) > 0.75 * (before - after))


def find_side_loss(run: Run, motion: Motion, moved: MachineMotion, clock: MatchClock) -> list[Event]:
    """One side's wheels come to stand while the other side's go on turning: half the drive is gone.

    Needs marked wheels on both sides. What the machine then turned by is said beside it.

    Notes
    -----
    Checked by: tests/grip/test_drive.py::test_side_that_stops_is_named
    """
    wheels = {w.name: w for w in run.sheet.machine[moved.machine].wheel}
    sides: dict[str, list[WheelMotion]] = {"left": [], "right": []}
    for wheel in motion.wheels:
        if wheel.machine == moved.machine and wheel.driven:
            sides["left" if wheels[wheel.wheel].face_m[1] > 0 else "right"].append(wheel)
    if not sides["left"] or not sides["right"]:
        return []
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = motion.real_s - zero_s
    during = (match_s > 0) & (match_s <= clock.duration_s)
    events = []
    for name, other in (("left", "right"), ("right", "left")):
        slow, fast = sides[name][0], sides[other][0]
        still = np.abs(slow.surface_speed_m_s) < STANDS_RATIO * np.abs(fast.surface_speed_m_s)
        still &= (fast.surface_speed_m_s > TURNS_M_S) & during
        for stretch in keep_long(bridge_gaps(still, motion.real_s, 0.1), motion.real_s, LASTS_S):
            earlier = slice(max(0, stretch.first - round(1.0 / typical_step_s(motion.real_s))), stretch.first)
            had = float(np.nanmax(slow.surface_speed_m_s[earlier], initial=0.0))
            if had < TURNS_M_S:
                continue
            part = stretch.frames
            limit = 0.5 * had
            at_s, u_at_s = date_crossing(
                -slow.surface_speed_m_s,
                slow.u_surface_speed_m_s,
                motion.real_s,
                _falls(slow, stretch.first, limit),
                -limit,
            )
            turned = _turned_by(moved, stretch.first, stretch.last)
            evidence = (
                f"The wheels on the {name} of {moved.machine} came to stand while those on the {other} went on at "
                f"{1000 * float(np.nanmedian(fast.surface_speed_m_s[part])):.0f} mm/s{turned}."
            )
            gap = float(np.nanmedian(fast.surface_speed_m_s[part] - slow.surface_speed_m_s[part]))
            u = float(np.nanmedian(np.hypot(fast.u_surface_speed_m_s[part], slow.u_surface_speed_m_s[part])))
            chance = chance_above(gap, u, 0.5 * TURNS_M_S)
            events.append(
                Event(
                    "drive-loss", moved.machine, at_s - zero_s, float(match_s[stretch.last]),
                    float(np.hypot(u_at_s, clock.u_start_s)), chance, evidence,
                )
            )  # fmt: skip
    return events


def _falls(wheel: WheelMotion, frame: int, limit: float) -> int:
    """The frame after the last one, up to ``frame``, in which the wheel's surface was faster than a limit."""
    k = frame
    while k > 0 and not wheel.surface_speed_m_s[k - 1] > limit:
        k -= 1
    return max(k, 1)


def _turned_by(moved: MachineMotion, first: int, last: int) -> str:
    turn = moved.heading_deg[last] - moved.heading_deg[first]
    u = np.hypot(moved.u_heading_deg[last], moved.u_heading_deg[first])
    if not np.isfinite(turn) or abs(turn) < K_95 * u:
        return ""
    return f", and it turned by {format_interval(abs(float(turn)), float(u))}° to the {'left' if turn > 0 else 'right'}"
