"""Codes of colours in high dynamic range.

Source: ITU-R BT.2111 (colour bar test patterns for HLG and PQ): its bars in BT.709's colours, red, green and blue as
10-bit codes at narrow range; ITU-R BT.2408: white paper at 75 % in HLG, 58 % in PQ. From memory; every code was
recomputed by hand from ITU-R BT.2100's formulas.
Checks: `carry_colour` in HLG and PQ, and `chroma_of` by the BT.2020 matrix from the printed codes.
Values as printed: in the tables below.
Tolerance: 1.1 codes of 10 bits in red, green and blue: half a code for rounding, and PQ is printed for 58 % where
203 cd/m² is 58.06 %; 0.5 of
8 bits in chroma, which is two 10-bit codes.
"""

import numpy as np
import pytest

from matchvision.markers.colours import chroma_of
from matchvision.markers.transfers import carry_colour

BARS = [
    ("hlg", "#ffff00", (713, 719, 316)),
    ("hlg", "#00ffff", (538, 709, 718)),
    ("hlg", "#00ff00", (512, 706, 296)),
    ("hlg", "#ff00ff", (651, 286, 705)),
    ("hlg", "#ff0000", (639, 269, 164)),
    ("hlg", "#0000ff", (227, 147, 702)),
    ("pq", "#ffff00", (568, 571, 381)),
    ("pq", "#00ffff", (484, 566, 571)),
    ("pq", "#00ff00", (474, 564, 368)),
    ("pq", "#ff00ff", (536, 361, 564)),
    ("pq", "#ff0000", (530, 351, 256)),
    ("pq", "#0000ff", (317, 236, 562)),
]


@pytest.mark.parametrize(("transfer", "srgb", "codes"), BARS)
def test_narrow_bars_have_their_published_codes(transfer: str, srgb: str, codes: tuple[int, int, int]) -> None:
    coded = np.array([int(srgb[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    assert 64 + 876 * carry_colour(coded, "bt2020", transfer) == pytest.approx(codes, abs=1.1)


@pytest.mark.parametrize(("transfer", "srgb", "codes"), BARS)
def test_chroma_follows_from_the_published_codes(transfer: str, srgb: str, codes: tuple[int, int, int]) -> None:
    red, green, blue = ((c - 64) / 876 for c in codes)
    luma = 0.2627 * red + 0.6780 * green + 0.0593 * blue
    expected = (224 * (blue - luma) / 1.8814, 224 * (red - luma) / 1.4746)
    assert chroma_of(srgb, "bt2020", False, transfer) == pytest.approx(expected, abs=0.5)


@pytest.mark.parametrize(("transfer", "white"), [("hlg", 0.75), ("pq", 0.58)])
def test_white_paper_stands_where_the_recommendation_puts_it(transfer: str, white: float) -> None:
    assert carry_colour(np.ones(3), "bt2020", transfer) == pytest.approx(np.full(3, white), abs=0.005)


def test_a_usual_clip_keeps_the_colour() -> None:
    colour = np.array([0.8, 0.1, 0.5])
    assert carry_colour(colour, "bt709", "bt709") is colour
