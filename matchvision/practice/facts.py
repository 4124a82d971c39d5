"""Which machine a practice run is about, and what is stated about it: the inputs of every number measured."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.mechanics.machine import ASSUMED_WHEEL_INERTIA_KG_M2
from matchvision.mechanics.motor import throttle_share
from matchvision.practice.budgets import Known
from matchvision.records.motion import MachineMotion, MatchClock, Motion
from matchvision.records.sheet import Drive, Machine, Quantity, Run

#: Gravity where the run was made lies between 9.780 (equator) and 9.832 m/s² (poles): half that span, rectangular.
U_GRAVITY_M_S2: Final = 0.026 / math.sqrt(3)
#: A wheel's radius under load, as a rule gives it: within half a millimetre, rectangular.
U_RADIUS_M: Final = 0.0005 / math.sqrt(3)
#: Share of full drive: how well an operator follows a plan that was not logged; a log, or a lever at its stop.
U_PLAN_RATIO: Final = 0.05
U_STOP_RATIO: Final = 0.01
#: A lever said to be at its stop falls short of it by up to twice that, and never gives more than all: rectangular.
SHORT_OF_STOP_RATIO: Final = U_STOP_RATIO
U_SHORT_OF_STOP_RATIO: Final = U_STOP_RATIO / math.sqrt(3)
#: A lever counts as at its stop from this share on.
AT_STOP_RATIO: Final = 0.999


def machine_meant(run: Run, motion: Motion) -> str:
    """Name of the machine that a practice run measures: as the sheet says, else the only one that can be meant.

    Raises
    ------
    CannotMeasure
        Where several can be meant, or the one meant was not seen.
    """
    sheet = run.sheet
    named = sheet.practice.machine
    able = [name for name, machine in sheet.machine.items() if machine.load is None and machine.anchor is None]
    if named is None and len(able) != 1:
        able = [name for name in able if sheet.machine[name].wheel]
    if named is None and len(able) != 1:
        raise CannotMeasure(
            f"the sheet does not say which of its {len(sheet.machine)} machines the practice run is about",
            do='name it: [practice] machine = "heron"',
        )
    name = named or able[0]
    if name not in motion.machines:
        raise CannotMeasure(f"{name} was not seen", do="give it markers on top, and film it all the way")
    return name


def gravity() -> Known:
    """Local gravity."""
    return Known("local gravity", STANDARD_GRAVITY_M_S2, U_GRAVITY_M_S2, "m/s²")


def mass_of(name: str, machine: Machine) -> Known:
    """A machine's mass.

    Raises
    ------
    CannotMeasure
        Where it is not stated.
    """
    if machine.mass_kg is None:
        raise CannotMeasure(f"the mass of {name} is not stated", do=f"weigh it: [machine.{name}] mass_kg, u_mass_kg")
    return Known(f"mass of {name}", machine.mass_kg, machine.u_mass_kg, "kg")


def radius_of(machine: Machine) -> Known | None:
    """Radius of the driven wheels, or of all where none drives; None without wheels."""
    radii = [wheel.radius_m for wheel in machine.wheel if wheel.driven] or [wheel.radius_m for wheel in machine.wheel]
    return Known("wheel radius", float(np.mean(radii)), U_RADIUS_M, "m") if radii else None


def turning_mass(machine: Machine, facts: Drive, radius_m: float) -> Known:
    """What all turning wheels weigh at the rim, inertia over radius squared [kg]; assumed, and wide, if not stated."""
    count = machine.driven_wheels or 4
    stated = facts.wheel_inertia_kg_m2
    if stated is not None:
        return Known("wheel inertia", count * stated.value / radius_m**2, count * stated.u / radius_m**2, "kg")
    usual = count * ASSUMED_WHEEL_INERTIA_KG_M2 / radius_m**2
    return Known("wheel inertia, not stated", usual, usual / math.sqrt(3), "kg")


@dataclass(frozen=True)
class DriveFacts:
    """A drive as stated, key by key: as measured, or as forecast where that says nothing (``forecast``: those keys)."""

    drive: Drive
    forecast: tuple[str, ...]

    def say_taken(self, *keys: str) -> str:
        """Which of the keys used were taken from the forecast, as a sentence to add; empty for none."""
        taken = [key for key in keys if key in self.forecast]
        return f" Taken from the forecast: {', '.join(taken)}." if taken else ""


def drive_facts(run: Run, name: str) -> DriveFacts:
    """What is stated about a machine's drive, measured numbers before forecast ones."""
    measured, planned = run.sheet.machine[name].drive, run.sheet.forecast.get(name)
    if measured is None:
        measured = Drive()
    if planned is None:
        return DriveFacts(measured, ())
    taken = [
        key for key in Drive.model_fields
        if key != "stage"  # what stages give stands in the totals
        and key not in measured.model_fields_set
        and key in planned.model_fields_set
    ]  # fmt: skip
    return DriveFacts(measured.model_copy(update={key: getattr(planned, key) for key in taken}), tuple(taken))


def known(name: str, stated: Quantity | None, otherwise: float, unit: str) -> Known:
    """A stated quantity as an input; exact and as given where it is not stated."""
    return Known(name, otherwise, 0.0, unit) if stated is None else Known(name, stated.value, stated.u, unit)


def share_of_drive(run: Run, name: str, facts: Drive, clock: MatchClock, clip_s: FloatArray) -> Known:
    """Share of full drive in each frame (n,): as logged, as planned, or full from the start.

    What is planned as full is taken as a little less: no lever gives more than its stop, most give less.
    """
    logged = run.commands.get(name)
    plan = facts.throttle if logged is None else np.column_stack([logged[:, 0], logged[:, 1:].mean(axis=1)])
    delay_s = 0.0 if logged is not None or facts.start_delay_s is None else facts.start_delay_s.value
    share = throttle_share(clock.match_time(clip_s), plan, delay_s)
    if logged is not None:
        return Known("share of full drive", share, np.full_like(share, U_STOP_RATIO), "1")
    at_stop = share >= AT_STOP_RATIO
    u = np.where(at_stop, U_SHORT_OF_STOP_RATIO, U_PLAN_RATIO)
    share = np.where(at_stop, share - SHORT_OF_STOP_RATIO, share)
    return Known("share of full drive", share, u, "1")


def in_run(clock: MatchClock, motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames (n,) between the start and the end of the run's clock."""
    t_s = clock.match_time(motion.clip_s)
    return np.asarray((t_s >= 0) & (t_s <= clock.duration_s))


def span_of(frames: npt.NDArray[np.bool_], clock: MatchClock, motion: Motion) -> tuple[float, float]:
    """First and last of some frames, on the match clock [s]."""
    t_s = clock.match_time(motion.clip_s)[frames]
    return float(t_s[0]), float(t_s[-1])


def speed_along(moved: MachineMotion) -> FloatArray:
    """How fast it goes, whichever way (n,) [m/s]: along x, over the cosine of its heading."""
    return np.asarray(np.abs(moved.speed_m_s) / np.maximum(np.abs(np.cos(np.deg2rad(moved.heading_deg))), 0.5))
