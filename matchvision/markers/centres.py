"""Sub-pixel centres of coloured discs in small windows of the chroma planes, all windows of a frame in one call.

In each window the best place is sought by the sum of colour likeness over the marker's size, then a blurred disc of
the predicted ellipse is fitted there by least squares, with its contrast and the background free.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.markers import spotting
from matchvision.records.frames import Frame

#: Residuals of neighbouring samples are alike (interpolated chroma, coded in blocks): the fit's covariance, which
#: takes them as independent, is too small by about this factor in standard uncertainty.
ALIKE_RATIO: Final = 1.6
#: What no fit residual shows: sticker edges, shading of spheres and the codec's prediction [px].
FLOOR_PX: Final = 0.10
#: Contrast against the marker's own, and misfit, within which a centre is that of a whole marker in plain sight.
CONTRASTS: Final = (0.45, 1.9)
LARGEST_MISFIT: Final = 0.30


@dataclass(frozen=True, eq=False)
class Windows:
    """Where to look, for m markers.

    Attributes
    ----------
    place_px : (m, 2) float array
        Predicted places (col, row); NaN: do not look.
    half_px : (m,) float array
        Half the side of the square searched.
    direction, strength, sideways : (m, 2), (m,), (m,) float arrays
        Of the marker's colour, see `Palette`.
    inverse, radius_px : (m, 3), (m,) float arrays
        Of its picture, see `Shapes`.
    neutral : (2,) float array
    """

    place_px: FloatArray
    half_px: FloatArray
    direction: FloatArray
    strength: FloatArray
    sideways: FloatArray
    inverse: FloatArray
    radius_px: FloatArray
    neutral: FloatArray


@dataclass(frozen=True, eq=False)
class Centres:
    """What was found in m windows; NaN where nothing was.

    Attributes
    ----------
    place_px, u_px : (m, 2) float arrays
        Middle of the picture and its standard uncertainty.
    contrast : (m,) float array
        Fitted chroma over the colour's strength.
    misfit : (m,) float array
        Rms residual over the fitted chroma.
    likeness : (m,) float array
        Colour likeness of the place chosen, 0 to about 1.
    across : (m,) float array
        Fitted chroma at a right angle to the colour's direction, towards (red, -blue) of it, over the strength.
    """

    place_px: FloatArray
    u_px: FloatArray
    contrast: FloatArray
    misfit: FloatArray
    likeness: FloatArray
    across: FloatArray


def find_centres(frame: Frame, windows: Windows) -> Centres:
    """Search and fit all windows of a frame.

    Notes
    -----
    The disc's edge is a logistic step of softness `EDGE_PX` in the distance from the ellipse. Uncertainty is the fit's
    own (residual variance times the inverse normal matrix), widened by `ALIKE_RATIO` and joined with `FLOOR_PX`.
    Checked by: tests/markers/test_centres.py::test_stated_uncertainty_is_true_on_synthetic_discs
    """
    count = len(windows.place_px)
    answer = np.full((count, spotting.COLUMNS), np.nan)
    spotting.search_and_fit()(
        frame.blue,
        frame.red,
        np.array([*frame.chroma_step_px, *frame.chroma_offset_px], dtype=np.float64),
        _row_major(windows.place_px),
        _row_major(windows.half_px),
        _row_major(windows.direction),
        _row_major(windows.strength),
        _row_major(windows.sideways),
        _row_major(windows.inverse),
        _row_major(windows.radius_px),
        _row_major(windows.neutral),
        answer,
    )
    u_px = np.sqrt((ALIKE_RATIO * answer[:, spotting.U_COL : spotting.U_ROW + 1]) ** 2 + FLOOR_PX**2)
    of = (spotting.CONTRAST, spotting.MISFIT, spotting.LIKENESS, spotting.ACROSS)
    return Centres(answer[:, : spotting.ROW + 1], u_px, *(answer[:, column] for column in of))


def is_clear(centres: Centres) -> npt.NDArray[np.bool_]:
    """Whether each centre is that of a whole marker in plain sight, (m,)."""
    return np.asarray(
        (centres.contrast > CONTRASTS[0]) & (centres.contrast < CONTRASTS[1]) & (centres.misfit < LARGEST_MISFIT),
        dtype=np.bool_,
    )


def choose_centres(first: npt.NDArray[np.bool_], one: Centres, other: Centres) -> Centres:
    """Centres of ``one`` where ``first`` is true, else of ``other``."""
    return Centres(
        np.where(first[:, None], one.place_px, other.place_px),
        np.where(first[:, None], one.u_px, other.u_px),
        np.where(first, one.contrast, other.contrast),
        np.where(first, one.misfit, other.misfit),
        np.where(first, one.likeness, other.likeness),
        np.where(first, one.across, other.across),
    )


def _row_major(values: FloatArray) -> FloatArray:
    return np.ascontiguousarray(values, dtype=np.float64)
