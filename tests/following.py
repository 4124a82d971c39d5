"""Scenes filmed and followed once: what a pass over the clip gave is kept, the clip itself is not."""

import pickle
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from benchmarks.results import commit
from matchvision.filming import Course, Scene, film
from matchvision.footage import read_facts
from matchvision.grip import find_events
from matchvision.motion import measure_motion
from matchvision.pipeline import attempt, find_clock, real_seconds_per_clip_second
from matchvision.pull import measure_pull
from matchvision.records.camera import Cameras
from matchvision.records.events import Event
from matchvision.records.footage import RowTiming
from matchvision.records.foreign import ForeignLook
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import Motion
from matchvision.records.sheet import Run
from matchvision.records.tracks import Tracks
from matchvision.sheets import load_run
from matchvision.watching import watch
from tests.filmed_points import run_of


@dataclass(frozen=True, eq=False)
class Followed:
    """What one pass over a clip gave, beside the exact truth of its frames; ``commit`` is that of the program then."""

    run: Run
    facts: ClipFacts
    tracks: Tracks
    cameras: Cameras
    rows: RowTiming
    truth: pd.DataFrame
    commit: str
    foreign: ForeignLook | None = None


def follow_scene(scene: Scene, course: Course, kept: Path) -> Followed:
    """What the footage of a scene gives: from ``kept``, else filmed, followed and kept there."""
    if kept.exists():
        followed: Followed = pickle.loads(kept.read_bytes())
        # Its sheet is read anew: what a run may hold grows with the program.
        return replace(followed, run=run_of(scene))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        film(scene, folder, course=course)
        told = load_run(folder)
        facts = read_facts(told.clip)
        seen = watch(told, facts, None)
        truth = pd.read_csv(folder / "truth.csv")
    followed = Followed(told, facts, seen.tracks, seen.cameras, seen.rows, truth, commit(), seen.cover.look())
    kept.parent.mkdir(parents=True, exist_ok=True)
    unfinished = kept.with_suffix(".part")
    unfinished.write_bytes(pickle.dumps(followed))
    unfinished.rename(kept)
    return followed


def events_of(followed: Followed) -> tuple[Event, ...]:
    """Every event in what was followed, as the whole analysis finds them."""
    return measured_of(followed)[1]


def measured_of(followed: Followed) -> tuple[Motion, tuple[Event, ...]]:
    """Motion and every event in what was followed, as the whole analysis finds them."""
    run = followed.run
    slowed = real_seconds_per_clip_second(run, followed.facts)
    motion, _ = measure_motion(run, followed.tracks, followed.cameras, slowed, followed.rows)
    clock = find_clock(run, motion, followed.facts, None, followed.rows)
    pull, _ = attempt("pull", lambda: measure_pull(run, motion, clock))
    grip, _ = attempt("grip", lambda: find_events(run, motion, pull, clock, followed.foreign))
    return motion, () if grip is None else tuple(grip.events)
