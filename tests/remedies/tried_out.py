"""Runs of a physics engine that somebody lost, what would have won them, and the same runs with that change made."""

from dataclasses import dataclass, replace
from math import nan

import numpy as np

from matchvision.filming import Scene
from matchvision.mechanics.fitted import FittedMatch
from matchvision.pipeline import start_poses
from matchvision.records.remedies import Remedies, Remedy
from matchvision.records.results import CauseRow, Grounds, Ruling
from matchvision.records.sheet import Run
from matchvision.remedies import seek_remedies
from matchvision.remedies.seeking import LOOK
from matchvision.verdict.causes.refitted import SAMPLES, fit_match
from matchvision.verdict.judging import rule
from tests.engine.playing import play_in_engine
from tests.verdict.causes.changed_runs import Changed, changed_run, measured_points


@dataclass(frozen=True)
class Sought:
    """A run, its fit and the answer."""

    changed: Changed
    run: Run
    ruling: Ruling
    fitted: FittedMatch
    remedies: Remedies
    sentence: str


def seek(cause: str, seed: int, samples: int = SAMPLES) -> Sought:
    changed = changed_run(cause, seed)
    run, motion, pull, clock = measured_points(changed, seed)
    ruling = rule(run, motion, clock)
    rows = (CauseRow(cause, changed.machine, 0.95, nan, nan, "", nan, ""),)
    grounds = Grounds(motion, pull, None, clock, None, ruling)
    fitted = fit_match(run, grounds, start_poses(run, motion, clock), rows, samples)
    remedies, note = seek_remedies(run, ruling, None, fitted)
    return Sought(changed, run, ruling, fitted, remedies, note.sentence)


def engine_winner(scene: Scene, changed: Changed) -> str:
    """Who has more of the rope when the clock stops, in the engine."""
    one, other = scene.machine
    return one if engine_lead_m(scene, changed, one) > 0 else other


def engine_lead_m(scene: Scene, changed: Changed, name: str) -> float:
    """A machine's rope beyond half of it when the clock stops, in the engine: the mean of both hitches, to its home.

    Once all of the rope is on one side there is no more to win or lose.
    """
    course = play_in_engine(scene, changed.extras).course
    at = int(np.argmin(np.abs(course.clip_s - (scene.clock.start_s + scene.clock.duration_s))))
    hitches = [
        course.machines[each].x_m[at] + np.cos(course.machines[each].heading_rad[at]) * machine.hitch_m[0]
        for each, machine in scene.machine.items()
    ]
    half_m = scene.rope.length_m / 2
    return float(np.clip(np.mean(hitches), -half_m, half_m)) * (1.0 if scene.machine[name].home == "+x" else -1.0)


def with_change(sought: Sought, lever: str, setting: float) -> Scene:
    scene = sought.changed.scene
    machine = scene.machine[sought.remedies.machine]
    assert machine.drive is not None
    if lever == "gear":
        machine = replace(machine, drive=replace(machine.drive, gear_ratio=machine.drive.gear_ratio * setting))
    else:
        machine = replace(machine, grip_ratio=machine.grip_ratio * setting)
    return replace(scene, machine={**scene.machine, sought.remedies.machine: machine})


def hopeless_setting(sought: Sought, remedy: Remedy) -> float:
    """The setting nearest to a remedy's, on its way there, that was tried and never won in the fitted matches."""
    never = 1.0 / (2.0 * LOOK)
    tried = [p.setting for p in sought.remedies.points if p.lever == remedy.lever and p.win_chance <= never + 1e-9]
    between = [s for s in tried if min(1.0, remedy.setting) <= s <= max(1.0, remedy.setting)]
    return min(between, key=lambda setting: abs(setting - remedy.setting), default=1.0)
