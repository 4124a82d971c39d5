"""Runs of a physics engine in which one known thing is other than the forecast says, and honest forecasts of them."""

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.filming import Scene, demo_scene, film, play
from matchvision.filming.parts import Anchor, Wall
from matchvision.filming.scene import Forecast, Machine, Patch, Release, Stated
from matchvision.motion import measure_motion
from matchvision.pipeline import analyze, start_poses
from matchvision.pull import measure_pull
from matchvision.records.events import Event, Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.results import CauseRow
from matchvision.records.sheet import Anchor as SheetAnchor
from matchvision.records.sheet import Hitch, Quantity, Run
from matchvision.sheets import load_run
from matchvision.verdict.causes.reasoning import reason
from tests.engine.extras import Extras, SideLoss
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points


@dataclass(frozen=True)
class Changed:
    """A scene, the engine's extras, and what is true: cause, machine, size in the unit of the table of causes.

    ``since_s``: since when, where that is told beside a size; ``misstate``: what its sheet says wrongly; ``touch``: a
    hand that was seen.
    """

    scene: Scene
    cause: str
    machine: str
    size: float
    extras: Extras = field(default_factory=Extras)
    since_s: float = np.nan
    misstate: Callable[[Run], Run] = lambda run: run
    touch: Event | None = None


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
    return causes_from_measured(changed, *measured_points(changed, seed))


def causes_from_measured(
    changed: Changed, run: Run, motion: Motion, pull: Pull | None, clock: MatchClock
) -> tuple[CauseRow, ...]:
    """Causes as found from what was measured, with a hand's touch where there was one."""
    grip = None if changed.touch is None else Grip((changed.touch,))
    return reason(run, motion, pull, grip, clock, start_poses(run, motion, clock))


def measured_points(changed: Changed, seed: int) -> tuple[Run, Motion, Pull | None, MatchClock]:
    """What would be measured from the markers' noisy places."""
    course = play_in_engine(changed.scene, changed.extras).course
    filmed = film_points(changed.scene, np.random.default_rng([seed, 6]), course=course)
    run = changed.misstate(filmed.run)
    motion, _ = measure_motion(run, filmed.tracks, filmed.cameras)
    start_s = run.sheet.clock.start_s
    assert start_s is not None
    clock = MatchClock(start_s, run.sheet.clock.duration_s)
    try:
        return run, motion, measure_pull(run, motion, clock)[0], clock
    except CannotMeasure:
        return run, motion, None, clock


def causes_from_pixels(changed: Changed) -> tuple[CauseRow, ...]:
    """Causes as the whole analysis tells them from a rendered clip."""
    scene = changed.scene
    course = play_in_engine(scene, changed.extras).course
    with tempfile.TemporaryDirectory() as scratch:
        film(scene, Path(scratch), course=course)
        return analyze(changed.misstate(load_run(Path(scratch)))).verdict.causes


def with_unmeasured_opponent(changed: Changed) -> Changed:
    """The same run where nobody weighed the other machine, knows of its drive, or saw its operator's plan."""
    known = changed.machine or "heron"
    other = next(name for name in changed.scene.machine if name != known)

    def forget(run: Run) -> Run:
        run = changed.misstate(run)
        nothing = {"unknown": True, "mass_kg": None, "u_mass_kg": 0.0, "drive": None}
        machine = run.sheet.machine[other].model_copy(update=nothing)
        forecast = {name: own for name, own in run.sheet.forecast.items() if name != other}
        told = {"machine": {**run.sheet.machine, other: machine}, "forecast": forecast}
        return replace(run, sheet=run.sheet.model_copy(update=told))

    return replace(changed, misstate=forget)


def as_small_pictures(changed: Changed) -> Changed:
    """Filmed with three quarters of the pictures' size and half of their number."""
    camera = changed.scene.camera
    assert camera.centre_px is not None
    small = replace(
        camera,
        size_px=(960, 540),
        f_px=(0.75 * camera.f_px[0], 0.75 * camera.f_px[1]),
        centre_px=(0.75 * (camera.centre_px[0] + 0.5) - 0.5, 0.75 * (camera.centre_px[1] + 0.5) - 0.5),
        frames_per_s=30.0,
        subframes=2,
    )
    return replace(changed, scene=replace(changed.scene, camera=small))


def _state(name: str, **told: object) -> Callable[[Run], Run]:
    """Let a sheet say something else of a machine."""

    def misstate(run: Run) -> Run:
        machine = run.sheet.machine[name].model_copy(update=told)
        return replace(run, sheet=run.sheet.model_copy(update={"machine": {**run.sheet.machine, name: machine}}))

    return misstate


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
    return Changed(_with(scene, name, replace(machine, drive=drive)), "drive-loss", name, 1 - left, since_s=at_s)


def _lose_side(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    side = SideLoss("left" if draw.random() < 0.5 else "right", float(draw.uniform(1.5, 4)))
    return Changed(scene, "drive-loss", name, 1.0, Extras(side_loss={name: side}), since_s=side.at_s)


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
    told_kg = round(scene.machine[name].mass_kg / ratio, 3)
    return Changed(scene, "wrong-mass", name, ratio, misstate=_state(name, mass_kg=told_kg))


def _heavy_opponent(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    """Nobody weighed it: the sheet has a guess, and says how good it thinks that is."""
    ratio = float(np.exp(draw.uniform(0.3, 0.5)))
    guess_kg = round(scene.machine[name].mass_kg / ratio, 3)
    misstate = _state(name, mass_kg=guess_kg, u_mass_kg=0.06 * guess_kg, unknown=True)
    return Changed(scene, "opponent-heavier", name, ratio, misstate=misstate)


def _strong_opponent(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    machine, ratio = scene.machine[name], float(np.exp(draw.uniform(0.3, 0.5)))
    assert machine.drive is not None
    assert machine.forecast is not None
    guess = machine.drive.stall_torque_Nm / ratio
    told = replace(machine.forecast, stall_torque_Nm=Stated(value=guess, u=0.06 * guess))
    guessed = _with(scene, name, replace(machine, forecast=told))
    misstate = _state(name, unknown=True, u_mass_kg=0.05 * machine.mass_kg)
    return Changed(guessed, "opponent-stronger", name, ratio, misstate=misstate)


def _turn(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    """The rope is tied aside of where the sheet says."""
    machine, off_m = scene.machine[name], float(draw.choice([-1, 1]) * draw.uniform(0.025, 0.045))
    x, _, z = machine.hitch_m
    told = Hitch(at_m=(x, 0.0, z))
    return Changed(
        _with(scene, name, replace(machine, hitch_m=(x, off_m, z))), "turned", name, off_m,
        misstate=_state(name, hitch=told),
    )  # fmt: skip


def _command(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    """The operator holds back from some moment on, and the log says so."""
    machine, at_s, left = scene.machine[name], float(draw.uniform(1.5, 4)), float(draw.uniform(0.2, 0.6))
    assert machine.drive is not None
    times_s = np.arange(0.0, 5.5, 0.05)
    share = np.interp(times_s, *np.array(machine.drive.throttle).T) * np.where(times_s > at_s, left, 1.0)
    given = tuple((round(float(t), 3), round(float(s), 3)) for t, s in zip(times_s, share, strict=True))
    really = _with(scene, name, replace(machine, drive=replace(machine.drive, throttle=given)))

    def log(run: Run) -> Run:
        return replace(run, commands={name: np.array(given)})

    return Changed(really, "command-changed", name, np.nan, misstate=log)


def _touch(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    """A hand holds a machine's wheels for a while, and is seen over the table."""
    at_s, lasts_s = float(draw.uniform(1.5, 3.5)), float(draw.uniform(0.4, 1.0))
    held = ((0.0, 0.0), (at_s, 0.0), (at_s + 0.05, 3.0), (at_s + lasts_s, 3.0), (at_s + lasts_s + 0.05, 0.0))
    seen = Event("touch", name, at_s - 0.2, at_s + lasts_s + 0.2, 0.02, 0.98, "skin over the table.")
    return Changed(scene, "touched", "", np.nan, Extras(brake_Nm={name: held}), since_s=seen.start_s, touch=seen)


def _stop(scene: Scene, _: str, draw: np.random.Generator) -> Changed:
    """Something in the way of the machine that goes furthest home, as filming plays the match."""
    course = play(scene)
    ways = {name: (1 if scene.machine[name].home == "+x" else -1) * own.x_m for name, own in course.machines.items()}
    name = max(ways, key=lambda each: float(np.max(ways[each]) - ways[each][0]))
    way = 1 if scene.machine[name].home == "+x" else -1
    far_m = float((np.max(ways[name]) - ways[name][0]) * draw.uniform(0.3, 0.7))
    middle_m = way * (float(ways[name][0]) + far_m)
    length_m, thick_m = scene.machine[name].size_m[0], 0.03
    face_m = middle_m + way * (length_m + thick_m) / 2
    owner = next(other for other in scene.machine if other != name)
    wall = Wall(owner=owner, at_m=(face_m, 0.0), size_m=(thick_m, 0.3, 0.1))
    return Changed(replace(scene, wall=(wall,)), "blocked", name, middle_m, Extras(solid=True))


def _anchor(scene: Scene, _: str, draw: np.random.Generator) -> Changed:
    """Plover stands on an anchor that holds less than it should; heron, the stronger for it, draws it off."""
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    grip, left = plover.grip_ratio, float(draw.uniform(0.3, 0.6))
    mass_kg, holds_N = 1.1, float(draw.uniform(3.0, 5.0))
    assert heron.drive is not None
    assert heron.forecast is not None
    full = ((0.0, 0.0), (0.3, 0.3), (2.5, 1.0), (5.5, 1.0))
    heron = replace(
        heron, mass_kg=2.8, drive=replace(heron.drive, throttle=full), forecast=replace(heron.forecast, throttle=full)
    )
    stated = Stated(value=float(grip * (1 + 0.04 * draw.normal())), u=0.04 * grip)
    plover = replace(
        plover, mass_kg=mass_kg, drive=None, wheel=(), anchor=Anchor(holding_N=round(holds_N / left, 2)),
        forecast=Forecast(grip_static=stated, grip_sliding=stated),
    )  # fmt: skip
    rope = replace(scene.rope, link=None, bead_colours=("red", "cyan"))
    changed = replace(scene, rope=rope, machine={"heron": heron, "plover": plover})
    pressed = Extras(press_N={"plover": ((0.0, holds_N / grip),)})
    stated_N = holds_N / left
    told = SheetAnchor(holding_N=Quantity(value=stated_N, u=0.04 * stated_N))
    return Changed(changed, "anchor-weaker", "plover", 1 - left, pressed, misstate=_state("plover", anchor=told))


def _lose_grip(scene: Scene, name: str, draw: np.random.Generator) -> Changed:
    at_s, left = float(draw.uniform(1.5, 4)), float(draw.uniform(0.4, 0.75))
    extras = Extras(grip_factor={name: ((0.0, 1.0), (at_s, 1.0), (at_s + 0.002, left))})
    return Changed(scene, "less-grip", name, 1 - left, extras, since_s=at_s)


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
    off_m, told_m = float(draw.uniform(0.05, 0.1)), scene.rope.length_m
    rope = replace(scene.rope, length_m=scene.rope.length_m + off_m, link=None, bead_colours=("red", "cyan"))

    def shorter(run: Run) -> Run:
        assert run.sheet.rope is not None
        told = run.sheet.rope.model_copy(update={"length_m": told_m})
        return replace(run, sheet=run.sheet.model_copy(update={"rope": told}))

    return Changed(replace(scene, rope=rope), "rope-longer", "", off_m, misstate=shorter)


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
    "opponent-heavier": _heavy_opponent,
    "opponent-stronger": _strong_opponent,
    "turned": _turn,
    "command-changed": _command,
    "touched": _touch,
    "blocked": _stop,
    "anchor-weaker": _anchor,
}


def two_changes(first: str, second: str, seed: int) -> tuple[Changed, Changed]:
    """An invented match with two changes, the second one made to what the first one left."""
    one = changed_run(first, seed)
    names = list(one.scene.machine)
    name = names[1 - names.index(one.machine)] if one.machine else names[0]
    return one, _CHANGES[second](one.scene, name, np.random.default_rng([seed, 7]))


#: Every kind of change that can be played.
KINDS: Final = tuple(_CHANGES)
