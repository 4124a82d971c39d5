"""A countdown of beeps as loud as each other: the sheet names the start, and check and match clock follow it."""

from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest

from matchvision.errors import FootageError
from matchvision.footage import read_facts
from matchvision.footagecheck import check_footage
from matchvision.pipeline import find_clock
from matchvision.records.motion import Motion
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from tests.footage.sounds import add_beep, room, write_with_sound

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"


def with_clock(**keys: object) -> Run:
    run = load_run(SAMPLE)
    clock = run.sheet.clock.model_copy(update={"start_s": None, "start": "sound", **keys})
    return replace(run, sheet=run.sheet.model_copy(update={"clock": clock}))


def test_the_named_beep_starts_the_clock(tmp_path: Path) -> None:
    samples = room(5.0, 0.004)
    for at_s in (1.0, 2.0, 3.0):
        add_beep(samples, at_s, 0.2)
    clip = write_with_sound(tmp_path / "clip.mp4", samples, pictures=150)
    facts = read_facts(clip)
    unused = cast("Motion", None)
    clock = find_clock(with_clock(sound_number=3), unused, facts, None)
    assert clock.start_clip_s == pytest.approx(3.0, abs=0.003)
    assert "3 of 3 about as loud" in clock.source
    assert 0.02 < clock.u_start_s < 0.03
    with pytest.raises(FootageError, match=r"3 sounds are about as loud .*at 1\.00. s, 2\.00. s, 3\.00. s") as caught:
        find_clock(with_clock(), unused, facts, None)
    assert "sound_number" in caught.value.do
    named = check_footage(clip, with_clock(sound_number=3))
    assert named.start is not None
    assert named.start.clip_s == pytest.approx(3.0, abs=0.003)
    open_ = check_footage(clip, with_clock())
    assert any("3 sounds are about as loud" in fault.what for fault in open_.faults)
    assert open_.start is None
