"""Colours: text is legible on what it stands on, and the two sides differ for every kind of eye."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.report.palette import DARK, LIGHT


def linear(colour: str) -> npt.NDArray[np.float64]:
    """Linear red, green and blue of an sRGB colour (IEC 61966-2-1)."""
    c = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.1."""
    a, b = sorted(float(linear(c) @ (0.2126, 0.7152, 0.0722)) for c in (one, other))
    return (b + 0.05) / (a + 0.05)


def test_contrast_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_is_legible_where_it_stands(colours: dict[str, str]) -> None:
    for text in ("ink", "soft", "minus", "plus", "warn"):
        for ground in ("paper", "card"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for side in ("minus", "plus"):
        assert contrast(colours[side], colours[f"{side}-tint"]) >= 4.5, side


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_stand_out_from_their_ground(colours: dict[str, str]) -> None:
    for role in ("minus", "plus", "fused", "link", "stretch", "inertia", "momentum", "drive"):
        assert contrast(colours[role], colours["card"]) >= 3.0, role


#: Linear RGB as a dichromat sees it, severity 1 (Machado, Oliveira & Fernandes 2009, from memory): red-, green-blind.
SEEN = {
    "red-blind": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "green-blind": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}


@pytest.mark.parametrize("eye", sorted(SEEN))
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_sides_stay_apart_in_colour_blindness(colours: dict[str, str], eye: str) -> None:
    minus, plus = (np.array(SEEN[eye]) @ linear(colours[side]) for side in ("minus", "plus"))
    assert float(np.linalg.norm(minus - plus)) > 0.2
