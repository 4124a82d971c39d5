"""The grip stage on the sample clips' true motion with noise: every true event, and no other."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.grip import find_events
from matchvision.grip.states import STATES
from matchvision.pull import measure_pull
from matchvision.records.events import EVENT_KINDS, Grip
from tests.truth import SAMPLE_CLIPS, read_run, read_truth_facts
from tests.truth_motion import true_clock, true_motion

CLIPS = ("flat-match", "sled-link", "hand-held", "hitch-slips")
#: Kinds that do not happen in any of the clips.
NEVER = {
    "early-start", "anchor-creep", "dislodged", "drive-loss", "turned", "contact", "blocked", "lifted", "tipped",
    "off-table", "held", "stall",
}  # fmt: skip


def events_of(clip: str, seed: int) -> Grip:
    folder = SAMPLE_CLIPS / clip
    run, clock, motion = read_run(folder), true_clock(folder), true_motion(folder, np.random.default_rng(seed))
    try:
        pull = measure_pull(run, motion, clock)[0]
    except CannotMeasure:
        pull = None
    return find_events(run, motion, pull, clock)[0]


@pytest.mark.parametrize("clip", CLIPS)
def test_no_false_events(clip: str) -> None:
    for seed in range(3):
        grip = events_of(clip, seed)
        kinds = [event.kind for event in grip.events]
        assert not NEVER.intersection(kinds)
        assert set(kinds) <= set(EVENT_KINDS)
        assert kinds.count("rope-off") == (clip == "hitch-slips")
        assert all(0 <= event.probability <= 1 and event.evidence for event in grip.events)
        assert [e.start_s for e in grip.events] == sorted(e.start_s for e in grip.events)


@pytest.mark.parametrize("clip", CLIPS)
def test_first_motions_are_within_a_tenth_of_a_second(clip: str) -> None:
    start_s = true_clock(SAMPLE_CLIPS / clip).start_clip_s
    for machine, true_s in read_truth_facts(SAMPLE_CLIPS / clip)["events"]["first_motion_s"].items():
        found = [e for e in events_of(clip, 11).events if e.kind == "first-motion" and e.machine == machine]
        assert len(found) == 1
        assert found[0].start_s + start_s == pytest.approx(true_s, abs=0.1)


@pytest.mark.parametrize("clip", CLIPS)
def test_slip_overlaps_the_true_intervals(clip: str) -> None:
    clock, facts = true_clock(SAMPLE_CLIPS / clip), read_truth_facts(SAMPLE_CLIPS / clip)
    grid_s = np.arange(0.0, clock.end_clip_s, 0.002)
    grip = events_of(clip, 12)
    for machine, intervals in facts["events"]["slip_intervals_s"].items():
        truly = np.zeros(len(grid_s), dtype=bool)
        for first, last in intervals:
            truly |= (grid_s >= first) & (grid_s <= last)
        found = np.zeros(len(grid_s), dtype=bool)
        for event in grip.events:
            if event.machine == machine and event.kind in {"slip", "spin", "dragged"}:
                clip_s = grid_s - clock.start_clip_s
                found |= (clip_s >= event.start_s) & (clip_s <= event.end_s)
        assert (truly & found).sum() >= 0.9 * (truly | found).sum()


def test_hitch_is_dated_and_named() -> None:
    clock = true_clock(SAMPLE_CLIPS / "hitch-slips")
    (event,) = (e for e in events_of("hitch-slips", 13).events if e.kind == "rope-off")
    assert event.machine == "plover"
    assert event.start_s + clock.start_clip_s == pytest.approx(2.83, abs=0.06)


def test_every_wheel_has_a_state_in_every_frame() -> None:
    grip = events_of("flat-match", 14)
    assert {machine for machine, _ in grip.grip_state} == {"heron", "plover"}
    for states in grip.grip_state.values():
        assert len(states) == 598
        assert set(states) <= {*STATES, ""}


def test_wheel_whose_marks_were_not_seen_is_said() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run, motion = read_run(folder), true_motion(folder, np.random.default_rng(15))
    _, note = find_events(run, replace(motion, wheels=motion.wheels[:1]), None, true_clock(folder))
    assert note.status == "partly"
    assert "of plover" in note.warnings[0]
