"""What a marker colour looks like in the decoder's chroma planes, tolerant of lamp and shadow."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.transfers import carry_colour
from matchvision.records.sheet import Colour
from matchvision.records.tracks import MarkerPlan

#: Weights (red, blue) of luma by the clip's matrix: ITU-R BT.601, BT.709, BT.2020.
_LUMA_WEIGHTS: Final = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722), "bt2020": (0.2627, 0.0593)}
#: A colour may look turned so far in the chroma plane by lamp and white balance [deg].
_WIDEST_GATE_DEG: Final = 25.0
_NARROWEST_GATE_DEG: Final = 8.0
#: Standard deviation of the angle of one colour under several lamps, of which the widest gate is three; and the gate
#: beyond which no spread of samples leads: a neighbour at a right angle must stay another colour.
_USUAL_SPREAD_DEG: Final = _WIDEST_GATE_DEG / 3
_WIDEST_OF_ALL_DEG: Final = 40.0


@dataclass(frozen=True, eq=False)
class Palette:
    """The marker colours as vectors (blue, red) of chroma about the neutral.

    Attributes
    ----------
    names : k colour names
    direction : (k, 2) float array
        Unit vectors.
    strength : (k,) float array
        Chroma of a whole marker, in 8-bit levels.
    gate_rad : (k,) float array
        Half the angle within which a chroma counts as that colour; gates do not overlap.
    neutral : (2,) float array
        Chroma of what has no colour, as the clip shows it (128 in a balanced clip).
    """

    names: tuple[str, ...]
    direction: FloatArray
    strength: FloatArray
    gate_rad: FloatArray
    neutral: FloatArray

    @property
    def sideways(self) -> FloatArray:
        """How strongly chroma across a colour's direction counts against it, (k,)."""
        return np.asarray(1 / np.tan(self.gate_rad), dtype=np.float64)


def chroma_of(srgb: str, matrix: str, full_range: bool, transfer: str = "") -> FloatArray:
    """Chroma (blue, red) about the neutral, in 8-bit levels, of a colour written as ``#rrggbb``.

    Notes
    -----
    Cb = (B' − Y') / (2 (1 − Kb)), Cr = (R' − Y') / (2 (1 − Kr)), scaled by 224 levels or 255 at full range:
    ITU-R BT.601-7 and BT.709-6, section 3. In high dynamic range the colour is first carried into the clip's primaries
    and curve (`carry_colour`).
    Checked by: tests/published/test_chroma_codes.py::test_colour_bars_have_their_published_codes
    """
    coded = np.array([int(srgb[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return chroma_of_coded(coded, matrix, full_range, transfer)


def chroma_of_coded(coded: FloatArray, matrix: str, full_range: bool, transfer: str = "") -> FloatArray:
    """`chroma_of` for coded red, green and blue (3,) from 0 to 1."""
    red, green, blue = carry_colour(coded, matrix, transfer).tolist()
    weight_red, weight_blue = _LUMA_WEIGHTS[matrix]
    luma = weight_red * red + (1 - weight_red - weight_blue) * green + weight_blue * blue
    levels = 255.0 if full_range else 224.0
    return levels * np.array([(blue - luma) / (2 * (1 - weight_blue)), (red - luma) / (2 * (1 - weight_red))])


def expect_palette(colours: Mapping[str, Colour], matrix: str, full_range: bool, transfer: str = "") -> Palette:
    """The palette that the sheet's colours promise in a clip of this matrix, range and transfer curve.

    Of a colour with several samples it holds their mean chroma and how widely they spread in angle.

    Notes
    -----
    Checked by: tests/markers/test_colours.py::test_the_border_is_where_two_colours_are_as_likely
    """
    names = tuple(colours)
    chroma, spread_rad = np.zeros((len(names), 2)), np.zeros(len(names))
    for k, name in enumerate(names):
        looks = (colours[name].srgb, *colours[name].samples)
        samples = np.array([chroma_of(srgb, matrix, full_range, transfer) for srgb in looks])
        chroma[k] = samples.mean(axis=0)
        if len(samples) > 1:
            off = np.arctan2(samples[:, 1], samples[:, 0]) - np.arctan2(chroma[k, 1], chroma[k, 0])
            spread_rad[k] = np.sqrt((np.angle(np.exp(1j * off)) ** 2).sum() / (len(samples) - 1))
    return make_palette(names, chroma, np.array([128.0, 128.0]), spread_rad)


def make_palette(
    names: tuple[str, ...], chroma: FloatArray, neutral: FloatArray, spread_rad: FloatArray | None = None
) -> Palette:
    """Palette from the colours' chroma vectors about the neutral, (k, 2).

    ``spread_rad`` (k,) is the standard deviation of each colour's samples in angle, beyond what lamps do to all alike.
    The gates of two neighbours meet where both are as many standard deviations away.
    """
    strength = np.maximum(np.linalg.norm(chroma, axis=1), 1e-6)
    direction = chroma / strength[:, None]
    sigma = np.full(len(names), np.deg2rad(_USUAL_SPREAD_DEG))
    if spread_rad is not None:
        sigma = np.hypot(sigma, spread_rad)
    gate = np.deg2rad(_WIDEST_GATE_DEG) * sigma / np.deg2rad(_USUAL_SPREAD_DEG)
    gate = np.minimum(gate, np.deg2rad(_WIDEST_OF_ALL_DEG))
    for i in range(len(names)):
        cosine = np.clip(direction @ direction[i], -1, 1)
        # Two names of one and the same colour do not compete.
        apart = np.arccos(cosine)
        others = apart > np.deg2rad(3)
        if others.any():
            border = (apart * sigma[i] / (sigma[i] + sigma))[others].min()
            gate[i] = np.clip(border, np.deg2rad(_NARROWEST_GATE_DEG), gate[i])
    return Palette(names, direction, strength, gate, neutral)


def chroma_of_plans(plans: Sequence[MarkerPlan], palette: Palette) -> FloatArray:
    """Chroma (m, 2) that the palette promises for each marker; that of a colour the sheet lacks is NaN."""
    chroma = np.full((len(plans), 2), np.nan)
    for i, plan in enumerate(plans):
        if plan.colour in palette.names:
            k = palette.names.index(plan.colour)
            chroma[i] = palette.direction[k] * palette.strength[k]
    return chroma


def learn_chroma(plans: Sequence[MarkerPlan], seen: Mapping[int, FloatArray], chroma: FloatArray) -> FloatArray:
    """Chroma (m, 2) of all markers after those of some were seen; one not seen takes that of its likes.

    Parameters
    ----------
    seen : (2,) chroma vector by marker column
    chroma : (m, 2) float array
        What was known before.
    """
    learnt = chroma.copy()
    for i, plan in enumerate(plans):
        likes = [c for j, c in seen.items() if plans[j].colour == plan.colour and plans[j].kind == plan.kind]
        if i in seen:
            learnt[i] = seen[i]
        elif likes:
            learnt[i] = np.median(np.array(likes), axis=0)
    return learnt
