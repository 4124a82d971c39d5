"""Short made-up runs in which one thing or another happens, on points and through pictures."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.filming import Course, Scene, demo_scene, film, play
from matchvision.filming.equipment import Camera, Hand
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.filming.scene import Disc, Drive, Machine, Release, Stated, Table, Tag
from matchvision.grip import find_events
from matchvision.motion import measure_motion
from matchvision.pipeline import analyze
from matchvision.pull import measure_pull
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.sheet import Run
from matchvision.records.tracks import Tracks
from matchvision.sheets import load_run
from tests.engine.extras import Extras, Loose, SideLoss
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import film_points
from tests.grip.happened import Truth, true_events

Noise = Callable[[Tracks, np.random.Generator], Tracks]


@dataclass(frozen=True)
class Story:
    """A scene and, if the physics engine plays it, what else it is told; filming plays what the engine cannot.

    ``misstate``: what its sheet says wrongly.
    """

    name: str
    scene: Scene
    extras: Extras | None = None
    misstate: Callable[[Run], Run] = lambda run: run

    def play(self) -> "Played":
        """What happens, on a fine clock."""
        if self.extras is None:
            return Played(play(self.scene), None)
        run = play_in_engine(self.scene, self.extras)
        return Played(run.course, run)

    def course(self) -> Course:
        """The same for filming."""
        return self.play().course


@dataclass(frozen=True, eq=False)
class Played:
    """What happened in a story, and what the engine knows beyond it, where it played."""

    course: Course
    run: EngineRun | None


def true_of(story: Story, played: Played) -> list[Truth]:
    """What truly happened in a story."""
    lost = {} if story.extras is None else story.extras.side_loss
    return [
        *true_events(story.scene, played.course, played.run),
        *(Truth("drive-loss", name, loss.at_s) for name, loss in lost.items() if loss.left < 0.6),
    ]


def short_match(seed: int, duration_s: float = 2.6) -> Scene:
    """The demo match with its action brought forward; sizes of small pictures."""
    scene = demo_scene(seed)
    camera = scene.camera
    assert camera.centre_px is not None
    small: Camera = replace(
        camera, size_px=(960, 540), f_px=(0.75 * camera.f_px[0], 0.75 * camera.f_px[1]),
        centre_px=(0.75 * camera.centre_px[0] - 0.125, 0.75 * camera.centre_px[1] - 0.125), bitrate=3_000_000,
    )  # fmt: skip
    clock = replace(scene.clock, start_s=0.6, duration_s=duration_s, after_s=0.15)
    plan = {
        True: ((0.0, 0.0), (0.2, 0.35), (0.8, 0.35), (1.1, 1.0)),
        False: ((0.0, 0.0), (0.2, 0.7), (0.8, 0.7), (1.1, 1.0)),
    }
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    machines = {name: driven(m, plan[name == strong]) for name, m in scene.machine.items()}
    return replace(scene, camera=small, clock=clock, machine=machines, thing=())


def driven(machine: Machine, throttle: tuple[tuple[float, float], ...]) -> Machine:
    assert machine.drive is not None
    drive: Drive = replace(machine.drive, throttle=throttle)
    stated = None if machine.forecast is None else replace(machine.forecast, throttle=throttle)
    return replace(machine, drive=drive, forecast=stated)


def _with(scene: Scene, **machines: Machine) -> Scene:
    return replace(scene, machine={**scene.machine, **machines})


def anchored_base(scene: Scene, anchor: Anchor, arm: Arm | None = None) -> Machine:
    """Plover as an anchored base."""
    wheeled = scene.machine["plover"]
    on_arm = () if arm is None else (Disc("arm", "green", 0.012, (-0.15, 0.0, 0.1), "reach"),)
    return replace(
        wheeled, drive=None, wheel=(), forecast=None, anchor=anchor, arm=arm, grip_ratio=0.35, heading_offset_deg=0.0,
        wander_deg=0.0, marker=(*wheeled.marker, *on_arm),
    )  # fmt: skip


def stories(seed: int) -> list[Story]:
    """One of each kind; masses, grips, camera and light are the seed's."""
    draw = np.random.default_rng([seed, 5])
    scene = short_match(seed)
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    weak = "heron" if strong == "plover" else "plover"
    at_s = float(draw.uniform(1.3, 1.7))
    full, low = ((0.0, 0.0), (0.2, 0.5), (0.6, 1.0)), ((0.0, 0.0), (0.2, 0.3))
    firm = _with(scene, heron=driven(heron, full), plover=anchored_base(scene, Anchor(holding_N=200.0)))
    pressed = Extras(press_N={"plover": ((0.0, 80.0), (9.0, 80.0))})
    leak = Anchor(holding_N=float(draw.uniform(17, 19)), leak_N_per_s=3.0, creeps_at_ratio=0.8, creep_m_s=0.03)
    arm = Arm(stroke_m=float(draw.uniform(0.1, 0.2)), mass_kg=0.15, at_s=0.5, lasts_s=float(draw.uniform(0.3, 0.5)))
    weakened = scene.machine[weak]
    assert weakened.drive is not None
    half = replace(weakened, drive=replace(weakened.drive, loss_s=at_s, loss_ratio=0.5))
    none_left = replace(weakened, drive=replace(weakened.drive, loss_s=at_s, loss_ratio=0.0))
    calm = _with(scene, heron=driven(heron, low), plover=driven(plover, low))
    side = (((0.0, 0.0), (0.2, 1.0)), ((0.0, 0.0), (0.2, 0.1)))
    off_m = 0.6 + 0.14 + 0.02 + float(draw.uniform(0.02, 0.04))
    side_x = -off_m if strong == "heron" else off_m
    wall = Wall(owner=weak, at_m=(side_x, scene.machine[strong].y_m), size_m=(0.04, 0.3, 0.08))
    hand = Hand(
        from_s=scene.clock.start_s + at_s - 0.4, until_s=scene.clock.start_s + at_s + 0.4,
        from_x_m=float(draw.uniform(-0.3, 0.0)), to_x_m=0.05, reach_m=0.45,
    )  # fmt: skip
    narrow = Table(
        length_m=1.30, width_m=1.1, tag=tuple(
            Tag(id=i, side_m=0.11, centre_m=c)
            for i, c in enumerate(((-0.56, 0.45), (0.56, 0.45), (0.56, -0.45), (-0.56, -0.45)))
        ),
    )  # fmt: skip
    pulling = scene.machine[strong]
    assert pulling.drive is not None
    turning = replace(
        pulling,
        drive=replace(pulling.drive, loss_s=0.1, loss_ratio=1.0, loss_turn_deg_per_m=150 * float(draw.choice([-1, 1]))),
    )
    side_mark = Disc("side", "cyan", 0.014, (0.0, -0.085, 0.12))
    lifted = replace(
        calm.machine["heron"], marker=(*heron.marker, side_mark), lift=((0.6, 0.0), (0.8, 9.0), (1.4, 9.0), (1.6, 0.0))
    )
    release = Release(hitch=weak, after_start_s=at_s)
    return [
        Story("slips", scene, Extras()),
        Story("spins", firm, pressed),
        Story("stalls", _with(firm, heron=driven(heron, low)), pressed),
        Story("dragged", _with(scene, **{weak: none_left}), Extras(brake_Nm={weak: ((at_s, 0.0), (at_s + 0.03, 2.0))})),
        Story("half-drive", _with(scene, **{weak: half}), Extras()),
        Story("pulled-round", scene, Extras(side_share={weak: side})),
        Story("lets-go", replace(calm, rope=replace(scene.rope, release=release)), Extras()),
        Story("off-table", replace(scene, table=narrow), Extras()),
        Story("breaks-away", _with(firm, plover=anchored_base(scene, Anchor(holding_N=200.0))), Extras(
            press_N={"plover": ((0.0, 40.0), (0.6, 40.0), (2.2, 0.0))})),
        Story("creeps", _with(firm, plover=anchored_base(scene, leak))),
        Story("reaches", _with(firm, plover=anchored_base(scene, Anchor(holding_N=200.0), arm))),
        Story("early", _with(calm, heron=replace(calm.machine["heron"], let_go_s=-float(draw.uniform(0.12, 0.35))))),
        Story("wall", replace(scene, wall=(wall,))),
        Story("hand", replace(calm, hand=(hand,)), Extras()),
        Story("turns", _with(scene, **{strong: turning})),
        Story("lifts", _with(calm, heron=lifted)),
        *_rough_stories(seed, calm),
    ]  # fmt: skip


def _rough_stories(seed: int, calm: Scene) -> list[Story]:
    """Bodies that meet, give way, fall over or are swung round, a lost side, a brake that holds, a longer rope."""
    draw = np.random.default_rng([seed, 6])
    long, scene = short_match(seed, 3.4), short_match(seed)
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    weak = "heron" if strong == "plover" else "plover"
    way = -1 if scene.machine[strong].home == "-x" else 1
    at_m = (scene.machine[strong].hitch_x_m + way * (0.345 + float(draw.uniform(0.0, 0.02))), scene.machine[strong].y_m)
    wall = Wall(owner=weak, at_m=at_m, size_m=(0.04, 0.3, 0.08))
    gap_m = float(draw.uniform(0.08, 0.12))
    off = ((0.0, 0.0), (9.0, 0.0))
    near = {
        name: driven(replace(scene.machine[name], hitch_x_m=x), off)
        for name, x in (("heron", -gap_m), ("plover", gap_m))
    }
    rearing = replace(
        driven(scene.machine["heron"], ((0.0, 0.0), (0.2, 0.5), (0.8, 1.0))), hitch_m=(-0.09, 0.0, 0.20),
        centre_of_mass_m=(0.0, 0.0, 0.09), grip_ratio=1.1, size_m=(0.19, 0.234, 0.12),
    )  # fmt: skip
    anchored = anchored_base(scene, Anchor(holding_N=200.0))
    braked = replace(driven(scene.machine[strong], off), brake_stated_N=Stated(value=40.0, u=5.0))
    aside_m = float(draw.choice([-1, 1])) * float(draw.uniform(0.05, 0.08))
    yields = scene.machine[weak]
    aside = replace(yields, hitch_m=(yields.hitch_m[0], aside_m, yields.hitch_m[2]), grip_ratio=0.5 * yields.grip_ratio)
    rope = replace(
        scene.rope, length_m=scene.rope.length_m + 0.06, link=None, bead_colours=("red", "cyan"), bead_spacing_m=0.105
    )
    told_m = scene.rope.length_m

    def shorter(run: Run) -> Run:
        assert run.sheet.rope is not None
        stated = run.sheet.rope.model_copy(update={"length_m": told_m})
        return replace(run, sheet=run.sheet.model_copy(update={"rope": stated}))

    return [
        Story("wall-gives", replace(long, wall=(wall,)), Extras(solid=True, loose={weak: Loose(0.8, 0.5)})),
        Story("meets", _with(scene, **near), Extras(
            solid=True, rope=False, push_m_s={"heron": -float(draw.uniform(0.4, 0.6))})),
        Story("tips", replace(scene, machine={"heron": rearing, "plover": anchored}), Extras(
            solid=True, press_N={"plover": ((0.0, 120.0), (9.0, 120.0))})),
        Story("swings", _with(scene, **{weak: aside}), Extras()),
        Story("side-lost", scene, Extras(side_loss={strong: SideLoss("left", float(draw.uniform(1.3, 1.7)))})),
        Story("braked", _with(calm, **{strong: braked}), Extras(brake_Nm={strong: ((0.0, 5.0), (9.0, 5.0))})),
        Story("longer", replace(long, rope=rope), Extras(), shorter),
    ]  # fmt: skip


def found_in_pixels(story: Story, course: Course) -> Sequence[Event]:
    """Events of the whole pipeline, from a rendered and compressed clip."""
    with tempfile.TemporaryDirectory() as scratch:
        film(story.scene, Path(scratch), course=course)
        grip = analyze(load_run(Path(scratch))).grip
    return () if grip is None else grip.events


def found_in_points(
    story: Story, course: Course, generator: np.random.Generator, noise: Noise | None = None
) -> Sequence[Event]:
    """Events from where the camera would see the markers, with white noise of 0.17 px or what ``noise`` puts on."""
    return measured_points(story, course, generator, noise)[1]


def measured_points(
    story: Story, course: Course, generator: np.random.Generator, noise: Noise | None = None
) -> tuple[Motion, tuple[Event, ...]]:
    """Motion and events from there."""
    filmed = film_points(story.scene, generator, 0.17 if noise is None else 0.0, course=course)
    if noise is not None:
        filmed = replace(filmed, tracks=noise(filmed.tracks, generator))
    run = story.misstate(filmed.run)
    clock = MatchClock(story.scene.clock.start_s, story.scene.clock.duration_s)
    motion, _ = measure_motion(run, filmed.tracks, filmed.cameras)
    try:
        pull = measure_pull(run, motion, clock)[0]
    except CannotMeasure:
        pull = None
    return motion, find_events(run, motion, pull, clock)[0].events
