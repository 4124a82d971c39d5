"""Stills from picture files and from a clip."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from matchvision.errors import FootageError
from matchvision.footage import is_still, read_still, read_stills
from matchvision.footage.stills import FROM_A_CLIP

SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_pictures_keep_their_values(tmp_path: Path) -> None:
    grey = np.arange(48, dtype=np.uint8).reshape(6, 8)
    (tmp_path / "bird é.png").write_bytes(cv2.imencode(".png", grey)[1].tobytes())
    stills = read_stills([tmp_path / "bird é.png"])
    assert list(stills) == ["bird é.png"]
    np.testing.assert_array_equal(stills["bird é.png"], grey)


def test_equal_names_are_kept_apart(tmp_path: Path) -> None:
    grey = cv2.imencode(".png", np.zeros((4, 4), dtype=np.uint8))[1].tobytes()
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "1.png").write_bytes(grey)
    assert len(read_stills([tmp_path / "a" / "1.png", tmp_path / "b" / "1.png"])) == 2


def test_a_clip_gives_pictures_spread_over_it() -> None:
    stills = read_stills([SAMPLES / "hitch-slips" / "clip.mp4"])
    assert FROM_A_CLIP - 2 <= len(stills) <= FROM_A_CLIP + 2
    assert {still.shape for still in stills.values()} == {(1080, 1920)}


@pytest.mark.parametrize("content", [b"", b"no picture"])
def test_what_is_no_picture_is_named(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "still.jpg"
    with pytest.raises(FootageError, match="cannot be read"):
        read_stills([path])
    path.write_bytes(content)
    with pytest.raises(FootageError, match=r"still\.jpg: this is no picture"):
        read_stills([path])


def test_a_still_is_a_frame_in_the_published_colours(tmp_path: Path) -> None:
    """Full-range BT.601 as JFIF writes it (ITU-T T.871, section 7): pure red has Y 76, Cb 85 and Cr 255."""
    picture = np.zeros((40, 60, 3), dtype=np.uint8)
    picture[:, 30:] = (0, 0, 255)
    cv2.imwrite(str(tmp_path / "red.png"), picture)
    facts, frame = read_still(tmp_path / "red.png")
    assert is_still(tmp_path / "red.png")
    assert (facts.width_px, facts.height_px, facts.full_range) == (60, 40, True)
    assert (frame.luma[5, 5], frame.blue[5, 5], frame.red[5, 5]) == (0, 128, 128)
    assert [int(p[5, 50]) for p in (frame.luma, frame.blue, frame.red)] == pytest.approx([76, 85, 255], abs=1)
