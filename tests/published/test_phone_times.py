"""Presentation times of a real phone clip against those published with it.

Source: a variable-rate HEVC clip from a phone, test asset of an open media library (Apache-2.0), with per-sample times
in ``uneven-rate-times.csv`` (columns ``sample``, ``time_us``). Not part of this repository.
Checks: the number of pictures, their times, and that the clip comes upright.
Values as printed: 58 samples, times in whole microseconds from 0; rotation 90° clockwise; 1024 × 768 stored.
Tolerance: 2 µs, since the list is rounded to 1 µs; one constant offset is allowed, as the list may count from the first
picture or from the timeline's start.
"""

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import describe_footage, read_facts, read_frames


@pytest.fixture(scope="module")
def folder() -> Path:
    material = os.environ.get("MATCHVISION_TEST_MATERIAL")
    if not material or not (Path(material) / "phone" / "uneven-rate.mp4").exists():
        pytest.skip("the phone clip is not here; MATCHVISION_TEST_MATERIAL names the folder that holds phone/")
    return Path(material) / "phone"


def test_times_of_a_phone_clip_agree_with_the_published_ones(folder: Path) -> None:
    with (folder / "uneven-rate-times.csv").open(newline="") as file:
        published_us = np.array([float(row["time_us"]) for row in csv.DictReader(file)])
    facts = read_facts(folder / "uneven-rate.mp4")
    frames = [(f.clip_s, f.luma.shape) for f in read_frames(facts)]
    clip_s = np.array([t for t, _ in frames])
    assert len(clip_s) == len(published_us) == 58
    difference_us = 1e6 * clip_s - published_us
    assert np.ptp(difference_us) <= 2.0
    assert facts.rotation_deg == 270
    assert {shape for _, shape in frames} == {(1024, 768)}
    # What index over mean rate would have given is far off: the check can fail.
    even_us = np.arange(58) * np.mean(np.diff(published_us))
    assert np.ptp(even_us - published_us) > 5e4


def test_the_longest_gap_is_reported(folder: Path) -> None:
    facts = read_facts(folder / "uneven-rate.mp4")
    clip_s = np.array([f.clip_s for f in read_frames(facts)])
    faults, note = describe_footage(facts, clip_s)
    assert any("108 ms" in fault.what for fault in faults)
    assert note.status == "partly"
