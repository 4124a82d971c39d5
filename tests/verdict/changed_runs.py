"""Runs of a physics engine in which one known thing is other than the forecast says, and honest forecasts of them."""

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.filming import Scene, demo_scene, film, play
from matchvision.filming.scene import Forecast, Machine, Patch, Release, Stated
from matchvision.motion import measure_motion
from matchvision.pipeline import analyze, start_poses
from matchvision.pull import measure_pull
from matchvision.records.motion import MatchClock
from matchvision.records.results import CauseRow
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from matchvision.verdict.reasoning import reason
from tests.engine.extras import Extras, SideLoss
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points


@dataclass(frozen=True)
class Changed:
    """A scene, the engine's extras, and what is true: cause, machine, size in the unit of the table of causes.

    ``mass_ratio``: true over stated mass, by machine; ``rope_off_m``: true less stated length.
    """

    scene: Scene
    cause: str
    machine: str
    size: float
    extras: Extras = field(default_factory=Extras)
    mass_ratio: Mapping[str, float] | None = None
    rope_off_m: float = 0.0


def changed_run(cause: str, seed: int) -> Changed:
    """An invented match with one change, drawn from the seed; forecasts are honest about everything else."""
    draw = np.random.default_rng([seed, 5])
    scene = _honest(demo_scene(seed), draw)
    if seed % 2:
        rope = replace(scene.rope, link=None, bead_colours=("red", "cyan"))
        scene = replace(scene, rope=rope)
    if cause == "as-predicted":
        return Changed(scene, cause, "", np.nan)
    return _CHANGES[cause](scene, str(draw.choice(list(scene.machine))), draw)


def causes_from_points(changed: Changed, seed: int) -> tuple[CauseRow, ...]:
    """Causes as found from the markers' noisy places."""
    course = play_in_engine(changed.scene, changed.extras).course
    filmed = film_points(changed.scene, np.random.default_rng([seed, 6]), course=course)
    run = _misstate(filmed.run, changed)
    motion, _ = measure_motion(run, filmed.tracks, filmed.cameras)
    start_s = run.sheet.clock.start_s
    assert start_s is not None
    clock = MatchClock(start_s, run.sheet.clock.duration_s)
    try:
        pull = measure_pull(run, motion, clock)[0]
    except CannotMeasure:
        pull = None
    return reason(run, motion, pull, None, clock, start_poses(run, motion, clock))


def causes_from_pixels(changed: Changed) -> tuple[CauseRow, ...]:
    """Causes as the whole analysis tells them from a rendered clip."""
    scene = changed.scene
    course = play_in_engine(scene, changed.extras).course
    with tempfile.TemporaryDirectory() as scratch:
        film(scene, Path(scratch), course=course)
        return analyze(_misstate(load_run(Path(scratch)), changed)).verdict.causes


def _misstate(run: Run, changed: Changed) -> Run:
    """The run with a sheet that states a wrong mass or rope length, where that is the change."""
    sheet = run.sheet
    for name, ratio in (changed.mass_ratio or {}).items():
        machine = sheet.machine[name]
        told = machine.model_copy(update={"mass_kg": round((machine.mass_kg or 0.0) / ratio, 3)})
        sheet = sheet.model_copy(update={"machine": {**sheet.machine, name: told}})
    if changed.rope_off_m and sheet.rope is not None:
        rope = sheet.rope.model_copy(update={"length_m": sheet.rope.length_m - changed.rope_off_m})
        sheet = sheet.model_copy(update={"rope": rope})
    return replace(run, sheet=sheet)


def _honest(scene: Scene, draw: np.random.Generator) -> Scene:
    """Forecasts that are off the truth by what they say themselves."""
    machines = {}
    for name, machine in scene.machine.items():
        drive = machine.drive
        assert drive is not None

        def near(value: float, u: float) -> Stated:
            return Stated(value=float(value + u * draw.normal()), u=u)

        grip = near(machine.grip_ratio, 0.04 * machine.grip_ratio)
        machines[name] = replace(
            machine,
            forecast=Forecast(
                motors=drive.motors,
                stall_torque_Nm=near(drive.stall_torque_Nm, 0.03 * drive.stall_torque_Nm),
                no_load_rev_min=near(drive.no_load_rev_min, 0.02 * drive.no_load_rev_min),
                gear_ratio=drive.gear_ratio,
                drive_efficiency=near(drive.drive_efficiency, 0.02),
                drive_friction_Nm=near(drive.drive_friction_Nm, 0.01),
                grip_static=grip,
                grip_sliding=grip,
                throttle=drive.throttle,
                throttle_acts_on=drive.throttle_acts_on,
            ),
        )
    return replace(scene, machine=machines)


def _with(scene: Scene, name: str, machine: Machine) -> Scene:
    return replace(scene, machine={**scene.machine, name: machine})


def _off(draw: np.random.Generator, least: float, most: float) -> float:
    """A ratio that is off 1 by so much, up or down."""
    return float(np.exp(draw.choice([-1, 1]) * draw.uniform(least, most)))


def _lose_drive(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    machine, at_s, left = scene.machine[name], float(draw.uniform(1.5, 4)), float(draw.uniform(0.2, 0.6))
    assert machine.drive is not None
    drive = replace(machine.drive, loss_s=round(at_s, 3), loss_ratio=round(left, 3))
    return Changed(_with(scene, name, replace(machine, drive=drive)), "drive-loss", name, 1 - left)


def _lose_side(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    side = SideLoss("left" if draw.random() < 0.5 else "right", float(draw.uniform(1.5, 4)))
    return Changed(scene, "drive-loss", name, 1.0, Extras(side_loss={name: side}))


def _start_late(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    machine, late_s = scene.machine[name], float(draw.uniform(0.4, 1.5))
    assert machine.drive is not None
    drive = replace(machine.drive, start_delay_s=round(late_s, 3))
    return Changed(_with(scene, name, replace(machine, drive=drive)), "late-start", name, late_s)


def _let_go(scene: Scene, _: str, draw: np.random.Generator) -> Changed:
    at_s = round(float(draw.uniform(1.5, 4)), 3)
    rope = replace(scene.rope, release=Release(hitch="heron", after_start_s=at_s))
    return Changed(replace(scene, rope=rope), "hitch-released", "", at_s)


def _gear(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    machine, ratio = scene.machine[name], _off(draw, 0.2, 0.4)
    assert machine.drive is not None
    assert machine.forecast is not None
    told = replace(machine.forecast, gear_ratio=machine.drive.gear_ratio / ratio)
    return Changed(_with(scene, name, replace(machine, forecast=told)), "wrong-gear", name, ratio)


def _efficiency(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    machine, ratio = scene.machine[name], _off(draw, 0.2, 0.32)
    assert machine.drive is not None
    assert machine.forecast is not None
    told = Stated(value=min(0.99, machine.drive.drive_efficiency / ratio), u=0.02)
    ratio = machine.drive.drive_efficiency / float(told.value)
    told_all = replace(machine.forecast, drive_efficiency=told)
    return Changed(_with(scene, name, replace(machine, forecast=told_all)), "wrong-efficiency", name, ratio)


def _mass(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    ratio = _off(draw, 0.2, 0.4)
    return Changed(scene, "wrong-mass", name, ratio, mass_ratio={name: ratio})


def _lose_grip(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    at_s, left = float(draw.uniform(1.5, 4)), float(draw.uniform(0.4, 0.75))
    extras = Extras(grip_factor={name: ((0.0, 1.0), (at_s, 1.0), (at_s + 0.002, left))})
    return Changed(scene, "less-grip", name, 1 - left, extras)


def _slip_on_stretch(scene: Scene, _: str, draw: np.random.Generator) -> Changed:
    """A stretch under the way of the outer wheels of the machine that goes furthest, as filming plays the match."""
    course = play(scene)
    ways = {name: own.x_m for name, own in course.machines.items()}
    name = max(ways, key=lambda each: float(np.ptp(ways[each])))
    machine, left = scene.machine[name], float(draw.uniform(0.3, 0.6))
    axle = machine.wheelbase_m / 2 * (1.0 if machine.home == "+x" else -1.0)
    parts = draw.uniform((0.2, 0.6), (0.4, 0.9))
    begin, end = float(np.min(ways[name])) + axle + float(np.ptp(ways[name])) * parts
    patch = Patch(from_m=float(begin), to_m=float(end), grip_ratio=left * machine.grip_ratio)
    changed = replace(scene, table=replace(scene.table, patch=(patch,)))
    return Changed(changed, "slippery-stretch", name, 1 - left)


def _rope(scene: Scene, _: str, draw: np.random.Generator) -> Changed:
    """A rope that is shorter than where the hitches stand leaves no slack: only a longer one is played."""
    off_m = float(draw.uniform(0.05, 0.1))
    rope = replace(scene.rope, length_m=scene.rope.length_m + off_m, link=None, bead_colours=("red", "cyan"))
    return Changed(replace(scene, rope=rope), "rope-longer", "", off_m, rope_off_m=off_m)


_CHANGES: Final[Mapping[str, Callable[[Scene, str, np.random.Generator], Changed]]] = {
    "drive-loss": _lose_drive,
    "side-loss": _lose_side,
    "late-start": _start_late,
    "hitch-released": _let_go,
    "wrong-gear": _gear,
    "wrong-efficiency": _efficiency,
    "wrong-mass": _mass,
    "less-grip": _lose_grip,
    "slippery-stretch": _slip_on_stretch,
    "rope-longer": _rope,
}
#: Every kind of change that can be played.
KINDS: Final = tuple(_CHANGES)
