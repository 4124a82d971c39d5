"""What the motion stage says it did: with the numbers used, what could not be had, and what would give it."""

import numpy as np
import numpy.typing as npt

from matchvision.motion.machines import Pose
from matchvision.motion.rope import RopeReading
from matchvision.motion.wheels import WheelReading
from matchvision.records.motion import MachineMotion, Motion
from matchvision.records.profile import is_level
from matchvision.records.results import StageNote
from matchvision.records.sheet import Machine, RunSheet

FloatArray = npt.NDArray[np.float64]

#: Headings that change by more than this may be a lifted front, where markers stand in one line [°].
TURN_OR_LIFT_DEG = 5.0


def describe_motion(
    sheet: RunSheet,
    motion: Motion,
    poses: dict[str, Pose],
    markers_used: dict[str, int],
    rope: RopeReading | None,
    readings: list[WheelReading],
) -> StageNote:
    """What was done, with numbers; what could not be had, and what would give it."""
    said: list[str] = []
    warnings: list[str] = []
    advice: list[str] = []
    length_s = float(motion.real_s[-1] - motion.real_s[0])
    for name, machine in motion.machines.items():
        factor = poses[name].scatter_ratio
        said.append(
            f"{name} from {markers_used[name]} marker{'s' if markers_used[name] != 1 else ''} "
            f"(speed to {1000 * _median(machine.u_speed_m_s):.1f} mm/s, "
            f"position along the pull to {1000 * _median(machine.u_x_m):.1f} mm; "
            f"its places scatter {factor:.2f} times as much as stated)"
        )
        if not poses[name].headed:
            warnings.append(
                f"{name}: one marker alone does not show which way it points, so its heading is not measured"
            )
            advice.append(f"a second marker on {name}, a hand's width from the first, gives its heading and turning")
        if turned_or_lifted(machine):
            warnings.append(
                f"{name}: its heading changed by more than {TURN_OR_LIFT_DEG:.0f}°, and a lifted front would look the "
                "same where all markers stand in one line"
            )
            advice.append(f"a third marker on {name}, beside the line of the others, tells a lifted front from a turn")
        share = float(np.isfinite(machine.speed_m_s).mean())
        if share < 0.95:
            warnings.append(f"{name}: seen well enough in {100 * share:.0f} % of the frames only")
    for name in sheet.machine:
        load = sheet.machine[name].load
        if load is not None and load.hangs:
            continue  # it needs none
        if name not in motion.machines:
            warnings.append(f"{name}: no marker on it was seen, so its motion is not measured")
            advice.append(f"two stickers on {name} give its motion and turning")
        elif not any(w.machine == name for w in motion.wheels) and rests_on_wheels(sheet.machine[name]):
            advice.append(f"two small discs on a wheel of {name} give its slip")
    for reading in readings:
        wheel = reading.motion
        said.append(
            f"the wheel {wheel.wheel} of {wheel.machine} "
            f"(slip speed to {1000 * _median(wheel.u_slip_speed_m_s):.1f} mm/s; "
            f"its marks keep their circle to {1000 * reading.spread_m:.1f} mm)"
        )
        if reading.undecided.any():
            at_s = motion.clip_s[reading.undecided]
            warnings.append(
                f"the wheel {wheel.wheel} of {wheel.machine}: in {len(at_s)} frames between {at_s[0]:.2f} and "
                f"{at_s[-1]:.2f} s of the clip its rate may be any of several that look alike at this frame rate; "
                "there it is left empty"
            )
            advice.append(
                f"no_load_rev_min and gear_ratio of {wheel.machine}'s drive, or more pictures a second, decide how "
                "fast its wheel turns"
            )
    said.extend(
        f"the arm of {arm.machine} (stroke to {1000 * _median(arm.u_reach_m):.1f} mm, speed to "
        f"{1000 * _median(arm.u_speed_m_s):.0f} mm/s)"
        for arm in motion.arms
    )
    advice.extend(
        f'a marker that rides on the arm of {name} (on = "reach") shows when and how fast it goes out'
        for name in poses
        if sheet.machine[name].reach is not None and not any(arm.machine == name for arm in motion.arms)
    )
    if rope is not None:
        slack = rope.motion.slack
        known = np.isfinite(slack)
        state = f", slack in {100 * float(slack[known].mean()):.0f} % of the frames" if known.any() else ""
        shown = f"{len(rope.columns)} markers" if rope.columns else "its ends alone"
        if "end" in (plan.kind for plan in motion.tracks.plans):
            shown += ", ends set by hand"
        said.append(
            f"the rope from {shown} (length on a side to "
            f"{1000 * _median(rope.motion.u_on_plus_x_m):.1f} mm, "
            f"speed to {1000 * _median(rope.motion.u_speed_m_s):.1f} mm/s{state})"
        )
        if rope.columns and not rope.lie.heights_known:
            warnings.append(
                "the rope's height is not known without a hitch: beads are taken between 0 and 0.1 m above the table"
            )
            advice.append("a machine's two markers and its hitch's place give the rope's height")
    elif sheet.rope is not None:
        warnings.append("too few markers on the rope were seen, so what lies on each side is not measured")
        advice.append("beads on the rope, a hand's width apart, give each side's share")
    sentence = (
        f"Measured over {len(motion.frame)} frames ({length_s:.1f} s): " + "; ".join(said) + ". "
        "Places come from the camera and each marker's height; motion is smoothed forwards and backwards in time, with "
        "a noise level that the data set and that may change as wheels let go." + _describe_conditions(sheet)
        if said
        else "Nothing that moves could be measured."
    )
    return StageNote("motion", "partly" if warnings else "done", sentence, tuple(warnings), tuple(advice))


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
