"""Pictures shown twice are marked; scenes that stand still are not."""

from collections.abc import Sequence
from pathlib import Path

import av
import numpy as np
import pytest

from matchvision.footage import describe_footage, read_facts, read_frames
from matchvision.footage.doubles import mark_doubles


def write_moving(path: Path, places_px: Sequence[int], noise_levels: float, rotation_deg: int = 0) -> Path:
    """A bright square at the given columns, one picture each, in the sensor's noise; a repeated place of −1 repeats."""
    rng = np.random.default_rng(5)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = 320, 192, "yuv420p"
        stream.options = {"crf": "18", "bf": "0", "preset": "veryfast"}
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        for k, place in enumerate(places_px):
            if place >= 0:
                luma = 80 + noise_levels * rng.standard_normal((192, 320))
                luma[60:130, place : place + 40] += 100
                planes = np.full((288, 320), 128, dtype=np.uint8)
                planes[:192] = np.clip(luma.round(), 0, 255)
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.pts = k
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize("noise_levels", [0.0, 1.5])
@pytest.mark.parametrize("rotation_deg", [0, 90])
def test_doubled_pictures_are_marked(tmp_path: Path, noise_levels: float, rotation_deg: int) -> None:
    places = [20 + 4 * k for k in range(40)]
    for k in (7, 20, 21, 33):
        places[k] = -1
    clip = write_moving(tmp_path / "moving.mp4", places, noise_levels, rotation_deg)
    facts = read_facts(clip)
    frames = list(read_frames(facts))
    assert [f.index for f in frames] == list(range(40))
    assert [f.index for f in frames if f.doubled] == [7, 20, 21, 33]
    faults, note = describe_footage(
        facts, np.array([f.clip_s for f in frames]), doubled_s=[f.clip_s for f in frames if f.doubled]
    )
    said = [f for f in faults if "shown twice" in f.what]
    assert len(said) == 1
    assert said[0].what.startswith("4 pictures")
    assert "0.12 s" in said[0].what
    assert note.status == "partly"


@pytest.mark.parametrize("noise_levels", [0.0, 1.5])
def test_a_scene_that_stands_still_has_no_doubles(tmp_path: Path, noise_levels: float) -> None:
    # Still, moving, still for longer than a hiccup, moving, still to the end.
    places = [20] * 15 + [20 + 4 * k for k in range(15)] + [80] * 10 + [80 + 4 * k for k in range(10)] + [120] * 10
    clip = write_moving(tmp_path / "still.mp4", places, noise_levels)
    assert not any(f.doubled for f in read_frames(read_facts(clip)))


def test_frames_pass_through_in_order_and_unchanged(tmp_path: Path) -> None:
    clip = write_moving(tmp_path / "moving.mp4", [20 + 4 * k for k in range(12)], 1.0)
    frames = list(read_frames(read_facts(clip)))
    again = list(mark_doubles(iter(frames)))
    assert all(a is b for a, b in zip(frames, again, strict=True))
