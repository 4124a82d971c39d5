"""Pull, grip and verdict on motion with gaps: they go on with what there is, or say why they cannot."""

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.grip import find_events
from matchvision.pull import measure_pull
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.results import Verdict
from matchvision.records.sheet import Run
from matchvision.verdict import judge
from tests.truth import SAMPLE_CLIPS, read_run
from tests.truth_motion import true_clock, true_motion

CLIPS = ("flat-match", "sled-link", "hitch-slips")


def judge_all(run: Run, motion: Motion, clock: MatchClock) -> Verdict:
    """What the pipeline does with a motion record."""
    try:
        pull = measure_pull(run, motion, clock)[0]
    except CannotMeasure:
        pull = None
    try:
        grip = find_events(run, motion, pull, clock)[0]
    except CannotMeasure:
        grip = None
    return judge(run, motion, pull, grip, clock, None)[0]


def with_gaps(record: Any, gone: np.ndarray) -> Any:
    """The record with NaN in the frames that are gone, in every series but the times."""
    changes = {}
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, np.ndarray) and value.dtype == np.float64 and len(value) == len(gone):
            value = value.copy()
            value[gone] = np.nan
            changes[field.name] = value
    return replace(record, **changes)


def tear(motion: Motion, generator: np.random.Generator, share: float) -> Motion:
    """Each machine, wheel, rope and the markers lose frames of their own, in pieces of a fifth of a second or so."""

    def gone() -> np.ndarray:
        n = len(motion.real_s)
        return np.repeat(generator.random(n // 12 + 1) < share, 12)[:n]

    return replace(
        motion,
        machines={name: with_gaps(moved, gone()) for name, moved in motion.machines.items()},
        wheels=tuple(with_gaps(wheel, gone()) for wheel in motion.wheels),
        rope=with_gaps(motion.rope, gone()),
        places=with_gaps(motion.places, gone()),
    )


@pytest.mark.parametrize("clip", CLIPS)
@pytest.mark.parametrize("share", [0.2, 0.6, 1.0])
def test_torn_motion_is_gone_through(clip: str, share: float) -> None:
    folder, generator = SAMPLE_CLIPS / clip, np.random.default_rng(21)
    run, clock = read_run(folder), true_clock(folder)
    whole = true_motion(folder, generator)
    for _ in range(4):
        verdict = judge_all(run, tear(whole, generator, share), clock)
        assert verdict.ruling is not None
        assert verdict.ruling.sentence


@pytest.mark.parametrize("clip", CLIPS)
def test_any_part_may_be_missing(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    run, clock = read_run(folder), true_clock(folder)
    whole = true_motion(folder, np.random.default_rng(22))
    for motion in (
        replace(whole, machines={}, wheels=()),
        replace(whole, wheels=()),
        replace(whole, rope=None),
        replace(whole, machines={"heron": whole.machines["heron"]}),
    ):
        assert judge_all(run, motion, clock).ruling is not None


def test_rope_alone_gives_the_winner() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    whole = true_motion(folder, np.random.default_rng(23))
    ruling = judge_all(read_run(folder), replace(whole, machines={}, wheels=()), true_clock(folder)).ruling
    assert ruling is not None
    assert ruling.winner == "plover"
    assert ruling.sure


def cut(motion: Motion, frames: slice) -> Motion:
    """Some of the frames only."""

    def shorten(record: Any) -> Any:
        changes = {
            f.name: getattr(record, f.name)[frames]
            for f in fields(record)
            if isinstance(getattr(record, f.name), np.ndarray)
        }
        return replace(record, **changes)

    shortened: Motion = shorten(motion)
    return replace(
        shortened,
        tracks=shorten(motion.tracks),
        places=shorten(motion.places),
        machines={name: shorten(moved) for name, moved in motion.machines.items()},
        wheels=tuple(shorten(wheel) for wheel in motion.wheels),
        rope=shorten(motion.rope),
    )


@pytest.mark.parametrize("frames", [slice(0, 30), slice(100, 160), slice(200, 203), slice(200, 201), slice(400, None)])
@pytest.mark.parametrize(
    "folder", [SAMPLE_CLIPS / "flat-match", SAMPLE_CLIPS / "sled-link"], ids=lambda p: Path(p).name
)
def test_piece_of_a_clip_is_gone_through(frames: slice, folder: Path) -> None:
    motion = cut(true_motion(folder, np.random.default_rng(24)), frames)
    ruling = judge_all(read_run(folder), motion, true_clock(folder)).ruling
    assert ruling is not None
    assert ruling.winner in (None, "plover")
