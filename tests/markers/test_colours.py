"""Marker colours as the sheet's samples make them: mean chroma, spread, and the border to a neighbour."""

import numpy as np
import pytest

from matchvision.markers.colours import chroma_of, expect_palette
from matchvision.records.sheet import Colour

RED, ORANGE, CYAN = "#d7231e", "#f08a10", "#0ab4cd"


def angle_rad(srgb: str) -> float:
    blue, red = chroma_of(srgb, "bt709", False)
    return float(np.arctan2(red, blue))


def test_one_sample_is_the_colour_itself() -> None:
    palette = expect_palette({"red": Colour(srgb=RED), "cyan": Colour(srgb=CYAN)}, "bt709", False)
    assert palette.direction[0] * palette.strength[0] == pytest.approx(chroma_of(RED, "bt709", False))
    assert np.rad2deg(palette.gate_rad) == pytest.approx([25.0, 25.0])


def test_several_samples_share_their_mean_and_widen_the_gate() -> None:
    worn = ("#b03a2a", "#e04434")
    palette = expect_palette({"red": Colour(srgb=RED, samples=worn)}, "bt709", False)
    mean = np.mean([chroma_of(c, "bt709", False) for c in (RED, *worn)], axis=0)
    assert palette.direction[0] * palette.strength[0] == pytest.approx(mean)
    assert np.rad2deg(palette.gate_rad[0]) > 25.0
    alike = expect_palette({"red": Colour(srgb=RED, samples=(RED, RED))}, "bt709", False)
    assert np.rad2deg(alike.gate_rad[0]) == pytest.approx(25.0)


def test_the_border_is_where_two_colours_are_as_likely() -> None:
    apart = abs(angle_rad(RED) - angle_rad(ORANGE))
    even = expect_palette({"red": Colour(srgb=RED), "orange": Colour(srgb=ORANGE)}, "bt709", False)
    assert even.gate_rad == pytest.approx([apart / 2, apart / 2])
    # An orange that looks reddish and yellowish by turns takes a larger part of the angle between the two.
    samples = ("#ee7a14", "#f09a0c")
    uneven = expect_palette({"red": Colour(srgb=RED), "orange": Colour(srgb=ORANGE, samples=samples)}, "bt709", False)
    looks = np.array([angle_rad(c) for c in (ORANGE, *samples)])
    sigma = np.hypot(np.deg2rad(25 / 3), np.std(looks, ddof=1))
    assert uneven.gate_rad[1] / uneven.gate_rad[0] == pytest.approx(sigma / np.deg2rad(25 / 3), rel=0.02)
    assert uneven.gate_rad.sum() == pytest.approx(
        np.arccos(np.clip(uneven.direction[0] @ uneven.direction[1], -1, 1)), rel=1e-6
    )
