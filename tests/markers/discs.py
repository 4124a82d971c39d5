"""Pictures of coloured discs drawn sample by sample, with every centre known."""

import numpy as np
import numpy.typing as npt

from matchvision.markers.centres import Windows
from matchvision.records.frames import Frame

FloatArray = npt.NDArray[np.float64]

#: Chroma (blue, red) about the neutral of three plain colours.
CHROMA = {"red": np.array([-20.0, 80.0]), "cyan": np.array([24.0, -82.0]), "green": np.array([-43.0, -73.0])}


def draw_discs(
    centres_px: FloatArray,
    radius_px: float,
    colours: list[str],
    rng: np.random.Generator,
    *,
    size: tuple[int, int] = (120, 200),
    offset: tuple[float, float] = (0.5, 0.5),
    noise: float = 1.5,
    luma_contrast: float = -70.0,
) -> Frame:
    """A 4:2:0 frame of discs on grey: each sample is the mean over its area of a softened picture, plus noise.

    ``offset`` says where chroma samples lie; their area is two pixels wide and high about that place. The noise is
    alike among neighbours, as decoded chroma's is.
    """
    rows, cols = size
    fine = 5
    luma = np.full((rows * fine, cols * fine), 190.0)
    blue, red = np.zeros_like(luma), np.zeros_like(luma)
    reach = int(fine * (radius_px + 6))
    for (col, row), colour in zip(centres_px, colours, strict=True):
        middle_row, middle_col = (round(fine * v + (fine - 1) / 2) for v in (row, col))
        part = np.s_[max(0, middle_row - reach) : middle_row + reach, max(0, middle_col - reach) : middle_col + reach]
        height, width = luma[part].shape
        y = (part[0].start + np.arange(height)[:, None] - (fine - 1) / 2) / fine - row
        x = (part[1].start + np.arange(width)[None, :] - (fine - 1) / 2) / fine - col
        inside = 1 / (1 + np.exp(-(radius_px - np.hypot(x, y)) / 0.6))
        luma[part] += luma_contrast * inside
        blue[part] += CHROMA[colour][0] * inside
        red[part] += CHROMA[colour][1] * inside
    luma_rows = luma.reshape(rows, fine, cols, fine).mean(axis=(1, 3))

    def halve(plane: FloatArray) -> FloatArray:
        shift_col, shift_row = (round((o - 0.5) * fine) for o in offset)
        moved = np.roll(plane, (-shift_row, -shift_col), axis=(0, 1))
        return np.asarray(moved.reshape(rows // 2, 2 * fine, cols // 2, 2 * fine).mean(axis=(1, 3)))

    def coded(plane: FloatArray, neutral: float) -> npt.NDArray[np.uint8]:
        grain = rng.normal(0, 1, plane.shape)
        for axis in (0, 1):
            grain = (np.roll(grain, 1, axis) + 2 * grain + np.roll(grain, -1, axis)) / np.sqrt(6)
        return np.clip(np.rint(plane + neutral + noise * grain), 0, 255).astype(np.uint8)

    return Frame(0, 0.0, coded(luma_rows, 0), coded(halve(blue), 128), coded(halve(red), 128), (2, 2), offset)


def windows_for(
    places_px: FloatArray, radius_px: float, colours: list[str], half_px: float = 10.0, sideways: float = 2.0
) -> Windows:
    """Windows about the places for round markers of one size."""
    chroma = np.array([CHROMA[c] for c in colours])
    strength = np.linalg.norm(chroma, axis=1)
    count = len(places_px)
    return Windows(
        place_px=np.asarray(places_px, dtype=np.float64),
        half_px=np.full(count, half_px),
        direction=chroma / strength[:, None],
        strength=strength,
        sideways=np.full(count, sideways),
        inverse=np.tile([1 / radius_px**2, 0.0, 1 / radius_px**2], (count, 1)),
        radius_px=np.full(count, radius_px),
        neutral=np.array([128.0, 128.0]),
    )
