"""Drawing straight on a picture's luma and chroma planes, so that marking a clip needs no colour conversion."""

import math
import warnings
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
import numpy.typing as npt

# Slow to load, and only words need it.
if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

Plane = npt.NDArray[np.uint8]
Point = tuple[float, float]
Colour = tuple[int, int, int]

WHITE: Final[Colour] = (255, 255, 255)
INK: Final[Colour] = (20, 26, 30)

#: Luma weights of red and blue, ITU-R BT.601, BT.709 and BT.2020.
_WEIGHTS: Final = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722), "bt2020": (0.2627, 0.0593)}
#: Fractional bits of the coordinates given to the drawing routines.
_SHIFT: Final = 3


def _as_paper(value: float, transfer: str) -> float:
    """The code under an HDR curve of an sRGB value whose white is white paper.

    Notes
    -----
    White paper at 203 cd/m² in PQ and at 75 % in HLG (ITU-R BT.2408); curves by ITU-R BT.2100-2, tables 4 and 5. The
    primaries are left as they are: drawn colours look somewhat stronger on a wide screen, which harms nothing.
    Checked by: tests/report/test_marking.py::test_what_is_drawn_in_hdr_is_as_bright_as_paper
    """
    if transfer not in {"pq", "hlg"}:
        return value
    light = value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
    if transfer == "pq":
        power = (light * 203 / 10_000) ** (2610 / 16384)
        return float(((3424 / 4096 + 2413 / 128 * power) / (1 + 2392 / 128 * power)) ** (2523 / 32))
    scene = light * (math.exp((0.75 - 0.55991073) / 0.17883277) + 0.28466892) / 12
    if scene <= 1 / 12:
        return math.sqrt(3 * scene)
    return 0.17883277 * math.log(12 * scene - 0.28466892) + 0.55991073


class Canvas:
    """A picture with 4:2:0 chroma in one block of memory, and strokes, discs, plates and text on it.

    Coordinates are (column, row) in luma pixels, an integer being a pixel's centre; lengths in luma pixels.

    Parameters
    ----------
    width_px, height_px : int
        Even numbers.
    matrix : "bt709", "bt601" or "bt2020"
    full_range : bool
    transfer : str, optional
        The pictures' curve; under those of HDR, "pq" and "hlg", what is drawn is as bright as paper, not as lamps.
    """

    def __init__(self, width_px: int, height_px: int, matrix: str, *, full_range: bool, transfer: str = "") -> None:
        self.width_px, self.height_px = width_px, height_px
        self.matrix, self.full_range, self.transfer = matrix, full_range, transfer
        self.block = np.zeros((height_px * 3 // 2, width_px), np.uint8)
        flat, luma = self.block.reshape(-1), width_px * height_px
        self.luma: Plane = flat[:luma].reshape(height_px, width_px)
        self.blue: Plane = flat[luma : luma * 5 // 4].reshape(height_px // 2, width_px // 2)
        self.red: Plane = flat[luma * 5 // 4 :].reshape(height_px // 2, width_px // 2)

    def show(self, luma: Plane, blue: Plane, red: Plane) -> None:
        """Put a picture on the canvas; what exceeds its size is cut off."""
        for target, source in ((self.luma, luma), (self.blue, blue), (self.red, red)):
            np.copyto(target, source[: target.shape[0], : target.shape[1]])

    def encode(self, colour: Colour) -> tuple[int, int, int]:
        """Luma and chroma levels of a red, green, blue colour (ITU-R BT.601 / BT.709 / BT.2020)."""
        weight_red, weight_blue = _WEIGHTS[self.matrix]
        red, green, blue = (_as_paper(c / 255, self.transfer) for c in colour)
        luma = weight_red * red + (1 - weight_red - weight_blue) * green + weight_blue * blue
        cb, cr = (blue - luma) / (2 * (1 - weight_blue)), (red - luma) / (2 * (1 - weight_red))
        if self.full_range:
            return round(255 * luma), round(min(255.0, 128 + 255 * cb)), round(min(255.0, 128 + 255 * cr))
        return round(16 + 219 * luma), round(128 + 224 * cb), round(128 + 224 * cr)

    def stroke(self, points: list[Point], colour: Colour, width_px: float) -> None:
        """A line through the points."""
        if len(points) < 2:
            return
        for plane, level, step in self._planes(colour):
            scaled = self._fixed(points, step)
            thick = max(1, round(width_px / step))
            cv2.polylines(plane, [scaled], False, level, thick, cv2.LINE_AA, _SHIFT)

    def ring(self, centre: Point, radius_px: float, colour: Colour, width_px: float) -> None:
        """A circle; filled where ``width_px`` is 0."""
        for plane, level, step in self._planes(colour):
            (at,) = self._fixed([centre], step)
            radius = max(1, round(radius_px / step * (1 << _SHIFT)))
            thick = -1 if width_px == 0 else max(1, round(width_px / step))
            cv2.circle(plane, (int(at[0]), int(at[1])), radius, level, thick, cv2.LINE_AA, _SHIFT)

    def arrow(self, start: Point, tip: Point, colour: Colour, width_px: float) -> None:
        """A straight arrow with a dark rim, so that it shows on any table."""
        along = np.subtract(tip, start)
        length = float(np.hypot(*along))
        if length < 1:
            return
        along = along / length
        across = np.array([-along[1], along[0]])
        head = min(4.5 * width_px, length)
        neck = np.subtract(tip, head * along)
        half, wing = 0.5 * width_px * across, 0.55 * head * across
        shape = [start + half, neck + half, neck + wing, tip, neck - wing, neck - half, start - half]
        corners = [(float(c), float(r)) for c, r in shape]
        for plane, level, step in self._planes(colour):
            cv2.fillPoly(plane, [self._fixed(corners, step)], level, cv2.LINE_AA, _SHIFT)
        self.stroke([*corners, corners[0]], INK, 0.3 * width_px)

    def plate(self, left: float, top: float, right: float, bottom: float, colour: Colour, alpha: float) -> None:
        """A rectangle laid over the picture."""
        for plane, level, step in self._planes(colour):
            rows = slice(max(0, int(top // step)), max(0, int(bottom // step)))
            cols = slice(max(0, int(left // step)), max(0, int(right // step)))
            part = plane[rows, cols]
            if part.size:
                # a·x + b stays within 0 … 255 for any alpha between 0 and 1.
                cv2.convertScaleAbs(part, part, 1 - alpha, alpha * level)

    def text(self, words: str, left: float, top: float, size_px: int, colour: Colour) -> None:
        """Words whose capitals are about 0.73 of ``size_px`` high; ``left, top`` is the upper left corner."""
        mask = render_words(words, size_px)
        col, row = 2 * round(left / 2), 2 * round(top / 2)
        levels = self.encode(colour)
        self._blend(self.luma, mask, col, row, levels[0])
        half = _halve(words, size_px)
        self._blend(self.blue, half, col // 2, row // 2, levels[1])
        self._blend(self.red, half, col // 2, row // 2, levels[2])

    @staticmethod
    def _blend(plane: Plane, mask: npt.NDArray[np.float32], col: int, row: int, level: int) -> None:
        top, left = max(0, -row), max(0, -col)
        bottom = min(mask.shape[0], plane.shape[0] - row)
        right = min(mask.shape[1], plane.shape[1] - col)
        if bottom <= top or right <= left:
            return
        cover = mask[top:bottom, left:right]
        part = plane[row + top : row + bottom, col + left : col + right]
        part[:] = (part + cover * (level - part.astype(np.float32))).astype(np.uint8)

    def _planes(self, colour: Colour) -> tuple[tuple[Plane, int, int], ...]:
        luma, blue, red = self.encode(colour)
        return (self.luma, luma, 1), (self.blue, blue, 2), (self.red, red, 2)

    @staticmethod
    def _fixed(points: list[Point], step: int) -> npt.NDArray[np.int32]:
        scaled = np.clip(np.asarray(points, dtype=np.float64), -20000, 20000)
        return np.rint(scaled / step * (1 << _SHIFT)).astype(np.int32)


@lru_cache(maxsize=8)
def _font(size_px: int) -> "FT2Font":
    import matplotlib as mpl
    from matplotlib.ft2font import FT2Font

    font = FT2Font(str(Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"))
    font.set_size(size_px, 72)
    return font


@lru_cache(maxsize=512)
def render_words(words: str, size_px: int) -> npt.NDArray[np.float32]:
    """How much each pixel is covered by the words, 0 to 1; every row of text of one size has the same height."""
    font = _font(size_px)
    with warnings.catch_warnings():
        # A name in letters that the font lacks is drawn as boxes; that is no reason to trouble anybody.
        warnings.filterwarnings("ignore", message="Glyph")
        font.set_text(words, 0.0)
        font.draw_glyphs_to_bitmap(antialiased=True)
    image = np.asarray(font.get_image(), dtype=np.float32) / 255
    below = round(font.get_descent() / 64)
    height = 2 * round(0.625 * size_px)
    # The baseline stands at the same row whatever letters there are.
    top = max(0, round(0.98 * size_px) - (image.shape[0] - below))
    sheet = np.zeros((max(height, top + image.shape[0]), image.shape[1] + image.shape[1] % 2), np.float32)
    sheet[top : top + image.shape[0], : image.shape[1]] = image
    return sheet


@lru_cache(maxsize=512)
def _halve(words: str, size_px: int) -> npt.NDArray[np.float32]:
    mask = render_words(words, size_px)
    rows, cols = mask.shape[0] // 2, mask.shape[1] // 2
    return np.asarray(cv2.resize(mask[: 2 * rows, : 2 * cols], (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def measure_words(words: str, size_px: int) -> float:
    """Width of the words [px]."""
    return float(render_words(words, size_px).shape[1])


def colours_of(luma: Plane, blue: Plane, red: Plane, matrix: str, *, full_range: bool) -> Plane:
    """Red, green and blue (rows, cols, 3) of planes of one size (ITU-R BT.601 / BT.709 / BT.2020), 8 bits."""
    weight_red, weight_blue = _WEIGHTS[matrix]
    levels = (255.0, 255.0, 0.0) if full_range else (219.0, 224.0, 16.0)
    y = (luma.astype(np.float32) - levels[2]) / levels[0]
    cb, cr = ((plane.astype(np.float32) - 128) / levels[1] for plane in (blue, red))
    r, b = y + 2 * (1 - weight_red) * cr, y + 2 * (1 - weight_blue) * cb
    g = (y - weight_red * r - weight_blue * b) / (1 - weight_red - weight_blue)
    return np.asarray(np.clip(255 * np.stack([r, g, b], axis=-1) + 0.5, 0, 255), dtype=np.uint8)
