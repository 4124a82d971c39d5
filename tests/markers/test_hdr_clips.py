"""Markers of a sample clip are found and told apart when the same pictures are coded in high dynamic range."""

from dataclasses import replace
from itertools import islice
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.errors import MarkerError
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts
from matchvision.records.tracks import TrackState
from tests.footage.coded import write_coded
from tests.truth import SAMPLE_CLIPS, read_run, true_cameras

FloatArray = npt.NDArray[np.float64]

FOLDER = SAMPLE_CLIPS / "sled-link"
PICTURES = 3
#: Linear light of white paper on the scale of each curve: 203 of 10000 cd/m², and what HLG codes as 75 %.
WHITE = {"pq": 0.0203, "hlg": 0.26496}
#: BT.2020 from BT.709 primaries.
WIDE = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])


def curve_table(curve: str) -> FloatArray:
    """Code, 0 to 1, of light from 0 to white in steps of 1/4096 (ITU-R BT.2100)."""
    light = WHITE[curve] * np.linspace(0, 1, 4097)
    if curve == "hlg":
        with np.errstate(invalid="ignore"):
            bright = 0.17883277 * np.log(12 * light - 0.28466892) + 0.55991073
        return np.asarray(np.where(light <= 1 / 12, np.sqrt(3 * light), bright))
    power = light**0.1593017578125
    return np.asarray(((0.8359375 + 18.8515625 * power) / (1 + 18.6875 * power)) ** 78.84375)


@pytest.fixture(scope="module")
def linear() -> list[FloatArray]:
    """The first pictures in linear light of BT.2020's primaries."""
    code = np.arange(256) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    with av.open(str(FOLDER / "clip.mp4")) as clip:
        shown = [
            p.reformat(format="rgb24", src_colorspace=1, dst_colorspace=1).to_ndarray()
            for p in islice(clip.decode(video=0), PICTURES)
        ]
    return [np.clip(light[picture] @ WIDE.T, 0, 1) for picture in shown]


def missed(facts: ClipFacts) -> set[str]:
    run, cameras = read_run(FOLDER), true_cameras(FOLDER, read_run(FOLDER))
    camera = Camera(cameras.width_px, cameras.height_px, cameras.parameters[0], cameras.covariance[0])
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in islice(read_frames(facts), PICTURES):
        tracker.see(frame, camera)
    try:
        tracks = tracker.tracks()[0]
    except MarkerError:
        return {p.name for p in plan_markers(run)}
    lost = (tracks.state == TrackState.LOST).any(axis=0)
    return {p.name for p, gone in zip(tracks.plans, lost, strict=True) if gone}


@pytest.mark.parametrize("curve", ["hlg", "pq"])
def test_colours_match_in_high_dynamic_range(tmp_path: Path, linear: list[FloatArray], curve: str) -> None:
    table = curve_table(curve)
    clip = write_coded(
        tmp_path / "hdr.mp4",
        "libx265",
        "yuv420p10le",
        lambda k: table[(4096 * linear[k]).round().astype(int)],
        matrix="bt2020",
        curve=curve,
        pictures=PICTURES,
        options={"x265-params": "log-level=none:crf=14", "preset": "ultrafast"},
    )
    facts = read_facts(clip)
    assert (facts.transfer, facts.matrix) == (curve, "bt2020")
    assert missed(facts) == set()
    if curve == "pq":
        # Taken at face value, the sheet's colours would not be found: the check can fail.
        assert len(missed(replace(facts, transfer=""))) >= 3
