"""Practice runs of every kind, played by the physics engine, with what is true about them and what a team states."""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.filming import Scene, run_sheet
from matchvision.filming.equipment import Camera
from matchvision.filming.scene import (
    Clock,
    Disc,
    Drive,
    Forecast,
    Link,
    Machine,
    Practice,
    RimMark,
    Rope,
    Stated,
    Table,
    Tag,
    Wheel,
)
from matchvision.grip import find_events
from matchvision.motion import measure_motion
from matchvision.practice import measure_practice
from matchvision.practice.facts import U_PLAN_RATIO, U_STOP_RATIO
from matchvision.pull import measure_pull
from matchvision.records.camera import Cameras
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeResult
from matchvision.records.sheet import Run, RunSheet
from tests.engine.extras import Extras
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import film_points
from tests.following import follow_scene

#: No clip runs on for longer after the clock has stopped.
LAST_S = 0.2
KINDS = ("sled", "lift", "stall", "slope", "coast", "free")
#: The least that each kind can do with in a clip [s]: pictures cost time.
SMALL_LASTS_S = {"sled": 1.8, "lift": 1.6, "stall": 3.2, "slope": 1.7, "coast": 1.2, "free": 2.0}
#: Those in which a drive pulls by the operator's hand.
DRIVEN = ("sled", "lift", "stall", "free")


@dataclass(frozen=True, eq=False)
class PracticeCase:
    """A practice run: the scene that is true, the one that the team would describe, the engine's extras."""

    scene: Scene
    told: Scene
    extras: Extras
    truth: Callable[[EngineRun], Mapping[str, float]]


def practice_case(kind: str, seed: int) -> PracticeCase:
    """A run of this kind; the seed draws what is true, the camera's place and how far off the team's numbers are."""
    draw = np.random.default_rng([seed, KINDS.index(kind)])
    case = MAKERS[kind](draw, seed)
    if kind not in DRIVEN:
        return case
    return _driven_by_hand(case, np.random.default_rng([seed, KINDS.index(kind), 7]), mild=kind in ("sled", "lift"))


def filmed_case(kind: str, seed: int) -> PracticeCase:
    """A run of this kind as short a clip as it can do with, as phones film at the least: 1280 × 720 at 30 a second."""
    case = practice_case(kind, seed)
    return _shortened(case, kind, replace(case.scene.camera, frames_per_s=30.0))


def small_case(kind: str, seed: int) -> PracticeCase:
    """The same in pictures of half the size, without blur by motion: quicker to draw, but far tags are hard to read."""
    case = practice_case(kind, seed)
    full = case.scene.camera
    camera = replace(
        full,
        size_px=(640, 360),
        f_px=(full.f_px[0] / 2, full.f_px[1] / 2),
        centre_px=(321.6, 178.4),
        frames_per_s=30.0,
        subframes=1,
    )
    return _shortened(case, kind, camera)


def _shortened(case: PracticeCase, kind: str, camera: Camera) -> PracticeCase:
    clock = replace(case.scene.clock, start_s=0.3, duration_s=SMALL_LASTS_S[kind], after_s=0.1)
    scene, told = (replace(one, camera=camera, clock=clock) for one in (case.scene, case.told))
    return replace(case, scene=scene, told=told)


def _driven_by_hand(case: PracticeCase, draw: np.random.Generator, *, mild: bool) -> PracticeCase:
    """The operator keeps to the plan as well as it is trusted: to 5 % of full drive, with the lever at its stop to 1 %.

    A ``mild`` run stays below full drive in every second case.
    """
    most = float(draw.uniform(0.7, 0.85)) if mild and draw.random() < 0.5 else 1.0
    off, short = U_PLAN_RATIO * float(draw.normal()), U_STOP_RATIO * abs(float(draw.normal()))

    def given(share: float) -> float:
        if share in (0.0, 1.0):
            return share * (1 - short)
        return float(np.clip(share + off, 0.0, 1.0))

    heron, told = case.scene.machine["heron"], case.told.machine["heron"]
    assert heron.drive is not None
    assert told.forecast is not None
    plan = tuple((t, most * share) for t, share in heron.drive.throttle)
    drive = replace(heron.drive, throttle=tuple((t, given(share)) for t, share in plan))
    stated = replace(told.forecast, throttle=plan)
    scene = replace(case.scene, machine={**case.scene.machine, "heron": replace(heron, drive=drive)})
    return replace(
        case,
        scene=scene,
        told=replace(case.told, machine={**case.told.machine, "heron": replace(told, forecast=stated)}),
    )


def _scene(kind: str, seed: int, draw: np.random.Generator, duration_s: float, **more: object) -> Scene:
    camera = Camera(
        position_m=(float(draw.uniform(-0.2, 0.2)), float(draw.uniform(-1.74, -1.62)), float(draw.uniform(1.38, 1.5))),
        look_at_m=(0.02, -0.03, -0.02),
        f_px=(992.0, 993.5),
        centre_px=(643.8, 356.4),
        distortion=(-0.045, 0.012, 0.0004, -0.0003, 0.0),
        roll_deg=float(draw.uniform(-1.2, 1.2)),
    )
    corners = ((-1.0, 0.45), (1.0, 0.45), (1.0, -0.45), (-1.0, -0.45))
    table = Table(
        length_m=2.2, width_m=1.1, tag=tuple(Tag(id=i, side_m=0.11, centre_m=c) for i, c in enumerate(corners))
    )
    clock = Clock(start_s=0.5, duration_s=duration_s, after_s=0.2)
    return Scene(name=f"{kind} {seed}", kind=kind, seed=seed, clock=clock, table=table, camera=camera, **more)  # type: ignore[arg-type]


def _drive(draw: np.random.Generator, throttle: tuple[tuple[float, float], ...], friction_Nm: float = 0.09) -> Drive:
    return Drive(
        stall_torque_Nm=float(draw.uniform(0.0030, 0.0038)),
        no_load_rev_min=float(draw.uniform(11000, 13000)),
        gear_ratio=float(draw.integers(230, 280)),
        throttle=throttle,
        drive_efficiency=float(draw.uniform(0.62, 0.80)),
        drive_friction_Nm=friction_Nm,
        wheel_inertia_kg_m2=0.002,
    )


def _heron(
    draw: np.random.Generator, drive: Drive, *, home: str = "-x", hitch_x_m: float = -0.3, grip: float = 0.95
) -> Machine:
    angle = float(draw.integers(0, 360))
    side = 0.117 if home == "-x" else -0.117
    wheel = Wheel(
        name="front, camera side",
        face_m=(0.085, side, 0.045),
        rim=(
            RimMark(name="wheel_1", colour="orange", radius_m=0.0085, circle_m=0.029, angle_deg=angle),
            RimMark(name="wheel_2", colour="blue", radius_m=0.0085, circle_m=0.029, angle_deg=(angle + 90) % 360),
        ),
    )
    stated = Forecast(
        motors=drive.motors,
        stall_torque_Nm=_about(drive.stall_torque_Nm, 0.02, draw),
        no_load_rev_min=_about(drive.no_load_rev_min, 0.02, draw),
        gear_ratio=drive.gear_ratio,
        drive_efficiency=_about(drive.drive_efficiency, 0.02, draw),
        drive_friction_Nm=Stated(value=drive.drive_friction_Nm + 0.01 * float(draw.normal()), u=0.01),
        throttle=drive.throttle,
        throttle_acts_on=drive.throttle_acts_on,
    )
    return Machine(
        home=home,  # type: ignore[arg-type]
        mass_kg=float(draw.uniform(2.3, 2.9)),
        grip_ratio=grip,
        hitch_m=(-0.145, 0.0, 0.052),
        hitch_x_m=hitch_x_m,
        y_m=float(draw.uniform(-0.02, 0.02)),
        heading_offset_deg=float(draw.uniform(-1.0, 1.0)),
        size_m=(0.28, 0.234, 0.12),
        centre_of_mass_m=(0.0, 0.0, 0.06),
        marker=(
            Disc(name="front", colour="green", radius_m=0.014, at_m=(0.09, 0.0, 0.12)),
            Disc(name="rear", colour="magenta", radius_m=0.014, at_m=(-0.09, 0.0, 0.12)),
        ),
        drive=drive,
        wheel=(wheel,),
        forecast=stated,
    )


def _about(value: float, u_ratio: float, draw: np.random.Generator) -> Stated:
    return Stated(value=value * (1 + u_ratio * float(draw.normal())), u=u_ratio * value)


def _sled(mass_kg: float, grip: float, hitch_x_m: float, *, load: bool) -> Machine:
    return Machine(
        home="+x", mass_kg=mass_kg, grip_ratio=grip, hitch_m=(-0.132, 0.0, 0.035), hitch_x_m=hitch_x_m,
        size_m=(0.26, 0.20, 0.07),
        marker=(
            Disc(name="front", colour="cyan", radius_m=0.014, at_m=(0.09, 0.0, 0.07)),
            Disc(name="rear", colour="red", radius_m=0.014, at_m=(-0.09, 0.0, 0.07)),
        ),
        load_grip=Stated(value=round(grip + 0.04, 2), u=0.05) if load else None,
    )  # fmt: skip


def _rope(ends: tuple[str, str], draw: np.random.Generator, length_m: float = 0.70, **more: object) -> Rope:
    link = Link(
        from_m=0.22, rest_m=0.06, stiffness_N_per_m=float(draw.uniform(430, 560)), colour="yellow", u_reading_m=0.0003
    )
    return Rope(
        length_m=length_m, ends=ends, first_bead_m=0.07, bead_spacing_m=0.06, bead_colours=("red", "cyan"),
        **({"link": link} | more),  # type: ignore[arg-type]
    )  # fmt: skip


def _told(scene: Scene, draw: np.random.Generator) -> Scene:
    """As the team weighs its machines."""
    weighed = {
        name: replace(machine, mass_kg=machine.mass_kg + machine.u_mass_kg * float(draw.normal()))
        for name, machine in scene.machine.items()
    }
    return replace(scene, machine=weighed)


RAMP = ((0.0, 0.0), (0.3, 1.0), (9.0, 1.0))


def _sled_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    drive = _drive(draw, RAMP)
    grip = float(draw.uniform(0.2, 0.32))
    machines = {"heron": _heron(draw, drive), "sled": _sled(float(draw.uniform(3.0, 3.8)), grip, 0.39, load=True)}
    scene = _scene("sled", seed, draw, 3.0, machine=machines, rope=_rope(("heron", "sled"), draw))
    truth = {"grip_sliding": grip, "drive_efficiency": drive.drive_efficiency}
    return PracticeCase(scene, _told(scene, draw), Extras(), lambda _: truth)


def _lift_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    drive = _drive(draw, RAMP)
    heron = _heron(draw, drive, hitch_x_m=0.2)
    weight = Machine(
        home="+x", mass_kg=float(draw.uniform(0.9, 1.4)), grip_ratio=0.0, hitch_m=(0.0, 0.0, 0.0), hitch_x_m=1.15,
        y_m=heron.y_m, size_m=(0.06, 0.06, 0.10), marker=(), hangs=True, u_mass_kg=0.003,
    )  # fmt: skip
    rope = _rope(("heron", "weight"), draw, 1.3, link=None, pulley_m=(1.13, 0.052))
    scene = _scene("lift", seed, draw, 2.5, machine={"heron": heron, "weight": weight}, rope=rope)
    truth = {"drive_efficiency": drive.drive_efficiency}
    return PracticeCase(scene, _told(scene, draw), Extras(), lambda _: truth)


def _stall_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    drive = _drive(draw, ((0.0, 0.0), (2.0, 1.0), (9.0, 1.0)))
    machines = {"heron": _heron(draw, drive, grip=1.4), "post": _sled(12.0, 3.0, 0.385, load=False)}
    scene = _scene("stall", seed, draw, 3.5, machine=machines, rope=_rope(("heron", "post"), draw))
    scene = replace(scene, practice=None)

    def truth(run: EngineRun) -> Mapping[str, float]:
        end_s = float(run.course.clip_s[-1]) - 0.1 - LAST_S
        late = (run.course.clip_s > end_s - 0.5) & (run.course.clip_s < end_s)
        return {"drive_efficiency": drive.drive_efficiency, "peak_pull_N": float(run.course.tension_N[late].mean())}

    return PracticeCase(scene, _told(scene, draw), Extras(), truth)


def _slope_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    grip, kept = float(draw.uniform(0.45, 0.8)), float(draw.uniform(0.8, 0.95))
    heron = _heron(draw, _drive(draw, ((0.0, 0.0), (9.0, 0.0))), hitch_x_m=0.45, grip=grip)
    slides_deg = math.degrees(math.atan(grip))
    raised_s = 1.0
    tilt = ((0.0, slides_deg - 3.0), (raised_s, slides_deg), (raised_s + 0.1, slides_deg + 0.3))
    read = Stated(value=slides_deg + 0.3 * float(draw.normal()), u=0.4)
    scene = _scene("slope", seed, draw, 2.6, machine={"heron": heron}, practice=Practice(tilt_deg=read, high_end="+x"))
    extras = Extras(tilt_deg=tilt, sliding_ratio={"heron": kept}, brake_Nm={"heron": ((0.0, 5.0), (9.0, 5.0))})
    truth = {"grip_static": grip, "grip_sliding": grip * kept}
    return PracticeCase(scene, _told(scene, draw), extras, lambda _: truth)


def _coast_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    resistance = float(draw.uniform(0.02, 0.05))
    heron = _heron(draw, _drive(draw, ((0.0, 0.0), (9.0, 0.0)), friction_Nm=0.0), hitch_x_m=0.4)
    heron = replace(heron, forecast=Forecast(wheel_inertia_kg_m2=_about(0.0005, 0.1, draw)))
    scene = _scene("coast", seed, draw, 1.8, machine={"heron": heron})
    push = float(draw.uniform(0.55, 0.7))
    extras = Extras(rolling_resistance={"heron": resistance}, push_m_s={"heron": push})
    return PracticeCase(scene, _told(scene, draw), extras, lambda _: {"rolling_resistance": resistance})


def _free_run(draw: np.random.Generator, seed: int) -> PracticeCase:
    drive = _drive(draw, RAMP)
    scene = _scene("free", seed, draw, 3.2, machine={"heron": _heron(draw, drive, hitch_x_m=0.7)})

    def truth(run: EngineRun) -> Mapping[str, float]:
        end_s = float(run.course.clip_s[-1]) - 0.1 - LAST_S
        state, late = run.course.machines["heron"], (run.course.clip_s > end_s - 1.0) & (run.course.clip_s < end_s)
        radius_m = float(state.speed_m_s[late].mean() / state.wheel_rate_rad_s[late].mean())
        return {"radius_m": radius_m, "no_load_rev_min": drive.no_load_rev_min}

    return PracticeCase(scene, _told(scene, draw), Extras(), truth)


MAKERS: Mapping[str, Callable[[np.random.Generator, int], PracticeCase]] = {
    "sled": _sled_run,
    "lift": _lift_run,
    "stall": _stall_run,
    "slope": _slope_run,
    "coast": _coast_run,
    "free": _free_run,
}


def measure_points(case: PracticeCase, run: EngineRun, seed: int) -> PracticeResult:
    """The run as points in noisy pictures, by a camera that is off as its covariance says, through all stages."""
    generator = np.random.default_rng([seed, 11])
    points = film_points(case.scene, generator, course=run.course)
    sheet = RunSheet.model_validate(tomllib.loads(run_sheet(case.told)))
    told = Run(sheet=sheet, folder=Path(), hang_test=points.run.hang_test)
    cameras = _off(points.cameras, generator)
    motion, _ = measure_motion(told, points.tracks, cameras)
    return _measured(case, told, motion, cameras)


def measure_filmed(case: PracticeCase, run: EngineRun, kept: Path) -> PracticeResult:
    """The run through rendered pictures, by what its team states; what they gave is kept."""
    followed = follow_scene(case.scene, run.course, kept)
    told = replace(followed.run, sheet=RunSheet.model_validate(tomllib.loads(run_sheet(case.told))))
    motion, _ = measure_motion(told, followed.tracks, followed.cameras, 1.0, followed.rows)
    return _measured(case, told, motion, followed.cameras)


def _measured(case: PracticeCase, told: Run, motion: Motion, cameras: Cameras) -> PracticeResult:
    clock = MatchClock(case.scene.clock.start_s, case.scene.clock.duration_s)
    try:
        pull, _ = measure_pull(told, motion, clock)
    except CannotMeasure:
        pull = None
    try:
        grip, _ = find_events(told, motion, pull, clock)
    except CannotMeasure:
        grip = None
    return measure_practice(told, motion, cameras, clock, pull, grip)[0]


def _off(cameras: Cameras, generator: np.random.Generator) -> Cameras:
    size, axes = np.linalg.eigh(cameras.covariance[0])
    error = axes @ (np.sqrt(np.maximum(size, 0)) * generator.standard_normal(15))
    return replace(cameras, parameters=cameras.parameters + error)


def play_case(case: PracticeCase) -> EngineRun:
    """The engine's run of a case."""
    return play_in_engine(case.scene, case.extras)
