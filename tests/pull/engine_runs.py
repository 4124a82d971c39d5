"""Invented runs whose forces come from a physics engine, with sheets that are as wrong as they say they may be.

A machine drags a load, or two machines pull against each other, over a rope with a sprung link. Masses, friction, grip
and the drive's numbers stand in the sheet off by a draw from their own stated uncertainty, the hang test has its own
readings, the camera that measures is off by a draw from its covariance: so over many runs every part of the pull's
budgets is put to the test.
"""

import dataclasses
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.filming import Scene, demo_scene
from matchvision.filming.parts import Anchor
from matchvision.filming.scene import Clock, Disc, Machine, Patch
from matchvision.motion import measure_motion
from matchvision.pull import measure_pull
from matchvision.pull.drive import U_LOG_RATIO
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.sheet import Drive, Load, Quantity, Run
from tests.engine.extras import Extras
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import film_points

FloatArray = npt.NDArray[np.float64]
Kind = Literal["sled", "patch", "slope", "match", "anchor"]

#: Standard uncertainties with which the invented teams measured: relative ones of the drive, else in the number's unit.
U_STALL_RATIO, U_NO_LOAD_RATIO, U_EFFICIENCY, U_FRICTION_NM = 0.02, 0.02, 0.015, 0.01
U_MASS_KG, U_LOAD_GRIP, U_GRIP = 0.01, 0.01, 0.02
START_S, DURATION_S = 0.5, 2.6
PATCH_TO_M = 0.52


@dataclass(frozen=True, eq=False)
class PlayedRun:
    """A scene as the engine played it and the run that a team would write about it."""

    scene: Scene
    played: EngineRun
    generator: np.random.Generator
    extras: Extras


@dataclass(frozen=True, eq=False)
class Measured:
    """What came out, and the truth of the same frames: mean tension [N], in the match and with a taut rope."""

    run: Run
    pull: Pull
    motion: Motion
    true_N: FloatArray
    usable: npt.NDArray[np.bool_]
    slips: npt.NDArray[np.bool_]
    match_s: FloatArray

    @property
    def disagreement(self) -> tuple[str, ...]:
        """What is said of sources that contradict each other."""
        return self.pull.disagreement

    def errors(self, name: str) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
        """Error, stated u and where they count, (n,) each, of one source."""
        source = self.pull.source(name)
        nothing = np.full(len(self.true_N), np.nan)
        tension_N, u_N = (nothing, nothing) if source is None else (source.tension_N, source.u_tension_N)
        return tension_N - self.true_N, u_N, self.usable & np.isfinite(tension_N) & np.isfinite(u_N)


def invent_scene(kind: Kind, seed: int) -> Scene:
    """A run that differs with every seed: masses, grip, throttle, link and camera are drawn."""
    draw = np.random.default_rng([seed, 41])
    scene = demo_scene(seed)
    scene = dataclasses.replace(
        scene, name=f"{kind}-{seed}", clock=Clock(start_s=START_S, duration_s=DURATION_S, after_s=0.2), thing=()
    )
    heron = scene.machine["heron"]
    assert heron.drive is not None
    if kind == "match":
        machines = {}
        for name, machine in scene.machine.items():
            assert machine.drive is not None
            first, then = draw.uniform(0.3, 0.8, 2)
            throttle = ((0.0, 0.0), (0.4, float(first)), (1.4, float(then)), (1.9, 1.0))
            machines[name] = dataclasses.replace(machine, drive=dataclasses.replace(machine.drive, throttle=throttle))
        return dataclasses.replace(scene, machine=machines)
    if kind == "anchor":
        given = ((0.0, 0.0), (0.2, float(draw.uniform(0.4, 0.6))), (float(draw.uniform(0.6, 1.2)), 1.0))
        pulling = dataclasses.replace(heron, drive=dataclasses.replace(heron.drive, throttle=given))
        base = dataclasses.replace(
            scene.machine["plover"], drive=None, wheel=(), forecast=None, anchor=Anchor(holding_N=200.0),
            grip_ratio=float(draw.uniform(0.3, 0.4)), heading_offset_deg=0.0, wander_deg=0.0,
        )  # fmt: skip
        return dataclasses.replace(scene, machine={"heron": pulling, "plover": base})
    load_grip = float(draw.uniform(0.22, 0.34))
    load_kg = float(draw.uniform(3.2, 4.2))
    # Some machines grip hardly better than the load needs: their wheels slide once the drive gives more.
    needed = load_grip * load_kg / heron.mass_kg
    grip = needed * float(draw.uniform(0.95, 1.25)) if draw.random() < 0.5 else float(draw.uniform(0.72, 0.85))
    first, then = draw.uniform(0.45, 0.7), draw.uniform(0.6, 1.0)
    throttle = ((0.0, 0.0), (0.5, float(first)), (1.2, float(first)), (1.6, float(then)))
    if kind == "patch":
        grip, throttle = 0.85, ((0.0, 0.0), (0.5, 0.62), (1.0, 0.62), (1.4, 1.0))
    heron = dataclasses.replace(
        heron, grip_ratio=grip, hitch_x_m=-0.34, drive=dataclasses.replace(heron.drive, throttle=throttle)
    )
    sled = Machine(
        home="+x",
        mass_kg=round(load_kg, 2),
        grip_ratio=load_grip,
        hitch_m=(-0.132, 0.0, 0.035),
        hitch_x_m=0.6,
        size_m=(0.26, 0.2, 0.07),
        centre_of_mass_m=(0.0, 0.0, 0.035),
        y_m=float(draw.uniform(-0.02, 0.02)),
        marker=(
            Disc(name="front", colour="blue", radius_m=0.014, at_m=(0.09, 0.0, 0.07)),
            Disc(name="rear", colour="orange", radius_m=0.014, at_m=(-0.09, 0.0, 0.07)),
        ),
    )
    table = scene.table
    if kind == "patch":
        # The sled's first feet come onto it about half-way: everything before is bare.
        table = dataclasses.replace(table, patch=(Patch(from_m=0.0, to_m=PATCH_TO_M, grip_ratio=0.6),))
    if kind == "slope":
        tilt = float(draw.uniform(-0.07, 0.07))
        table = dataclasses.replace(table, profile_m=((-1.1, -1.1 * tilt), (1.1, 1.1 * tilt)))
    return dataclasses.replace(
        scene,
        kind="sled",
        table=table,
        machine={"heron": heron, "sled": sled},
        rope=dataclasses.replace(scene.rope, ends=("heron", "sled")),
    )


def play_run(kind: Kind, seed: int) -> PlayedRun:
    """Play an invented scene in the engine."""
    scene = invent_scene(kind, seed)
    return play_scene(scene, invent_extras(kind, seed), seed)


def invent_extras(kind: Kind, seed: int) -> Extras:
    """What the engine is told beside the scene: wheels held on a slope, a base pressed down that leaks."""
    if kind == "anchor":
        draw = np.random.default_rng([seed, 43])
        press_N, at_s, to_s = float(draw.uniform(25, 50)), float(draw.uniform(0.3, 0.9)), float(draw.uniform(1.6, 2.4))
        return Extras(press_N={"plover": ((0.0, press_N), (at_s, press_N), (to_s, 0.0))})
    return Extras(held=kind == "slope")


def play_scene(scene: Scene, extras: Extras, seed: int) -> PlayedRun:
    """Play one scene in the engine."""
    return PlayedRun(scene, play_in_engine(scene, extras), np.random.default_rng([seed, 42]), extras)


def state_facts(run: Run, scene: Scene, generator: np.random.Generator) -> Run:
    """The sheet with what the team measured before: each number off by a draw from the uncertainty that it states."""

    def near(value: float, u: float) -> Quantity:
        return Quantity(value=float(value + u * generator.standard_normal()), u=u)

    machines, commands = dict(run.sheet.machine), {}
    for name, true in scene.machine.items():
        mass = near(true.mass_kg, U_MASS_KG)
        update: dict[str, object] = {"mass_kg": mass.value, "u_mass_kg": mass.u}
        if true.drive is None and true.anchor is None:
            update["load"] = Load(grip_sliding=near(true.grip_ratio, U_LOAD_GRIP))
        if true.drive is not None:
            drive = true.drive
            update["drive"] = Drive(
                motors=drive.motors,
                stall_torque_Nm=near(drive.stall_torque_Nm, U_STALL_RATIO * drive.stall_torque_Nm),
                no_load_rev_min=near(drive.no_load_rev_min, U_NO_LOAD_RATIO * drive.no_load_rev_min),
                gear_ratio=Quantity(value=drive.gear_ratio),
                drive_efficiency=near(drive.drive_efficiency, U_EFFICIENCY),
                drive_friction_Nm=near(drive.drive_friction_Nm, U_FRICTION_NM),
                # The scene's inertia is that of all wheels, the sheet's of one.
                wheel_inertia_kg_m2=near(drive.wheel_inertia_kg_m2 / 4, 0.1 * drive.wheel_inertia_kg_m2 / 4),
                grip_sliding=near(true.grip_ratio, U_GRIP),
            )
            # What a log leaves open, its resolution and delay, is off for the whole run.
            off = U_LOG_RATIO * generator.standard_normal()
            commands[name] = np.array(drive.throttle) + np.array([drive.start_delay_s, off])
        machines[name] = run.sheet.machine[name].model_copy(update=update)
    sheet = run.sheet.model_copy(update={"machine": machines, "forecast": {}})
    return dataclasses.replace(run, sheet=sheet, commands=commands)


def measure_points(run: PlayedRun, noise_px: float = 0.17) -> Measured:
    """The run as noisy points through a camera that is off by a draw from its own covariance."""
    points = film_points(run.scene, run.generator, noise_px, run.played.course)
    covariance = points.cameras.covariance[0]
    values, vectors = np.linalg.eigh(covariance)
    off = vectors @ (np.sqrt(np.maximum(values, 0.0)) * run.generator.standard_normal(len(values)))
    cameras = dataclasses.replace(points.cameras, parameters=points.cameras.parameters + off)
    sheet = state_facts(points.run, run.scene, run.generator)
    motion, _ = measure_motion(sheet, points.tracks, cameras)
    clock = MatchClock(START_S, DURATION_S)
    pull, _ = measure_pull(sheet, motion, clock)
    return join_truth(run, sheet, pull, motion, points.truth)


def join_truth(run: PlayedRun, sheet: Run, pull: Pull, motion: Motion, truth: pd.DataFrame) -> Measured:
    """Results beside the truth of the same frames."""
    clock = MatchClock(START_S, DURATION_S)
    true_N = np.interp(motion.clip_s, truth["pts_s"].to_numpy(float), truth["tension_mean_N"].to_numpy(float))
    match_s = clock.match_time(motion.clip_s)
    usable = (match_s > 0.0) & (match_s < DURATION_S) & (true_N > 0.5)
    slips = np.zeros(len(true_N), dtype=np.bool_)
    for name in run.scene.machine:
        if f"{name}_slip" in truth:
            slips |= np.abs(np.interp(motion.clip_s, truth["pts_s"], truth[f"{name}_slip"])) > 0.03
    return Measured(sheet, pull, motion, true_N, usable, slips, match_s)


def sled_touches_patch_s(run: PlayedRun) -> float | None:
    """Match time at which the sled's first feet come onto the rough stretch; None where none do."""
    if not run.scene.table.patch:
        return None
    course, sled = run.played.course, run.scene.machine["sled"]
    # The feet stand at its corners; it is dragged towards -x, so those on that side come first.
    front_m = course.machines["sled"].x_m - sled.size_m[0] / 2
    on = np.flatnonzero(front_m < run.scene.table.patch[0].to_m)
    return float(course.clip_s[on[0]]) - START_S if on.size else None
