"""Runs for `benchmarks.pull`, each judged once: what came out beside the truth is kept until the program changes."""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from benchmarks.keeping import MEASURING, once
from matchvision.errors import CannotMeasure
from matchvision.grip import find_events
from matchvision.records.motion import MatchClock
from matchvision.uncertainty import beyond_share
from tests.grip.happened import Score, score, seen_slips, true_events
from tests.pull.engine_runs import (
    DURATION_S,
    START_S,
    Kind,
    Measured,
    PlayedRun,
    measure_points,
    play_run,
    sled_touches_patch_s,
)
from tests.pull.filmed_runs import follow_filmed, measure_followed, play_filmed

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SOURCES: Final = ("link", "stretch", "inertia", "momentum", "drive", "fused")
#: What is kept from one start of the study to the next. Filming takes longest by far: what the footage gave is kept
#: whatever changes later (its own commit beside it); delete the folder to film anew.
KEPT: Final = Path(tempfile.gettempdir()) / "matchvision-pull"
RESTS_ON: Final = (
    *MEASURING, "tests/pull/engine_runs.py", "tests/pull/filmed_runs.py", "tests/grip/happened.py",
    "benchmarks/pull_runs.py",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class SlipErrors:
    """Of one wheel: slip speed's error, stated u and true value in the match's frames (n,) [m/s]."""

    error_m_s: FloatArray
    u_m_s: FloatArray
    true_m_s: FloatArray


@dataclass(frozen=True, eq=False)
class MiddleErrors:
    """Of a rope that lies straight: its middle's error and stated u in the match's taut frames (n,) [m]."""

    error_m: FloatArray
    u_m: FloatArray


@dataclass(frozen=True, eq=False)
class Judged:
    """What came out of one run beside its truth; arrays (n,) over its frames, pulls in N."""

    through: str
    kind: Kind
    seed: int
    true_N: FloatArray
    usable: BoolArray
    slips: BoolArray
    match_s: FloatArray
    found: dict[str, tuple[FloatArray, FloatArray]]
    disagreement: tuple[str, ...]
    patch_s: float | None
    wheels: tuple[SlipErrors, ...]
    middle: MiddleErrors | None
    events: Score

    def errors(self, name: str) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Error, stated u and where they count, of one source."""
        nothing = np.full(len(self.true_N), np.nan)
        tension_N, u_N = self.found.get(name, (nothing, nothing))
        return tension_N - self.true_N, u_N, self.usable & np.isfinite(tension_N) & np.isfinite(u_N)


def judge_points(kind: Kind, seed: int) -> Judged:
    """A run as noisy points through a camera that is off as its covariance says."""

    def judged() -> Judged:
        run = play_run(kind, seed)
        return _judged("points", kind, seed, run, measure_points(run))

    return _once(f"points-{kind}-{seed}", judged)


def judge_filmed(kind: Kind, seed: int) -> Judged:
    """A run through rendered and compressed pictures."""

    def judged() -> Judged:
        run = play_filmed(kind, seed)
        followed = follow_filmed(run, KEPT / "followed" / f"{kind}-{seed}.pickle")
        return _judged("pixels", kind, seed, run, measure_followed(run, followed))

    return _once(f"pixels-{kind}-{seed}", judged)


def _once(name: str, judge: Callable[[], Judged]) -> Judged:
    return once(KEPT, RESTS_ON, name, judge)


def _judged(through: str, kind: Kind, seed: int, run: PlayedRun, measured: Measured) -> Judged:
    sources = {s.source: (s.tension_N, s.u_tension_N) for s in measured.pull.sources}
    try:
        events = find_events(measured.run, measured.motion, measured.pull, MatchClock(START_S, DURATION_S))[0].events
    except CannotMeasure:
        events = ()
    return Judged(
        through,
        kind,
        seed,
        measured.true_N,
        measured.usable,
        measured.slips,
        measured.match_s,
        sources,
        measured.pull.disagreement,
        sled_touches_patch_s(run),
        tuple(_slip_errors(run, measured)),
        _middle_errors(run, measured) if kind == "match" else None,
        score(true_events(run.scene, run.played.course, slips=seen_slips(run.scene, run.played)), events),
    )


def _middle_errors(run: PlayedRun, measured: Measured) -> MiddleErrors | None:
    """By how much the rope's middle is missed, on which the verdict rests: half way between the hitches."""
    rope, scene = measured.motion.rope, run.scene
    if rope is None:
        return None
    at = run.played.course.at(measured.motion.clip_s)
    ends = [(at.machines[end], scene.machine[end].hitch_m) for end in scene.rope.ends]
    hitch_x_m = [m.x_m + h[0] * np.cos(m.heading_rad) - h[1] * np.sin(m.heading_rad) for m, h in ends]
    sides = (rope.on_plus_x_m, rope.u_on_plus_x_m, rope.on_minus_x_m, rope.u_on_minus_x_m)
    lead_m, u_m = beyond_share(*sides, u_whole=rope.u_total_m)
    taut = (rope.slack < 0.5) & np.isfinite(lead_m) & (measured.match_s > 0) & (measured.match_s < DURATION_S)
    return MiddleErrors((lead_m - np.mean(hitch_x_m, axis=0))[taut], u_m[taut])


def _slip_errors(run: PlayedRun, measured: Measured) -> list[SlipErrors]:
    inside = (measured.match_s > 0) & (measured.match_s < DURATION_S)
    found = []
    for wheel in measured.motion.wheels:
        machine, truth = run.scene.machine[wheel.machine], run.played.machines[wheel.machine]
        (marked,) = (w for w in machine.wheel if w.name == wheel.wheel)
        side = truth.left if marked.face_m[1] >= 0 else truth.right
        true_m_s = np.interp(measured.motion.clip_s, run.played.course.clip_s, side.slip_m_s)
        error = np.where(inside, wheel.slip_speed_m_s - true_m_s, np.nan)
        found.append(SlipErrors(error, np.where(inside, wheel.u_slip_speed_m_s, np.nan), true_m_s))
    return found
