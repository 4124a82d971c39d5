"""The match clock."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import CannotMeasure, FootageError
from matchvision.motion import measure_motion, set_clock
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import Motion, StartSignal
from matchvision.records.sheet import ClockSheet, Run
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, true_cameras, true_tracks

FOLDER = SAMPLE_CLIPS / "flat-match"
FACTS = ClipFacts(Path("clip.mp4"), "", "h264", "yuv420p", 1280, 720, 0, False, 30.0, 10.0, "bt709", False, "")


@pytest.fixture(scope="module")
def motion() -> Motion:
    run = read_run(FOLDER)
    return measure_motion(run, true_tracks(FOLDER, run, np.random.default_rng(2)), true_cameras(FOLDER, run))[0]


def with_clock(**clock: float | str) -> Run:
    run = read_run(FOLDER)
    return dataclasses.replace(
        run, sheet=run.sheet.model_copy(update={"clock": ClockSheet.model_validate({"duration_s": 8, **clock})})
    )


def test_given_start(motion: Motion) -> None:
    clock = set_clock(with_clock(start_s=1.18), motion, FACTS)
    assert clock.start_clip_s == 1.18
    assert clock.u_start_s == 0.0
    assert clock.end_clip_s == pytest.approx(9.18)


def test_slow_motion(motion: Motion) -> None:
    clock = set_clock(with_clock(start_s=1.0, recorded_fps=240), motion, FACTS)
    assert clock.real_per_clip_ratio == pytest.approx(1 / 8)
    assert float(clock.match_time(np.array(9.0))) == pytest.approx(1.0)


def test_first_motion_of_sample_clip(motion: Motion) -> None:
    clock = set_clock(with_clock(start="first-motion"), motion, FACTS)
    # The rope's own first motion: its middle passes 10 mm/s.
    truth = read_truth(FOLDER)
    moving = np.abs(np.gradient(truth["rope_plus_x_m"], truth["pts_s"])) > 0.010
    true_s = float(truth["pts_s"][int(np.argmax(moving))])
    assert abs(clock.start_clip_s - true_s) < max(3 * clock.u_start_s, 0.05)
    assert 0 < clock.u_start_s < 0.1
    assert "rope" in clock.source


def test_start_beyond_the_clip(motion: Motion) -> None:
    with pytest.raises(FootageError, match=r"12\.00 s.*last picture is at 9\.9"):
        set_clock(with_clock(start_s=12.0), motion, FACTS)


def test_start_by_a_sound_that_was_not_found(motion: Motion) -> None:
    with pytest.raises(CannotMeasure, match="no sound was found"):
        set_clock(with_clock(start="sound"), motion, FACTS)


def test_start_by_a_signal(motion: Motion) -> None:
    clock = set_clock(with_clock(start="sound"), motion, FACTS, StartSignal(1.18, 0.002, "the start sound"))
    assert clock.start_clip_s == 1.18
    assert clock.u_start_s == 0.002
    assert clock.source == "the start sound"


def test_nothing_moves(motion: Motion) -> None:
    assert motion.rope is not None
    still = dataclasses.replace(motion, rope=dataclasses.replace(motion.rope, speed_m_s=motion.rope.speed_m_s * 0))
    with pytest.raises(CannotMeasure, match="no first motion"):
        set_clock(with_clock(start="first-motion"), still, FACTS)
