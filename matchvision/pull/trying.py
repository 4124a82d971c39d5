"""Each source of pull tried in turn: the source, or the reason why the footage or the sheet cannot support it."""

from dataclasses import dataclass, field

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.pull.along import USUAL_REACH_M, Along, move_along, slope_under
from matchvision.pull.combining import join_alike
from matchvision.pull.drive import known_drives, measure_drive
from matchvision.pull.hanging import LinkLaw, fit_link
from matchvision.pull.link import measure_link
from matchvision.pull.load import MOVING_M_S, KnownLoad, known_loads, measure_hanging, measure_load
from matchvision.pull.momentum import SLIDING_M_S, known_sliders, measure_momentum
from matchvision.pull.stretch import measure_stretch
from matchvision.pull.traction import measure_traction
from matchvision.records.motion import MachineMotion, MatchClock, Motion, RopeMotion
from matchvision.records.pull import PullSource, Traction
from matchvision.records.sheet import RopeSheet, Run


@dataclass
class Told:
    """What is to be said about sources: left out with the reason, and warnings about those in use."""

    left_out: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def try_link(run: Run, cord: RopeSheet, rope: RopeMotion, real_s: FloatArray, told: Told) -> PullSource | None:
    """The sprung link's pull."""
    if cord.link is None:
        return None
    if run.hang_test is None or not np.isfinite(rope.link_length_m).any():
        told.left_out.append(
            "The sprung link's markers were not seen, so it gave no pull: film the link with both markers."
        )
        return None
    try:
        law = fit_link(run.hang_test, cord.link.u_reading_m)
    except CannotMeasure as reason:
        told.left_out.append(f"The sprung link gave no pull, because {reason.what}: {reason.do}.")
        return None
    source = measure_link(law, rope, real_s)
    told.warnings.extend(_warn_of_link(law, source))
    return source


def _warn_of_link(law: LinkLaw, source: PullSource) -> list[str]:
    warnings = []
    highest_N = float(np.nanmax(source.tension_N)) if np.isfinite(source.tension_N).any() else 0.0
    if highest_N > law.highest_N:
        warnings.append(
            f"The pull reached {highest_N:.1f} N, but the link was tested to {law.highest_N:.1f} N only: beyond that "
            "its law is drawn on, and a spring near its end grows stiff. Hang heavier masses on it."
        )
    if law.s > 2:
        warnings.append(
            f"The hang test's readings lie {law.s:.1f} times as far from a smooth law as u_reading_m says: "
            "the uncertainty was widened. Read the lengths again, or state a larger u_reading_m."
        )
    if law.opening_N > 0:
        warnings.append(
            f"The link opens at {law.opening_N:.1f} N only; below that it says no more than that the pull is smaller."
        )
    return warnings


def try_stretch(cord: RopeSheet, rope: RopeMotion, told: Told) -> PullSource | None:
    """The pull by the cord's own stretch."""
    source = measure_stretch(cord, rope)
    if source is None and cord.stiffness_N_per_m is not None:
        told.left_out.append(
            "The cord's own stretch gave no pull: its length is not known well enough for so stiff a cord "
            f"({cord.stiffness_N_per_m.value:.0f} N/m)."
        )
    return source


def try_load(run: Run, motion: Motion, rope: RopeMotion, told: Told) -> PullSource | None:
    """The pull by a known load's inertia and friction, or by a hanging weight."""
    for load in known_loads(run.sheet):
        source = _lift(run, motion, rope, load, told) if load.hangs else _drag(run, motion, rope, load, told)
        if source is not None:
            return source
    return None


def _lift(run: Run, motion: Motion, rope: RopeMotion, load: KnownLoad, told: Told) -> PullSource | None:
    ends = run.sheet.rope.ends if run.sheet.rope is not None else ("", "")
    puller = ends[1 - load.end]
    moved, machine = motion.machines.get(puller), run.sheet.machine.get(puller)
    if moved is None or machine is None:
        told.left_out.append(f"{load.machine} hangs, but {puller}, which lifts it, was not seen: it gave no pull.")
        return None
    return measure_hanging(load, puller, see_along(run, puller, 1 - load.end, moved, rope), rope.slack)


def _drag(run: Run, motion: Motion, rope: RopeMotion, load: KnownLoad, told: Told) -> PullSource | None:
    moved = motion.machines.get(load.machine)
    if moved is None:
        told.left_out.append(f"{load.machine} was not seen, so its friction and inertia gave no pull.")
        return None
    slope_rad = slope_under(load.reach_m, run.sheet.table, moved.x_m)
    source = measure_load(load, moved, rope, slope_rad, motion.real_s)
    if np.any(source.tension_N > 0):
        return source
    told.left_out.append(f"{load.machine} never moved faster than {1000 * MOVING_M_S:.0f} mm/s, so it gave no pull.")
    return None


def try_momentum(run: Run, motion: Motion, rope: RopeMotion, told: Told) -> PullSource | None:
    """The pull by what sliding wheels of a known grip and the machine's acceleration leave for the rope."""
    sources = []
    for slider in known_sliders(run):
        moved = motion.machines.get(slider.name)
        if moved is None:
            continue
        source = measure_momentum(slider, motion, see_along(run, slider.name, slider.end, moved, rope))
        if source is not None and np.any(source.tension_N > 0):
            sources.append(source)
            if not source.independent:
                told.left_out.append(
                    f"The sliding grip of {slider.name} is stated in the forecast only: the pull by its momentum is "
                    f"not independent. A measured one in [machine.{slider.name}.drive] would make it so."
                )
        elif slider.independent:
            told.left_out.append(
                f"The wheels of {slider.name} were not seen to slide faster than {1000 * SLIDING_M_S:.0f} mm/s: while "
                "they grip, its momentum says nothing about the pull."
            )
    return join_alike("momentum", sources)


def try_drive(run: Run, motion: Motion, clock: MatchClock, rope: RopeMotion, told: Told) -> PullSource | None:
    """The pull by the torque lines of one drive or of both."""
    sources = []
    for drive in known_drives(run, clock, motion.clip_s):
        moved = motion.machines.get(drive.machine)
        source = None
        if moved is not None:
            source = measure_drive(drive, motion, see_along(run, drive.machine, drive.end, moved, rope))
        if source is not None and np.isfinite(source.tension_N).any():
            sources.append(source)
            if not source.independent:
                told.left_out.append(
                    f"The drive of {drive.machine} is stated in the forecast only: its pull is not independent. "
                    f"Measured numbers in [machine.{drive.machine}.drive] and a log of the commands would make it so."
                )
        else:
            told.left_out.append(
                f"The drive of {drive.machine} gave no pull, because the rate of its wheels was not seen."
            )
    return join_alike("drive", sources)


def try_traction(run: Run, motion: Motion, rope: RopeMotion, fused: PullSource, told: Told) -> tuple[Traction, ...]:
    """Each machine's traction from the fused pull."""
    if not fused.independent or run.sheet.rope is None:
        told.left_out.append(
            "Traction is left out, since no pull is independent of the forecast: a sprung link would give it."
        )
        return ()
    found = []
    for end, name in enumerate(run.sheet.rope.ends):
        machine, moved = run.sheet.machine.get(name), motion.machines.get(name)
        if machine is None or machine.load is not None:
            continue
        if moved is None:
            told.left_out.append(f"The traction of {name} is left out, since it was not seen.")
            continue
        reach_m = USUAL_REACH_M if machine.size_m is None else machine.size_m[0] / 2
        slope_rad = slope_under(reach_m, run.sheet.table, moved.x_m)
        try:
            found.append(measure_traction(name, machine, end, moved, rope, fused, slope_rad))
        except CannotMeasure as reason:
            told.left_out.append(f"The traction of {name} is left out, because {reason.what}: {reason.do}.")
    return tuple(found)


def see_along(run: Run, name: str, end: int, moved: MachineMotion, rope: RopeMotion) -> Along:
    """A machine's motion along its drive direction on the table under it."""
    machine = run.sheet.machine[name]
    reach_m = USUAL_REACH_M if machine.size_m is None else machine.size_m[0] / 2
    return move_along(machine.home, end, moved, rope, slope_under(reach_m, run.sheet.table, moved.x_m))
