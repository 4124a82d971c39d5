"""What pulled a machine round: the rope's pull, and how far beside its centre of mass it passed."""

from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.grip.rope import hitch_places
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import RunSheet
from matchvision.uncertainty import K_95, format_interval

#: How long before a turn is noticed it is looked at what turned the machine [s].
BEFORE_S: Final = 0.3
#: How well the sheet states where hitch and centre of mass are [m].
U_SHEET_PLACE_M: Final = 0.002
#: How well the rope's direction is known [rad].
U_DIRECTION_RAD: Final = 0.005


def lateral_arm(sheet: RunSheet, motion: Motion, name: str) -> tuple[FloatArray, FloatArray]:
    """Arm (n,) [m] of the rope's pull about a machine's centre of mass, seen from above, and its standard uncertainty.

    Positive where the pull turns the machine to the left. NaN where hitch, heading or the rope's direction is not
    known. Without a stated centre of mass the middle between the axles stands for it.

    Notes
    -----
    The arm of a force at h about c is (h − c) × d for its direction d: L. Meriam, J. Kraige, Engineering Mechanics:
    Statics, 7th ed. (2012), 2/4.
    Checked by: tests/grip/test_turning.py::test_arm_is_that_of_the_run
    """
    n = len(motion.real_s)
    nothing = np.full(n, np.nan), np.full(n, np.nan)
    machine, moved = sheet.machine[name], motion.machines[name]
    if motion.rope is None or sheet.rope is None or name not in sheet.rope.ends or machine.hitch is None:
        return nothing
    riding = next((a for a in motion.arms if a.machine == name), None) if machine.hitch.on == "reach" else None
    if machine.hitch.on == "reach" and riding is None:
        return nothing
    end = sheet.rope.ends.index(name)
    hitch_x, hitch_y, _ = hitch_places(moved, machine.hitch.at_m, riding)
    middle_x, middle_y, _ = hitch_places(moved, machine.middle_of_mass_m or (0.0, 0.0, 0.0))
    away_x, away_y = hitch_x - middle_x, hitch_y - middle_y
    arm = away_x * motion.rope.pull_dir_y[:, end] - away_y * motion.rope.pull_dir_x[:, end]
    turn = np.hypot(np.deg2rad(moved.u_heading_deg), U_DIRECTION_RAD)
    return arm, np.hypot(np.hypot(away_x, away_y) * turn, U_SHEET_PLACE_M)


def add_lateral_pull(
    event: Event, sheet: RunSheet, motion: Motion, pull: PullSource | None, clock: MatchClock
) -> Event:
    """A turn with what is known of the pull that went before it; as it was where nothing is."""
    arm, u_arm = lateral_arm(sheet, motion, event.machine)
    match_s = clock.match_time(motion.clip_s)
    known = (match_s >= event.start_s - BEFORE_S) & (match_s <= event.start_s) & np.isfinite(arm + u_arm)
    if not known.any():
        return event
    mean, u = float(arm[known].mean()), float(np.median(u_arm[known]))
    about = "centre of mass" if sheet.machine[event.machine].middle_of_mass_m else "middle between the axles"
    if abs(mean) < K_95 * u:
        return replace(
            event,
            evidence=event.evidence + f" The rope passed its {about} within {1000 * K_95 * u:.0f} mm (95 %): "
            "ground or drive turned it.",
        )
    side = "left" if mean > 0 else "right"
    said = f" The rope's pull passed its {about} at an arm of {format_interval(1000 * abs(mean), 1000 * u)} mm (95 %)"
    if pull is not None and np.isfinite(pull.tension_N[known]).any():
        told = known & np.isfinite(pull.tension_N)
        tension, u_tension = float(pull.tension_N[told].mean()), float(np.median(pull.u_tension_N[told]))
        u_moment = float(np.hypot(tension * u, mean * u_tension))
        said += (
            f" with {format_interval(tension, u_tension)} N, "
            f"{format_interval(abs(tension * mean), u_moment)} Nm to the {side}"
        )
    else:
        said += f", which turns it to the {side}"
    return replace(event, evidence=event.evidence + said + ".")
