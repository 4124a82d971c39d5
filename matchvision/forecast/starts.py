"""Where the machines stand when the clock starts, before any clip shows it."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.mechanics.building import ASSUMED_SIZE_M
from matchvision.mechanics.guessing import guess_opponent
from matchvision.mechanics.machine import MachineModel, MatchModel, Pose
from matchvision.mechanics.rope import RopeModel
from matchvision.mechanics.tautrope import lay_rope
from matchvision.records.profile import is_level
from matchvision.records.sheet import Machine, RopeSheet, Run, StartPose

#: Turns in which machines are moved until the rope is taut, and how much of what is missing each turn makes up for: on
#: a slope of 60° a step along x moves a hitch twice as far.
TURNS: Final = 80
TURN_RATIO: Final = 0.6
#: By so much [m] the rules' places may miss the rope's length: a rope is measured to millimetres.
STRETCHED_M: Final = 0.005


def assume_starts(run: Run) -> tuple[Mapping[str, StartPose], tuple[str, ...]]:
    """Starts from the sheet; for the rest: on the middle line, facing home, by the rules or the rope taut and halved.

    Parameters
    ----------
    run : Run

    Returns
    -------
    starts : StartPose by machine
        A machine whose hitch is not in the sheet gets none.
    assumed : sentences
        What was not in the sheet.

    Raises
    ------
    CannotMeasure
        Where the rope is too short for where the rules put both machines.

    Notes
    -----
    With hitches at heights h1 and h2 the taut rope of length L spans sqrt(L² - (h1 - h2)²) between them on a level
    table; over a ridge it lies on the crest. Where one machine has a start in the sheet, the other stands where the
    rope to it is taut. An arm is drawn in.
    Checked by: tests/forecast/test_starts.py::test_rope_is_taut_and_halved,
    tests/forecast/test_starts.py::test_rope_over_a_ridge_is_taut_and_halved
    """
    run, _ = guess_opponent(run)  # its hitch
    starts = {name: machine.start for name, machine in run.sheet.machine.items() if machine.start is not None}
    rope = run.sheet.rope
    if rope is None:
        return starts, ()
    free = [name for name in rope.ends if name not in starts and run.sheet.machine[name].hitch is not None]
    ruled_m = run.sheet.rules.hitch_from_centre_m
    if ruled_m is not None:
        starts |= {name: pose for name, pose in ruled_starts(run).items() if name in free}
        if free:  # where both machines have starts of their own, the rules put none
            _refuse_stretched(run, starts, free, ruled_m)
        place = f"its hitch {ruled_m:g} m from the centre line as [rules] hitch_from_centre_m says"
        return starts, tuple(f"{name} starts at x = {starts[name].at_m[0]:.3f} m, {place}" for name in free)
    places = {name: _stand(run.sheet.machine[name], rope.length_m / 2) for name in free}
    if free and all(run.sheet.machine[name].hitch is not None for name in rope.ends):
        _tauten(run, starts, places)
    starts |= places
    assumed = tuple(
        f"{name} starts at x = {starts[name].at_m[0]:.3f} m with the rope taut, as [machine.{name}] start is not in "
        "the sheet"
        for name in free
    )
    return starts, assumed


def ruled_starts(run: Run) -> Mapping[str, StartPose]:
    """Where the rules put the rope's machines; none where they say nothing, or a hitch is not in the sheet."""
    rope, ruled_m = run.sheet.rope, run.sheet.rules.hitch_from_centre_m
    if rope is None or ruled_m is None:
        return {}
    machines = {name: run.sheet.machine[name] for name in rope.ends if name in run.sheet.machine}
    return {name: _stand(machine, ruled_m) for name, machine in machines.items() if machine.hitch is not None}


def _stand(machine: Machine, own_rope_m: float) -> StartPose:
    """A machine on the middle line, facing home, its hitch so far out on its own side."""
    home = 1.0 if machine.home == "+x" else -1.0
    at_m = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    return StartPose(at_m=(home * (own_rope_m - at_m[0]), -home * at_m[1]), heading_deg=0.0 if home > 0 else 180.0)


def _refuse_stretched(run: Run, starts: Mapping[str, StartPose], ruled: Sequence[str], ruled_m: float) -> None:
    """Raise where the way between both hitches is longer than the rope; ``ruled`` are those the rules put there."""
    rope = run.sheet.rope
    if rope is None or any(name not in starts for name in rope.ends):
        return
    way_m, _ = lay_rope(_laid(run, rope, starts))
    if way_m > rope.length_m + STRETCHED_M:
        own = [f"the start of {name}" for name in rope.ends if name not in ruled]
        puts = f" and {own[0]} put" if own else " puts"
        msg = (
            f"[rules] hitch_from_centre_m = {ruled_m:g}{puts} the hitches {way_m:.3f} m apart along the rope's way, "
            f"and the rope is {rope.length_m:g} m long"
        )
        raise CannotMeasure(msg, do="measure them again, or give each machine a start of its own")


def _laid(run: Run, rope: RopeSheet, starts: Mapping[str, StartPose]) -> MatchModel:
    """Both machines at their starts and the rope between them; hitches at their heights."""
    poses = [Pose(*starts[name].at_m, float(np.deg2rad(starts[name].heading_deg))) for name in rope.ends]
    profile = tuple(sorted(run.sheet.table.profile_m))
    return MatchModel(
        tuple(_body(name, run.sheet.machine[name]) for name in rope.ends), tuple(poses),
        RopeModel(rope.length_m, lying_m=rope.bead_radius_m), profile_m=() if is_level(profile) else profile,
    )  # fmt: skip


def _tauten(run: Run, starts: Mapping[str, StartPose], places: dict[str, StartPose]) -> None:
    """Move the machines of ``places`` along x until the rope is taut, and halved where both are free."""
    rope = run.sheet.rope
    if rope is None:
        return
    homes = {name: 1.0 if run.sheet.machine[name].home == "+x" else -1.0 for name in rope.ends}
    for _ in range(TURNS):
        length_m, plus_m = lay_rope(_laid(run, rope, {**starts, **places}))
        missing_m = rope.length_m - length_m
        for name, place in places.items():
            own_m = plus_m if homes[name] > 0 else length_m - plus_m
            step_m = TURN_RATIO * (missing_m if len(places) == 1 else rope.length_m / 2 - own_m)
            places[name] = place.model_copy(update={"at_m": (place.at_m[0] + homes[name] * step_m, place.at_m[1])})
        if abs(missing_m) < 1e-10:
            return


def _body(name: str, machine: Machine) -> MachineModel:
    """What of a machine says how it stands."""
    size = machine.size_m or ASSUMED_SIZE_M
    radii = [wheel.radius_m for wheel in machine.wheel]
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    contact_m = machine.wheelbase_m if radii and machine.wheelbase_m is not None else size[0]
    radius_m = float(np.mean(radii)) if radii else 0.0
    return MachineModel(name, 1.0, size, (0.0, 0.0, 0.05), hitch, 0.0, 0.0, contact_m, size[1], radius_m)
