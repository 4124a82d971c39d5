"""What happened, found or missed: short runs of every kind, half of them through rendered pixels; and quiet minutes.

Most runs are a physics engine's; what it cannot play (arms, creeping anchors, a machine let go too early) is filming's
own motion. Pictures are 960 × 540 at 60 frames/s. Quiet time is ten filmed minutes in which nothing happens: clips of
75 s, 640 × 360 at 30 frames/s, on a stand and by hand.

``true``: what must be found, and what lies on the edge of its definition and was found; ``missed_on_the_edge``: what is
so by the letter, but by less than slip speed, speed and dates must be known, `tests.grip.happened`.
"""

import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from benchmarks.keeping import MEASURING, once
from benchmarks.turning import turn_errors, turn_row
from matchvision.records.motion import Motion
from tests.following import events_of, follow_scene, measured_of
from tests.grip.happened import Score, lead_changes_of_rope, score
from tests.grip.quiet_clips import CLIP_S, false_events, quiet_clips
from tests.grip.stories import Played, Story, measured_points, stories, true_of

#: Seeds whose runs are filmed, and those that are points with white noise of 0.17 px.
PIXEL_SEEDS: Final = (1, 3)
POINT_SEEDS: Final = (2, 4)
#: More runs of what is dated within millimetres: wheels that the rope rocks, twitches, creep; and their seeds.
EARLY: Final = ("stalls", "lifts", "early", "creeps", "breaks-away")
EARLY_PIXEL_SEEDS: Final = (11, 13, 15)
EARLY_POINT_SEEDS: Final = (12, 14, 16, 18, 20)
#: More runs in which a machine is turned, and their seeds.
TURNS: Final = ("turns", "swings")
TURNING_PIXEL_SEEDS: Final = (5, 7)
TURNING_POINT_SEEDS: Final = range(6, 16)
#: A machine on its back has no heading.
FALLS_OVER: Final = ("tips",)
#: Kinds that only pictures show.
NEEDS_PICTURES: Final = {"touch"}
#: What each clip gave is kept here, so that a study that was broken off goes on; delete it to film anew.
KEPT: Final = Path(tempfile.gettempdir()) / "matchvision-events"
RESTS_ON: Final = (
    *MEASURING, "tests/grip/happened.py", "tests/grip/stories.py", "tests/grip/quiet_clips.py", "tests/grip/quiet.py",
    "benchmarks/events.py", "benchmarks/turning.py",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Judged:
    """What came of one run: its events beside the true ones, and by how much turns were off, with u [deg]."""

    events: Score
    turns: tuple[tuple[float, float], ...]


def measure() -> pd.DataFrame:
    """One row a kind: true ones, found, false ones, and the onset's error; how far machines turned; quiet clips."""
    scores: list[tuple[str, Score]] = []
    turns: dict[str, list[tuple[float, float]]] = {"pixels": [], "points": []}
    for source, seed, story, only_turns in _planned():
        judged = _once(f"{source}-{story.name}-{seed}", partial(_JUDGES[source], story, seed))
        turns[source] += judged.turns
        if not only_turns:
            scores.append((source, judged.events))
    turned = [turn_row(source, errors) for source, errors in turns.items()]
    return pd.DataFrame([*tabulate(scores), *turned, *_quiet_rows()])


def _planned() -> Iterator[tuple[str, int, Story, bool]]:
    """Source, seed and story of every run, and whether it is there for its turn alone."""
    for source, seeds in (("pixels", PIXEL_SEEDS), ("points", POINT_SEEDS)):
        for seed in seeds:
            yield from ((source, seed, story, False) for story in stories(seed))
    for source, more in (("pixels", EARLY_PIXEL_SEEDS), ("points", EARLY_POINT_SEEDS)):
        for seed in more:
            yield from ((source, seed, story, False) for story in stories(seed) if story.name in EARLY)
    for source, turning in (("pixels", TURNING_PIXEL_SEEDS), ("points", TURNING_POINT_SEEDS)):
        for seed in turning:
            yield from ((source, seed, story, True) for story in stories(seed) if story.name in TURNS)


def _judge_filmed(story: Story, seed: int) -> Judged:
    """A story through its clip."""
    played = story.play()
    followed = follow_scene(story.scene, played.course, KEPT / f"{story.name}-{seed}.pickle")
    motion, events = measured_of(replace(followed, run=story.misstate(followed.run)))
    return Judged(score(true_of(story, played), events), _turns(story, played, motion))


def _judge_points(story: Story, seed: int) -> Judged:
    """A story as noisy points."""
    played = story.play()
    truths = [t for t in true_of(story, played) if t.kind not in NEEDS_PICTURES]
    motion, events = measured_points(story, played.course, np.random.default_rng(seed))
    return Judged(score(truths, events), _turns(story, played, motion))


_JUDGES: Final = {"pixels": _judge_filmed, "points": _judge_points}


def _turns(story: Story, played: Played, motion: Motion) -> tuple[tuple[float, float], ...]:
    return () if story.name in FALLS_OVER else tuple(turn_errors(story.scene, played.course, motion))


def _once(name: str, judge: Callable[[], Judged]) -> Judged:
    return once(KEPT / "judged", RESTS_ON, name, judge)


def tabulate(scores: list[tuple[str, Score]]) -> list[dict[str, object]]:
    """Rows by source and kind."""
    true: dict[tuple[str, str], int] = defaultdict(int)
    false: dict[tuple[str, str], int] = defaultdict(int)
    edge: dict[tuple[str, str], int] = defaultdict(int)
    hits: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for source, one in scores:
        for truth, event in one.pairs:
            true[source, truth.kind] += 1
            if event is not None:
                hits[source, truth.kind].append(
                    (truth.error_s(event.start_s) if truth.dated else np.nan, event.u_start_s)
                )
        for event in one.false:
            false[source, event.kind] += 1
        for truth in one.edge:
            edge[source, truth.kind] += 1
    rows = []
    for key in sorted({*true, *false, *edge}):
        errors = np.array([error for error, _ in hits[key]])
        scaled = np.array([error / u for error, u in hits[key]])
        known = np.isfinite(errors)
        rows.append(
            {
                "source": key[0], "kind": key[1], "true": true[key], "found": len(hits[key]), "false": false[key],
                "missed_on_the_edge": edge[key],
                "onset_rms_ms": 1000 * float(np.sqrt(np.mean(errors[known] ** 2))) if known.any() else np.nan,
                "onset_max_ms": 1000 * float(np.abs(errors[known]).max()) if known.any() else np.nan,
                "inside_U95_ratio": float(np.mean(np.abs(scaled[known]) < 1.96)) if known.any() else np.nan,
            }
        )  # fmt: skip
    return rows


def _quiet_rows() -> list[dict[str, object]]:
    """One row a quiet clip: what was claimed in it, and of which kinds."""
    rows: list[dict[str, object]] = []
    for number, story in enumerate(quiet_clips()):
        judged = _once(f"quiet-{number}", partial(_judge_quiet, story, number)).events
        told = {truth.kind for truth, _ in judged.pairs} | {event.kind for event in judged.false}
        rows.append(
            {
                "source": f"quiet {CLIP_S / 60:.2f} min: {story.name}", "kind": " ".join(sorted(told)) or "any",
                "true": len(judged.pairs), "found": sum(event is not None for _, event in judged.pairs),
                "false": len(judged.false),
            }
        )  # fmt: skip
    return rows


def _judge_quiet(story: Story, number: int) -> Judged:
    """What is claimed beside what is so: a slack rope that is carried off truly passes from one side to the other."""
    followed = follow_scene(story.scene, story.course(), KEPT / f"quiet-{number}.pickle")
    columns = ("pts_s", "rope_plus_x_m", "rope_total_m")
    rope = (np.asarray(followed.truth[name], dtype=np.float64) for name in columns)
    so = lead_changes_of_rope(story.scene, *rope)
    return Judged(score(so, false_events(story, events_of(followed))), ())
