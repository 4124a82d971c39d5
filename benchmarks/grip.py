"""What lost grip is put down to, and slip's onset before a hand-held camera, on runs of the physics engine.

Onsets are paired and judged as all events are (`tests.grip.happened.score`): what lies on the edge of its definition,
or changes its kind amid a slide, is no onset that must be found, and one that may be taken to have begun earlier has a
span. ``missed``: needed ones that were not found within 0.1 s; ``false``: found ones that are none.

Ground and tread change as told; the runs are seen as noisy points, and a few hand-held ones through rendered pixels.
Right: what happened is held for 0.9 or more probable (of an unseen side, that it is that side); wrong: something else
is; else unsure.
"""

import dataclasses
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from matchvision.filming import Scene, film
from matchvision.filming.equipment import Sway
from matchvision.filming.parts import Anchor
from matchvision.grip.mapping import map_grip
from matchvision.grip.slip import slip_events
from matchvision.grip.wheels import WatchedWheel, watch_wheels
from matchvision.motion import measure_motion
from matchvision.pipeline import analyze
from matchvision.pull import measure_pull
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from tests.engine.extras import Extras, Ground
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import FilmedPoints, film_points
from tests.grip.happened import SLIDES, Score, score, seen_slips, true_events
from tests.grip.stories import anchored_base, driven, short_match

TALE_SEEDS = range(1, 7)
ONSET_SEEDS = range(1, 9)
PIXEL_SEEDS = (21, 22)
#: How unsure each picture's pose is, held by hand: rotation [rad] and translation [m].
POSE_U = np.array([4e-4, 4e-4, 3e-4, 4e-4, 4e-4, 6e-4])
SURE = 0.9


@dataclass(frozen=True)
class Onsets:
    """Slides of one run against the truth, and the greatest rms error of a wheel's slip speed."""

    score: Score
    slip_rms_m_s: float


def measure() -> pd.DataFrame:
    """One row for each way in which grip is lost, and one for each source of onsets."""
    rows = [tale_row(kind) for kind in CASES]
    rows.append(
        onset_row("hand-held points, quick", [onsets_in_points(seed, short_match(seed, 3.0)) for seed in ONSET_SEEDS])
    )
    rows.append(
        onset_row("hand-held points, slow", [onsets_in_points(seed, slowly(seed), PRESSED) for seed in ONSET_SEEDS])
    )
    rows.append(onset_row("hand-held pixels, slow", [onsets_in_pixels(seed) for seed in PIXEL_SEEDS]))
    return pd.DataFrame(rows)


def stronger(scene: Scene) -> str:
    """The heavier machine, which comes forward: only it comes upon other ground."""
    return max(scene.machine, key=lambda name: scene.machine[name].mass_kg)


def forward(scene: Scene) -> tuple[float, int]:
    """Where the stronger machine's middle stands at first, and which way along x it goes."""
    machine = scene.machine[stronger(scene)]
    way = -1 if machine.home == "-x" else 1
    return machine.hitch_x_m + way * 0.145, way


def stretch(scene: Scene, near_m: float, far_m: float) -> tuple[float, float]:
    """A stretch of table so far ahead of the stronger machine's middle."""
    at, way = forward(scene)
    low, high = sorted((at + way * near_m, at + way * far_m))
    return low, high


def unseen_side(scene: Scene) -> Extras:
    """From 1.8 s on the side of the stronger machine that the camera does not see grips less."""
    machine = scene.machine[stronger(scene)]
    _, way = forward(scene)
    # The marked wheel's face says which side the camera sees.
    seen_left = machine.wheel[0].face_m[1] > 0
    low_y = (way > 0) != seen_left
    bounds = {"from_y_m": machine.y_m} if low_y else {"to_y_m": machine.y_m}
    return Extras(ground=(Ground(0.3, from_s=1.8, **bounds),))


def stripe(scene: Scene) -> Extras:
    """A slippery stripe that its front wheels come upon."""
    low, high = stretch(scene, 0.09, 0.14)
    return Extras(ground=(Ground(0.3, low, high),))


def passed_stripe(scene: Scene) -> Extras:
    """A slippery stripe behind the weaker machine, over which it is dragged while it slides."""
    name = next(n for n in scene.machine if n != stronger(scene))
    machine = scene.machine[name]
    way = -1 if machine.home == "-x" else 1
    rear = machine.hitch_x_m + way * (0.145 - machine.wheelbase_m / 2)
    low, high = sorted((rear - way * 0.02, rear - way * 0.06))
    return Extras(ground=(Ground(0.45, low, high),))


def matter(scene: Scene) -> Extras:
    """Something slippery that lies behind and under it from 2 s on."""
    low, high = stretch(scene, -0.3, 0.09)
    return Extras(ground=(Ground(0.35, low, high, from_s=2.0),))


def worn(scene: Scene) -> Extras:
    """A tread that is cut through at 2 s."""
    return Extras(grip_factor={stronger(scene): ((0.0, 1.0), (2.0, 1.0), (2.02, 0.5), (9.0, 0.5))})


CASES: dict[str, tuple[Callable[[Scene], Extras], tuple[str, ...], bool]] = {
    "stripe passed over": (passed_stripe, ("place",), False),
    "stripe's edge met": (stripe, ("place",), True),
    "matter dropped": (matter, ("matter",), True),
    "tread cut through": (worn, ("time",), True),
    "unseen side": (unseen_side, ("place", "time", "matter"), True),
    "asked too much": (lambda _: Extras(), ("even",), False),
}
PRESSED = Extras(press_N={"plover": ((0.0, 80.0), (9.0, 80.0))})


def watched_of(run: Run, motion: Motion, clock: MatchClock) -> list[WatchedWheel]:
    """The watched wheels of a run."""
    match_s = clock.match_time(motion.clip_s)
    return watch_wheels(run, motion, (match_s > -0.5) & (match_s < clock.duration_s + 0.5))


def tale_row(case: str) -> dict[str, object]:
    """How often the right tale was named, and with which probability it was held."""
    change, kinds, of_strong = CASES[case]
    sides: tuple[str, ...] = ("left", "right", "both")
    right, unsure, wrong, held, silent = 0, 0, 0, [], 0
    for seed in TALE_SEEDS:
        scene = short_match(seed, 4.0)
        if case == "unseen side":
            sides = ("right" if scene.machine[stronger(scene)].wheel[0].face_m[1] > 0 else "left",)
        filmed = film_points(scene, np.random.default_rng(seed), course=play_in_engine(scene, change(scene)).course)
        clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
        motion, _ = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
        pull, _ = measure_pull(filmed.run, motion, clock)
        for one in map_grip(filmed.run, motion, pull, clock, watched_of(filmed.run, motion, clock)):
            if (one.machine == stronger(scene)) != of_strong:
                continue
            if not one.tales:
                silent += 1
                continue
            told = sum(t.probability for t in one.tales if t.kind in kinds and t.side in sides)
            held.append(told)
            not_so = sum(t.probability for t in one.tales if t.kind != "other") - told
            right, wrong = right + (told >= SURE), wrong + (not_so >= SURE)
            unsure += told < SURE and not_so < SURE
    return {
        "what": case, "runs": len(held) + silent, "right": right, "unsure": unsure, "wrong": wrong,
        "hardly_slid": silent,
        "mean_probability_of_truth": float(np.mean(held)) if held else np.nan,
    }  # fmt: skip


def slowly(seed: int) -> Scene:
    """Heron against a firm opponent, its drive raised slowly through what its grip bears."""
    scene, draw = short_match(seed, 3.6), np.random.default_rng([seed, 11])
    heron = scene.machine["heron"]
    drive = heron.drive
    if drive is None:
        msg = "the demo's heron drives"
        raise ValueError(msg)
    full_Nm = drive.motors * drive.stall_torque_Nm * drive.gear_ratio * drive.drive_efficiency
    lets_go = (heron.grip_ratio * heron.mass_kg * 9.81 * drive.wheel_radius_m + drive.drive_friction_Nm) / full_Nm
    per_s = float(draw.uniform(0.1, 0.4))
    at_s = 0.6 + 0.1 * lets_go / per_s
    plan = (
        (0.0, 0.0),
        (0.2, 0.7 * lets_go),
        (0.6, 0.9 * lets_go),
        (at_s, lets_go),
        (at_s + (1 - lets_go) / per_s, 1.0),
    )
    firm = anchored_base(scene, Anchor(holding_N=200.0))
    return dataclasses.replace(scene, machine={"heron": driven(heron, plan), "plover": firm})


def by_hand(scene: Scene) -> Scene:
    """The same scene before a camera that a hand holds."""
    return dataclasses.replace(scene, camera=dataclasses.replace(scene.camera, sway=Sway(0.022, 0.7)))


def onsets_in_points(seed: int, still: Scene, extras: Extras | None = None) -> Onsets:
    """Onsets of slides and slip speed, each picture's pose being off by itself."""
    scene, draw = by_hand(still), np.random.default_rng([seed, 7])
    run = play_in_engine(scene, extras)
    filmed: FilmedPoints = film_points(scene, draw, course=run.course)
    poses = filmed.cameras.parameters.copy()
    poses[:, 9:] += POSE_U * draw.standard_normal((len(poses), 6))
    covariance = filmed.cameras.covariance.copy()
    covariance[:, 9:, 9:] += np.diag(POSE_U**2)
    cameras = dataclasses.replace(filmed.cameras, parameters=poses, covariance=covariance)
    clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
    motion, _ = measure_motion(filmed.run, filmed.tracks, cameras)
    return compare_onsets(scene, run, filmed.run, motion, clock)


def onsets_in_pixels(seed: int) -> Onsets:
    """The same through a rendered and compressed clip."""
    scene = by_hand(slowly(seed))
    run = play_in_engine(scene, PRESSED)
    with tempfile.TemporaryDirectory() as scratch:
        film(scene, Path(scratch), course=run.course)
        done = analyze(load_run(Path(scratch)))
    return compare_onsets(scene, run, done.run, done.motion, done.clock)


def compare_onsets(scene: Scene, run: EngineRun, sheet: Run, motion: Motion, clock: MatchClock) -> Onsets:
    """What was found of the slides that began, and the slip speed's greatest rms error among the wheels."""
    slips = seen_slips(scene, run)
    truths = [t for t in true_events(scene, run.course, slips=slips) if t.kind in SLIDES]
    events: list[Event] = []
    worst_m_s = 0.0
    match_s = clock.match_time(motion.clip_s)
    for one in watched_of(sheet, motion, clock):
        slip = np.interp(match_s, run.course.clip_s - scene.clock.start_s, slips[one.motion.machine])
        known = np.isfinite(one.motion.slip_speed_m_s) & (match_s > 0)
        worst_m_s = max(worst_m_s, float(np.sqrt(np.mean((one.motion.slip_speed_m_s - slip)[known] ** 2))))
        events += slip_events(one.motion, one.chain, one.slides, one.states, motion.real_s, clock)
    return Onsets(score(truths, events), worst_m_s)


def onset_row(what: str, runs: Iterable[Onsets]) -> dict[str, object]:
    """Onset errors of all runs, and the slip speed's worst."""
    every = list(runs)
    hits = [(t, e) for run in every for t, e in run.score.pairs if e is not None and t.dated]
    off, u = np.array([(t.error_s(e.start_s), e.u_start_s) for t, e in hits]).T
    return {
        "what": f"slip onset, {what}", "runs": len(every), "onsets": len(off),
        "missed": sum(e is None for run in every for _, e in run.score.pairs),
        "false": sum(len(run.score.false) for run in every),
        "onset_rms_ms": 1000 * float(np.sqrt(np.mean(off**2))), "onset_max_ms": 1000 * float(np.abs(off).max()),
        "within_50_ms_ratio": float(np.mean(np.abs(off) <= 0.05)),
        "inside_U95_ratio": float(np.mean(np.abs(off / u) < 1.96)),
        "slip_rms_max_mm_s": 1000 * max(run.slip_rms_m_s for run in every),
    }  # fmt: skip
