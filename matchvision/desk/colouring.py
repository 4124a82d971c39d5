"""What a person shows of the markers' colours: patches learnt from clicks, and the mask of what then looks alike."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from matchvision.arrays import FloatArray
from matchvision.desk.clipbook import encode_png
from matchvision.errors import MarkerError
from matchvision.markers import chroma_of_coded, expect_palette, label_colours, make_palette, measure_neutral
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.sheet import Colour

Mask = npt.NDArray[np.bool_]

#: Samples of a plane that are looked at on each side of a click.
_REACH: Final = 3
#: The same where the patch's size is wanted, and the share of its strength at which it ends there.
_FAR_REACH: Final = 24
_HALF_RATIO: Final = 0.5
#: Weaker than this, a patch is grey and teaches nothing [8-bit levels].
_FAINTEST: Final = 10.0
#: Samples of a patch that count: so strong beside the strongest, and so near to its hue.
_STRONG_RATIO, _NEAR_DEG = 0.7, 20.0
#: How dark the mask makes what is none of the colours [of 255].
_DIMMED: Final = 150


def learn_patch(frame: Frame, pixel: Sequence[float], facts: ClipFacts, neutral: FloatArray) -> str:
    """The colour about a clicked place as ``#rrggbb``, as it would look in light that leaves grey things grey.

    Raises
    ------
    MarkerError
        Where there is no colour.

    Notes
    -----
    The chroma of the strongest samples near the click, less the neutral's, turned back through the clip's matrix, range
    and curve; `matchvision.markers.chroma_of` of the answer is that chroma again.
    Checked by: tests/desk/test_colouring.py::test_a_learnt_colour_has_the_chroma_of_its_patch
    """
    patch = _cut_patch(frame, pixel, neutral)
    luma = cv2.resize(frame.luma, frame.blue.shape[::-1], interpolation=cv2.INTER_AREA)[patch.box]
    return find_srgb(patch.chroma[patch.own].mean(axis=0), float(luma[patch.own].mean()), facts)


def measure_patch(frame: Frame, pixel: Sequence[float], neutral: FloatArray) -> tuple[FloatArray, float]:
    """Middle (col, row) and longer half axis [px] of the coloured patch about a clicked place.

    Raises
    ------
    MarkerError
        Where there is no colour.

    Notes
    -----
    An ellipse's second moment along an axis is a quarter of that half axis squared.
    """
    patch = _cut_patch(frame, pixel, neutral, _FAR_REACH)
    step, offset = np.array(frame.chroma_step_px), np.array(frame.chroma_offset_px)
    rows, cols = np.nonzero(patch.own)
    at = np.stack([cols + patch.box[1].start, rows + patch.box[0].start], axis=-1) * step + offset
    middle = at.mean(axis=0)
    # A sample is a square of its own size.
    spread = np.atleast_2d(np.cov(at.T, bias=True)) if len(at) > 1 else np.zeros((2, 2))
    spread = spread + np.diag(step**2) / 12
    return middle, 2.0 * float(np.sqrt(np.linalg.eigvalsh(spread)[-1]))


@dataclass(frozen=True, eq=False)
class _Patch:
    """A box of chroma samples, their chroma about the neutral, and which of them are the clicked patch."""

    box: tuple[slice, slice]
    chroma: FloatArray
    own: Mask


def _cut_patch(frame: Frame, pixel: Sequence[float], neutral: FloatArray, reach: int = _REACH) -> _Patch:
    """The samples about a clicked place that are as strong as the strongest there, of its hue, and hang together."""
    step, offset = np.array(frame.chroma_step_px), np.array(frame.chroma_offset_px)
    at = np.rint((np.array(pixel, dtype=np.float64) - offset) / step).astype(int)
    rows, cols = frame.blue.shape
    box = np.s_[max(0, at[1] - reach) : at[1] + reach + 1, max(0, at[0] - reach) : at[0] + reach + 1]
    if not (0 <= at[0] < cols and 0 <= at[1] < rows):
        raise MarkerError("the click lies outside the picture", do="click a marker in the picture")
    chroma = np.stack([frame.blue[box], frame.red[box]], axis=-1).astype(np.float64) - neutral
    strength = np.linalg.norm(chroma, axis=-1)
    across, down = (np.arange(n) - min(reach, a) for n, a in zip(strength.shape[::-1], at, strict=True))
    near = np.hypot(*np.meshgrid(across, down))
    middle = np.where(near <= 1.5, strength, 0.0)
    peak = np.unravel_index(int(np.argmax(middle)), middle.shape)
    if strength[peak] < _FAINTEST:
        raise MarkerError(
            f"there is hardly any colour at column {pixel[0]:.0f}, row {pixel[1]:.0f}",
            do="click the middle of a marker; grey, black and white are no marker colours",
        )
    hue = chroma[peak] / strength[peak]
    share = _STRONG_RATIO if reach == _REACH else _HALF_RATIO
    alike = (strength > share * strength[peak]) & (chroma @ hue > np.cos(np.deg2rad(_NEAR_DEG)) * strength)
    _, labels = cv2.connectedComponents(alike.astype(np.uint8), connectivity=4)
    return _Patch(box, chroma, labels == labels[peak])


def find_neutral(frame: Frame, inside: Mask | None) -> FloatArray:
    """Chroma of what has no colour: the table's, as the analysis takes it, or a balanced clip's."""
    return np.array([128.0, 128.0]) if inside is None else measure_neutral(frame, inside)


def find_srgb(chroma: FloatArray, luma: float, facts: ClipFacts) -> str:
    """The sheet's colour that has this chroma about the neutral in the clip, and about this luma."""
    coding = (facts.matrix, facts.full_range, facts.transfer)
    bright = np.clip((luma - (0.0 if facts.full_range else 16.0)) / (255.0 if facts.full_range else 219.0), 0.05, 0.95)

    def off(srgb: FloatArray) -> FloatArray:
        return np.append(chroma_of_coded(srgb, *coding) - chroma, 0.05 * (np.mean(srgb) - bright))

    found = least_squares(off, np.full(3, bright), bounds=(0.0, 1.0), diff_step=[1e-3] * 3)
    return "#" + "".join(f"{round(255 * float(v)):02x}" for v in found.x)


def mask_picture(frame: Frame, facts: ClipFacts, colours: Mapping[str, Colour], inside: Mask | None) -> bytes:
    """A picture to lay over the clip's, as PNG: what counts as one of the colours is left clear, the rest dimmed.

    Parameters
    ----------
    inside : (rows, cols) bool array at half size, or None
        Where anything can stand over the table; None: everywhere.
    """
    half = (frame.luma.shape[0] // 2 + 1, frame.luma.shape[1] // 2 + 1)
    over = np.ones(half, dtype=np.bool_) if inside is None else inside
    palette = expect_palette(colours, facts.matrix, facts.full_range, facts.transfer)
    neutral = find_neutral(frame, inside)
    palette = make_palette(palette.names, palette.direction * palette.strength[:, None], neutral)
    labels = label_colours(frame, palette, over)
    picture = np.zeros((*labels.shape, 4), dtype=np.uint8)
    picture[..., 3] = _DIMMED
    picture[labels >= 0, 3] = 0
    size = (frame.luma.shape[1], frame.luma.shape[0])
    return encode_png(np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_NEAREST), dtype=np.uint8))
