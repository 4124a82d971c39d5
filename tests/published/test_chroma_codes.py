"""Chroma of saturated colours in 8-bit video.

Source: ITU-R BT.709-6 and BT.601-7, luma and colour-difference definitions and quantisation; the codes of 100 % colour
bars follow from them and are tabulated in many handbooks. From memory, recomputed by hand.
Checks: `chroma_of` for both matrices at limited range.
Values as printed (Cb, Cr codes about 128): BT.601 red 90, 240; green 54, 34; blue 240, 110; yellow 16, 146;
cyan 166, 16; magenta 202, 222. BT.709 red 102, 240; green 42, 26; blue 240, 118.
Tolerance: 0.5, the rounding of the codes.
"""

import numpy as np
import pytest

from matchvision.markers.colours import chroma_of

BARS = [
    ("bt601", "#ff0000", 90, 240),
    ("bt601", "#00ff00", 54, 34),
    ("bt601", "#0000ff", 240, 110),
    ("bt601", "#ffff00", 16, 146),
    ("bt601", "#00ffff", 166, 16),
    ("bt601", "#ff00ff", 202, 222),
    ("bt709", "#ff0000", 102, 240),
    ("bt709", "#00ff00", 42, 26),
    ("bt709", "#0000ff", 240, 118),
]


@pytest.mark.parametrize(("matrix", "srgb", "blue", "red"), BARS)
def test_colour_bars_have_their_published_codes(matrix: str, srgb: str, blue: int, red: int) -> None:
    assert chroma_of(srgb, matrix, full_range=False) + 128 == pytest.approx([blue, red], abs=0.51)


def test_grey_has_no_chroma() -> None:
    assert np.abs(chroma_of("#808080", "bt709", full_range=True)).max() < 1e-9
