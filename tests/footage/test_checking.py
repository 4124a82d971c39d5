"""Weak footage is said to be weak, and good footage is left alone."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import describe_footage, read_facts
from matchvision.records.frames import ClipFacts
from tests.footage.clips import write_clip


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    clip = write_clip(tmp_path_factory.mktemp("clips") / "even.mp4", range(0, 1500 * 20, 1500))
    return replace(read_facts(clip), width_px=1920, height_px=1080)


def kinds(facts: ClipFacts, clip_s: list[float]) -> str:
    faults, note = describe_footage(facts, np.array(clip_s))
    assert (note.status == "partly") == any(f.weight != "remark" for f in faults)
    assert all(f.what and f.consequence and f.do for f in faults)
    return " | ".join(f.what for f in faults)


def test_an_even_clip_has_no_faults(facts: ClipFacts) -> None:
    assert kinds(facts, [k / 60 for k in range(20)]) == ""


def test_dropped_pictures_are_counted(facts: ClipFacts) -> None:
    clip_s = [k / 60 for k in range(24) if k not in {7, 8, 15, 20}]
    assert "about 4 pictures are missing in 3 gaps, the longest 50 ms at 0.10 s" in kinds(facts, clip_s)


def test_low_rate_small_picture_and_hdr_are_named(facts: ClipFacts) -> None:
    weak = replace(facts, width_px=640, height_px=360, transfer="hlg")
    said = kinds(weak, [k / 12 for k in range(20)])
    assert "only 12.0 pictures a second" in said
    assert "640 × 360" in said
    assert "HDR (HLG)" in said


def test_uneven_steps_are_named(facts: ClipFacts) -> None:
    rng = np.random.default_rng(4)
    assert "uneven" in kinds(facts, np.cumsum(rng.uniform(0.012, 0.021, 20)).tolist())


def test_undecoded_pictures_are_counted(facts: ClipFacts) -> None:
    assert "5 of 20 pictures" in kinds(facts, [k / 60 for k in range(15)])


def test_slow_motion_is_noticed(tmp_path: Path) -> None:
    clip = write_clip(
        tmp_path / "slow.mp4", range(0, 3000 * 8, 3000), metadata={"com.android.capture.fps": "240.000000"}
    )
    said = [f for f in read_facts(clip).faults if "slow motion" in f.what]
    assert len(said) == 1
    assert "240" in said[0].do
    assert "8.0 times" in said[0].consequence
