"""Where the machines stand when the clock starts, before any clip shows it."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.mechanics.building import ASSUMED_SIZE_M
from matchvision.mechanics.guessing import guess_opponent
from matchvision.mechanics.machine import MachineModel, MatchModel, Pose
from matchvision.mechanics.rope import RopeModel
from matchvision.mechanics.tautrope import lay_rope
from matchvision.records.profile import is_level
from matchvision.records.sheet import Machine, Run, StartPose

#: Turns in which machines are moved until the rope is taut, and how much of what is missing each turn makes up for: on
#: a slope of 60° a step along x moves a hitch twice as far.
TURNS: Final = 80
TURN_RATIO: Final = 0.6


def assume_starts(run: Run) -> tuple[Mapping[str, StartPose], tuple[str, ...]]:
    """Starts from the sheet; for the rest: on the middle line, facing home, the rope taut and halved.

    Parameters
    ----------
    run : Run

    Returns
    -------
    starts : StartPose by machine
        A machine whose hitch is not in the sheet gets none.
    assumed : sentences
        What was not in the sheet.

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


def _stand(machine: Machine, own_rope_m: float) -> StartPose:
    """A machine on the middle line, facing home, its hitch so far out on its own side."""
    home = 1.0 if machine.home == "+x" else -1.0
    at_m = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    return StartPose(at_m=(home * (own_rope_m - at_m[0]), -home * at_m[1]), heading_deg=0.0 if home > 0 else 180.0)


def _tauten(run: Run, starts: Mapping[str, StartPose], places: dict[str, StartPose]) -> None:
    """Move the machines of ``places`` along x until the rope is taut, and halved where both are free."""
    rope = run.sheet.rope
    if rope is None:
        return
    homes = {name: 1.0 if run.sheet.machine[name].home == "+x" else -1.0 for name in rope.ends}
    profile = tuple(sorted(run.sheet.table.profile_m))
    machines = tuple(_body(name, run.sheet.machine[name]) for name in rope.ends)
    for _ in range(TURNS):
        poses = []
        for name in rope.ends:
            start = places.get(name) or starts[name]
            poses.append(Pose(*start.at_m, float(np.deg2rad(start.heading_deg))))
        laid = MatchModel(
            machines, tuple(poses), RopeModel(rope.length_m, lying_m=rope.bead_radius_m),
            profile_m=() if is_level(profile) else profile,
        )  # fmt: skip
        length_m, plus_m = lay_rope(laid)
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
