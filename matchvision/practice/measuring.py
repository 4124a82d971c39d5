"""The practice stage: each kind of practice run gives the numbers that it can, each in the sheet's own words."""

from collections.abc import Callable
from typing import Literal

from matchvision.errors import CannotMeasure
from matchvision.practice.coast import measure_coast
from matchvision.practice.facts import machine_meant
from matchvision.practice.free import measure_free
from matchvision.practice.limits import measure_greatest_pull, measure_own_grip
from matchvision.practice.load import dragged_load, measure_load
from matchvision.practice.slope import measure_slope
from matchvision.practice.tension import known_tension
from matchvision.practice.torque import measure_torque
from matchvision.records.camera import Cameras
from matchvision.records.events import Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter, PracticeResult
from matchvision.records.pull import Pull
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run
from matchvision.uncertainty import K_95, format_interval


def measure_practice(
    run: Run, motion: Motion, cameras: Cameras, clock: MatchClock, pull: Pull | None, grip: Grip | None
) -> tuple[PracticeResult, StageNote]:
    """What a practice run tells, by its kind.

    Raises
    ------
    CannotMeasure
        Where it tells nothing; with all that would help.

    Notes
    -----
    Checked by: tests/practice/test_engine_runs.py::test_known_parameters_are_recovered
    """
    kind = run.sheet.run.kind
    found: list[PracticeParameter] = []
    missing: list[str] = []
    warnings: list[str] = []
    reasons: list[str] = []

    def attempt(measure: Callable[[], PracticeParameter | list[PracticeParameter] | None]) -> None:
        try:
            got = measure()
        except CannotMeasure as reason:
            reasons.append(f"{reason.what}: {reason.do}")
            missing.append(f"{reason.what[:1].upper()}{reason.what[1:]}: {reason.do}.")
            return
        found.extend(got if isinstance(got, list) else [] if got is None else [got])

    if kind == "coast":
        attempt(lambda: measure_coast(run, machine_meant(run, motion), motion, cameras, clock))
    elif kind == "slope":
        attempt(lambda: measure_slope(run, machine_meant(run, motion), motion, cameras, clock, missing))
    elif kind == "free":
        attempt(lambda: measure_free(run, machine_meant(run, motion), motion, cameras, clock, missing))
    else:
        load = dragged_load(run)
        if load is not None:
            attempt(lambda: measure_load(run, load, motion, clock, known_tension(run, pull), warnings))
        attempt(lambda: measure_torque(run, machine_meant(run, motion), motion, clock, known_tension(run, pull)))
        attempt(lambda: measure_own_grip(run, machine_meant(run, motion), motion, clock, pull, grip))
        if kind == "stall":
            attempt(lambda: measure_greatest_pull(machine_meant(run, motion), motion, clock, known_tension(run, pull)))
    missing = list(dict.fromkeys(missing))
    if not found:
        others = [text for text in missing if text[1:].rstrip(".") != reasons[0][1:]]
        raise CannotMeasure(f"this {kind} run gave no number: {reasons[0]}", do=" ".join(others))
    result = PracticeResult(kind, tuple(found), tuple(missing), tuple(warnings))
    status: Literal["done", "partly"] = "partly" if missing else "done"
    said = "; ".join(say_parameter(parameter) for parameter in found)
    return result, StageNote("practice", status, f"Measured: {said} (95 %).", tuple(warnings), tuple(missing))


def say_parameter(parameter: PracticeParameter) -> str:
    """A parameter with its interval, for people."""
    unit = "" if parameter.unit == "1" else parameter.unit
    return f"{parameter.name} {format_interval(parameter.value, parameter.u95 / K_95, unit)}"
