"""What the motion stage says it did: with the numbers used, what could not be had, and what would give it."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.motion.machines import Pose
from matchvision.motion.rope import U_LONGER_M, RopeReading
from matchvision.motion.wheels import WheelReading
from matchvision.records.motion import MachineMotion, Motion
from matchvision.records.profile import is_level
from matchvision.records.results import Contradiction, StageNote
from matchvision.records.sheet import Machine, RunSheet
from matchvision.uncertainty import format_interval

#: Headings that change by more than this may be a lifted front, where markers stand in one line [°].
TURN_OR_LIFT_DEG = 5.0
#: A machine that is seen well in a smaller share of the frames is worth a warning.
WELL_SEEN_SHARE = 0.95


@dataclass
class _Told:
    """What is said in turn: with what numbers it was done, what could not be had, and what would give it."""

    said: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    advice: list[str] = field(default_factory=list)
    against: list[Contradiction] = field(default_factory=list)


def describe_motion(
    sheet: RunSheet,
    motion: Motion,
    poses: dict[str, Pose],
    markers_used: dict[str, int],
    rope: RopeReading | None,
    readings: list[WheelReading],
) -> StageNote:
    """What was done, with numbers; what could not be had, and what would give it."""
    told = _Told()
    for name, machine in motion.machines.items():
        _tell_machine(told, name, machine, poses[name], markers_used[name])
    _tell_missing_marks(told, sheet, motion)
    for reading in readings:
        _tell_wheel(told, reading, motion)
    _tell_arms(told, sheet, motion, poses)
    if rope is not None:
        _tell_rope(told, rope, motion)
        _tell_longer_cord(told, sheet, rope)
    elif sheet.rope is not None:
        told.warnings.append("too few markers on the rope were seen, so what lies on each side is not measured")
        told.advice.append("beads on the rope, a hand's width apart, give each side's share")
    length_s = float(motion.real_s[-1] - motion.real_s[0])
    sentence = (
        f"Measured over {len(motion.frame)} frames ({length_s:.1f} s): " + "; ".join(told.said) + ". "
        "Places come from the camera and each marker's height; motion is smoothed forwards and backwards in time, with "
        "a noise level that the data set and that may change as wheels let go." + _describe_conditions(sheet)
        if told.said
        else "Nothing that moves could be measured."
    )
    status: Literal["done", "partly"] = "partly" if told.warnings else "done"
    return StageNote(
        "motion", status, sentence, tuple(told.warnings), tuple(told.advice), contradictions=tuple(told.against)
    )


def _tell_machine(told: _Told, name: str, moved: MachineMotion, pose: Pose, markers: int) -> None:
    told.said.append(
        f"{name} from {markers} marker{'s' if markers != 1 else ''} "
        f"(speed to {1000 * _median(moved.u_speed_m_s):.1f} mm/s, "
        f"position along the pull to {1000 * _median(moved.u_x_m):.1f} mm; "
        f"its places scatter {pose.scatter_ratio:.2f} times as much as stated)"
    )
    if not pose.headed:
        told.warnings.append(
            f"{name}: one marker alone does not show which way it points, so its heading is not measured"
        )
        told.advice.append(f"a second marker on {name}, a hand's width from the first, gives its heading and turning")
    if turned_or_lifted(moved):
        told.warnings.append(
            f"{name}: its heading changed by more than {TURN_OR_LIFT_DEG:.0f}°, and a lifted front would look the "
            "same where all markers stand in one line"
        )
        told.advice.append(f"a third marker on {name}, beside the line of the others, tells a lifted front from a turn")
    share = float(np.isfinite(moved.speed_m_s).mean())
    if share < WELL_SEEN_SHARE:
        told.warnings.append(f"{name}: seen well enough in {100 * share:.0f} % of the frames only")


def _tell_missing_marks(told: _Told, sheet: RunSheet, motion: Motion) -> None:
    """Machines and wheels that nothing on them shows; a hanging load needs no marker."""
    for name, machine in sheet.machine.items():
        if machine.load is not None and machine.load.hangs:
            continue
        if name not in motion.machines:
            told.warnings.append(f"{name}: no marker on it was seen, so its motion is not measured")
            told.advice.append(f"two stickers on {name} give its motion and turning")
        elif not any(w.machine == name for w in motion.wheels) and rests_on_wheels(machine):
            told.advice.append(f"two small discs on a wheel of {name} give its slip")


def _tell_wheel(told: _Told, reading: WheelReading, motion: Motion) -> None:
    wheel = reading.motion
    told.said.append(
        f"the wheel {wheel.wheel} of {wheel.machine} "
        f"(slip speed to {1000 * _median(wheel.u_slip_speed_m_s):.1f} mm/s; "
        f"its marks keep their circle to {1000 * reading.spread_m:.1f} mm)"
    )
    if reading.undecided.any():
        at_s = motion.clip_s[reading.undecided]
        told.warnings.append(
            f"the wheel {wheel.wheel} of {wheel.machine}: in {len(at_s)} frames between {at_s[0]:.2f} and "
            f"{at_s[-1]:.2f} s of the clip its rate may be any of several that look alike at this frame rate; "
            "there it is left empty"
        )
        told.advice.append(
            f"no_load_rev_min and gear_ratio of {wheel.machine}'s drive, or more pictures a second, decide how "
            "fast its wheel turns"
        )


def _tell_arms(told: _Told, sheet: RunSheet, motion: Motion, poses: dict[str, Pose]) -> None:
    told.said.extend(
        f"the arm of {arm.machine} (stroke to {1000 * _median(arm.u_reach_m):.1f} mm, speed to "
        f"{1000 * _median(arm.u_speed_m_s):.0f} mm/s)"
        for arm in motion.arms
    )
    told.advice.extend(
        f'a marker that rides on the arm of {name} (on = "reach") shows when and how fast it goes out'
        for name in poses
        if sheet.machine[name].reach is not None and not any(arm.machine == name for arm in motion.arms)
    )


def _tell_rope(told: _Told, rope: RopeReading, motion: Motion) -> None:
    slack = rope.motion.slack
    known = np.isfinite(slack)
    state = f", slack in {100 * float(slack[known].mean()):.0f} % of the frames" if known.any() else ""
    shown = f"{len(rope.columns)} markers" if rope.columns else "its ends alone"
    if "end" in (plan.kind for plan in motion.tracks.plans):
        shown += ", ends set by hand"
    told.said.append(
        f"the rope from {shown} (length on a side to "
        f"{1000 * _median(rope.motion.u_on_plus_x_m):.1f} mm, "
        f"speed to {1000 * _median(rope.motion.u_speed_m_s):.1f} mm/s{state})"
    )
    if rope.columns and not rope.state.heights_known:
        told.warnings.append(
            "the rope's height is not known without a hitch: beads are taken between 0 and 0.1 m above the table"
        )
        told.advice.append("a machine's two markers and its hitch's place give the rope's height")


def _tell_longer_cord(told: _Told, sheet: RunSheet, rope: RopeReading) -> None:
    """A cord that is longer than the sheet says: measured as it is, what is uncertain of its length counted in."""
    ends = () if sheet.rope is None else sheet.rope.ends
    longer = [(end, more_m) for end, more_m in zip(ends, rope.motion.longer_m, strict=False) if more_m > 0]
    if longer:
        by = [f"at {end} by {format_interval(1000 * more_m, 1000 * U_LONGER_M, 'mm')}" for end, more_m in longer]
        shown = f"The rope is longer than stated, {' and '.join(by)} (95 %), and was measured as it is"
        told.against.append(
            Contradiction("[rope] length_m", shown, "measure length_m and the beads' at_m", covered=True)
        )


def rests_on_wheels(machine: Machine) -> bool:
    """Whether a machine may have wheels, as far as its sheet tells: neither a dragged load nor an anchored base."""
    return machine.load is None and (machine.anchor is None or bool(machine.wheel))


def turned_or_lifted(moved: MachineMotion) -> bool:
    """Whether a machine has turned as far as its markers show, which do not tell a turn from a lifted front."""
    heading = moved.heading_deg[np.isfinite(moved.heading_deg)]
    return bool(len(heading) and np.ptp(heading) > TURN_OR_LIFT_DEG and not np.isfinite(moved.pitch_deg).any())


def _describe_conditions(sheet: RunSheet) -> str:
    """What the sheet says about table and camera that changed the way of measuring."""
    said = ""
    if not is_level(sheet.table.profile_m):
        said += " Machines and rope follow the table's height profile; speeds are along its surface."
    if sheet.camera.readout_s:
        said += f" Each row was given its own time within a readout of {1000 * sheet.camera.readout_s:.1f} ms."
    if sheet.camera.moves:
        said += " The camera's pose is new in each frame; what it owes to the lens is common to all."
    return said


def _median(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) else float("nan")
