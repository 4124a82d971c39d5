"""A camera that is said to stand still and was nudged: noticed and dated; one that stood is left in peace."""

import math
from dataclasses import replace

import numpy as np
import pytest

from matchvision.records.frames import Frame
from matchvision.table import find_table
from tests.table.test_finding import STILL, found, look


def nudged(frames: tuple[Frame, ...], after_s: float, by_px: int) -> tuple[Frame, ...]:
    """The same pictures, those after a time shifted sideways."""
    return tuple(
        replace(f, luma=np.ascontiguousarray(np.roll(f.luma, by_px, axis=1))) if f.clip_s > after_s else f
        for f in frames
    )


def test_a_nudge_of_one_pixel_is_noticed_and_dated() -> None:
    sheet, frames = look("flat-match")
    times = sorted(frame.clip_s for frame in frames)
    after_s = times[(2 * len(times)) // 3]
    _, note = find_table(nudged(frames, after_s, 1), sheet, None)
    said = [warning for warning in note.warnings if "did not stand still" in warning]
    assert len(said) == 1
    assert "1.0 px" in said[0]
    assert f"between {after_s:.2f} and" in said[0]
    (against,) = note.contradictions
    assert (against.key, against.covered) == ("[camera] moves", False)
    assert against.off_px == pytest.approx(1.0, abs=0.1)


def test_pictures_that_do_not_belong_together_say_so_of_the_sheet() -> None:
    """Held by hand, and called still: nothing says how far places are off."""
    sheet, frames = look("hand-held")
    still = sheet.model_copy(update={"camera": sheet.camera.model_copy(update={"moves": False})})
    _, note = find_table(frames, still, None)
    against = next(one for one in note.contradictions if not one.covered)
    assert against.key == "[camera] moves"
    assert "set moves = true" in against.do
    assert math.isnan(against.off_px)


@pytest.mark.parametrize("clip", STILL)
def test_a_camera_that_stood_is_left_in_peace(clip: str) -> None:
    _, note = found(clip)
    assert not any("stand still" in warning for warning in note.warnings)
    assert note.contradictions == ()
