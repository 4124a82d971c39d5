"""An opponent of whom nobody knows a number: a machine like one's own, give or take much."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from matchvision.mechanics.stated import Findings, drive_facts, states_any_motor
from matchvision.records.sheet import Drive, Forecast, Hitch, Machine, Quantity, Run

#: Standard uncertainties of what is guessed, as shares of the known machine's numbers: machines built to one set of
#: rules are alike, but one may well pull half as much again as the other.
GUESSED: Final[Mapping[str, float]] = {
    "stall_torque_Nm": 0.4, "no_load_rev_min": 0.4, "grip_static": 0.25, "grip_sliding": 0.25,
}  # fmt: skip
#: The same of its mass, where that is not stated.
GUESSED_MASS: Final = 0.3


def find_known(run: Run, names: tuple[str, ...]) -> str | None:
    """The machine whose opponent is unknown, with nothing stated about its drive; None where it is not so."""
    unknown = [
        name for name in names
        if run.sheet.machine[name].unknown and not states_any_motor(drive_facts(run, name, Findings())[1])
    ]  # fmt: skip
    return next(name for name in names if name not in unknown) if len(names) == 2 and len(unknown) == 1 else None


def guess_opponent(run: Run) -> tuple[Run, tuple[str, ...]]:
    """The run with a guess in the place of an unknown opponent's missing numbers, and what was guessed, in sentences.

    Parameters
    ----------
    run : the run sheet; without an unknown opponent, or with one whose drive is stated, it stays as it is.

    Notes
    -----
    What the sheet does state about the opponent stays. The rest is its rival's, with the wide uncertainties of
    `GUESSED`: independent of the rival's own.
    Checked by: tests/forecast/test_predicting.py::test_an_opponent_without_numbers_is_a_wide_guess
    """
    rope = run.sheet.rope
    ends = () if rope is None else tuple(end for end in rope.ends if end in run.sheet.machine)
    known = find_known(run, ends)
    if known is None:
        return run, ()
    other = next(name for name in ends if name != known)
    _, facts = drive_facts(run, known, Findings())
    _, own = drive_facts(run, other, Findings())
    held = own.holding_N is not None or run.sheet.machine[other].anchor is not None
    if not states_any_motor(facts) or run.sheet.machine[other].load is not None or held:
        return run, ()
    machine = _like(run.sheet.machine[other], run.sheet.machine[known])
    planned = _guess_drive(own, facts)
    sheet = run.sheet.model_copy(
        update={
            "machine": {**run.sheet.machine, other: machine},
            "forecast": {**run.sheet.forecast, other: planned},
        }
    )
    per_cent = " and ".join(f"{100 * share:.0f} %" for share in (GUESSED["stall_torque_Nm"], GUESSED["grip_static"]))
    told = (
        f"{other}: a machine like {known}, as nothing is stated about its drive; torque and speed, and grip, are known "
        f"to {per_cent} (one standard deviation), a mass that is not stated to {100 * GUESSED_MASS:.0f} %"
    )
    return replace(run, sheet=sheet), (told,)


def _like(machine: Machine, rival: Machine) -> Machine:
    """A machine with its rival's build where its own is not stated."""
    told: dict[str, object] = {
        key: getattr(rival, key) for key in ("size_m", "wheelbase_m", "driven_wheels") if getattr(machine, key) is None
    }
    if machine.middle_of_mass_m is None:
        told["centre_of_mass_m"] = rival.middle_of_mass_m
    if machine.mass_kg is None and rival.mass_kg is not None:
        told |= {"mass_kg": rival.mass_kg, "u_mass_kg": GUESSED_MASS * rival.mass_kg}
    if machine.hitch is None and rival.hitch is not None:
        told["hitch"] = Hitch(at_m=rival.hitch.at_m)
    if not machine.wheel:
        told["wheel"] = tuple(wheel.model_copy(update={"rim": ()}) for wheel in rival.wheel)
    return machine.model_copy(update=told)


def _guess_drive(own: Drive, facts: Drive) -> Forecast:
    """What is stated of an opponent's drive, the rest as its rival's with wide uncertainties."""
    sides = [side for side in (getattr(facts, "left", None), getattr(facts, "right", None)) if side is not None]
    told: dict[str, object] = {}
    for key in (
        "motors", "stall_torque_Nm", "no_load_rev_min", "gear_ratio", "drive_efficiency", "drive_friction_Nm",
        "wheel_inertia_kg_m2", "grip_static", "grip_sliding", "rolling_resistance", "start_delay_s",
    ):  # fmt: skip
        if getattr(own, key) is not None:
            continue
        value = getattr(facts, key)
        given = [getattr(side, key) for side in sides if getattr(side, key) is not None]
        if value is None and given:
            value = sum(given) if key == "motors" else given[0]
        if isinstance(value, Quantity) and key in GUESSED:
            value = Quantity(value=value.value, u=GUESSED[key] * value.value)
        told[key] = value
    grip = own.grip_static or own.grip_sliding
    if grip is not None:  # one of them was stated: it serves for both
        told |= {"grip_static": grip, "grip_sliding": own.grip_sliding or grip}
    if not own.throttle:
        told |= {"throttle": facts.throttle, "throttle_acts_on": facts.throttle_acts_on}
    base = own if isinstance(own, Forecast) else Forecast(**own.model_dump())
    return base.model_copy(update=told)
