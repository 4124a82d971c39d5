"""Watches the table's surface, on a coarse grid, for whatever hides it: hands above all."""

from array import array
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray
from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import Camera
from matchvision.records.foreign import ForeignLook
from matchvision.records.frames import Frame
from matchvision.records.growing import GrowingRows
from matchvision.records.sheet import TableSheet

Samples = npt.NDArray[np.int16]
Levels = npt.NDArray[np.uint8]

#: Distance of the grid's places [m]: a finger covers one or two, a palm ten.
GRID_M: Final = 0.025
#: How often the table is looked at [s].
EVERY_S: Final = 0.08
#: So many looks share one background, the median of each place.
LOOKS_A_BLOCK: Final = 500
#: So many looks are compared at a time: all at once would take ten times the memory that they themselves take.
LOOKS_AT_ONCE: Final = 32
#: Colour differs by more than this [levels of 8 bits], or than six times the place's own noise.
COLOUR_LEVELS: Final = 10
#: A shadow leaves at least this share of the table's light; what is darker, or brighter than the table, is a body.
DARKEST_SHADOW: Final = 0.35
BRIGHTER_LEVELS: Final = 45
#: Luma differs by more than this, or than six times the place's own noise, where something hides or shades it.
SHADE_LEVELS: Final = 20
#: The usual is the median of so many looks, and the whole table's change that of every so many places.
LOOKS_FOR_THE_USUAL: Final = 40
SPARSE: Final = 8
#: The luma of black, where ratios begin; a few levels off for full range clips matters nothing here.
BLACK: Final = 16


class CoverWatch:
    """Looks at the table's places in some of the frames and tells which were hidden."""

    def __init__(self, table: TableSheet, *, moves: bool) -> None:
        half_x, half_y = table.length_m / 2 - GRID_M / 2, table.width_m / 2 - GRID_M / 2
        self._x = np.linspace(-half_x, half_x, max(2, round(2 * half_x / GRID_M) + 1))
        self._y = np.linspace(-half_y, half_y, max(2, round(2 * half_y / GRID_M) + 1))
        grid_x, grid_y = np.meshgrid(self._x, self._y)
        height = surface_height(table.profile_m, grid_x.ravel())
        self._places = np.stack([grid_x.ravel(), grid_y.ravel(), height], axis=-1)
        self._moves, self._next_s = moves, -np.inf
        self._pixels: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]] | None = None
        self._eye_m = np.full(3, np.nan)
        # One block, used again and again; a look's levels fit in 8 bits.
        self._looks: Levels = np.empty((LOOKS_A_BLOCK, 3, len(self._places)), dtype=np.uint8)
        self._waiting = 0
        self._clip_s = array("d")
        self._eyes = GrowingRows((3,))
        packed_bytes = -(-len(self._places) // 8)
        self._packed, self._dim = (GrowingRows((packed_bytes,), np.uint8) for _ in range(2))

    def see(self, frame: Frame, camera: Camera) -> None:
        """Take in a frame; most are passed over."""
        if frame.clip_s < self._next_s:
            return
        self._next_s = frame.clip_s + EVERY_S
        if self._pixels is None or self._moves:
            self._pixels = self._aim(camera, frame)
            self._eye_m = -rotation_matrix(camera.parameters[9:12]).T @ camera.parameters[12:15]
        col, row = self._pixels
        step_col, step_row = frame.chroma_step_px
        look = self._looks[self._waiting]
        look[0] = (frame.luma[row, col].astype(np.int16) + frame.luma[row, col + 1]) // 2
        look[1], look[2] = (plane[row // step_row, col // step_col] for plane in (frame.blue, frame.red))
        self._waiting += 1
        self._clip_s.append(frame.clip_s)
        self._eyes.append(self._eye_m)
        if self._waiting == LOOKS_A_BLOCK:
            self._digest()

    def look(self) -> ForeignLook | None:
        """Which places were hidden when; None where there were too few looks for a background."""
        if len(self._clip_s) < 5:
            return None
        self._digest()
        return ForeignLook(
            np.array(self._clip_s),
            self._x,
            self._y,
            self._packed.whole(),
            self._dim.whole(),
            self._eyes.whole(),
        )

    def _aim(self, camera: Camera, frame: Frame) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Pixels of the grid's places, held inside the picture."""
        rows, cols = frame.luma.shape
        pixels = np.nan_to_num(project_points(camera.parameters, self._places), nan=0.0)
        at = np.rint(pixels).astype(np.int64)
        return np.clip(at[:, 0], 0, cols - 2), np.clip(at[:, 1], 0, rows - 1)

    def _digest(self) -> None:
        """Compare the looks that wait with their own background, each place with its own noise."""
        if not self._waiting:
            return
        looks, self._waiting = self._looks[: self._waiting], 0
        # A few dozen looks, spread evenly, know the usual as well as all of them.
        some = looks[:: max(1, len(looks) // LOOKS_FOR_THE_USUAL)].astype(np.int16)
        usual = _middle(some)
        noise = 1.48 * _middle(np.abs(_take_off(some, usual))).astype(np.float32)
        for first in range(0, len(looks), LOOKS_AT_ONCE):
            off = _take_off(looks[first : first + LOOKS_AT_ONCE].astype(np.int16), usual)
            covered, loud = _weigh(off, usual, noise)
            self._packed.extend(np.packbits(covered, axis=1))
            self._dim.extend(np.packbits(loud, axis=1))


def _take_off(looks: Samples, usual: Samples) -> Samples:
    """What looks differ from the usual, exposure and flicker aside, which change the whole table at once."""
    off = looks - usual
    off -= _middle(np.moveaxis(off[:, :, ::SPARSE], 2, 0))[..., None]
    return off


def _weigh(off: Samples, usual: Samples, noise: npt.NDArray[np.float32]) -> tuple[BoolArray, BoolArray]:
    """Which places are hidden, and which are hidden or in shade."""
    luma, blue, red = off[:, 0], off[:, 1], off[:, 2]
    least_colour = np.maximum(COLOUR_LEVELS, 6 * np.hypot(noise[1], noise[2])).astype(np.int32)
    coloured = blue.astype(np.int32) ** 2 + red.astype(np.int32) ** 2 > least_colour**2
    loud = np.abs(luma) > np.maximum(SHADE_LEVELS, 6 * noise[0]).astype(np.int16)
    brighter = luma > BRIGHTER_LEVELS
    darker = luma < (-(1 - DARKEST_SHADOW) * (usual[0] - BLACK)).astype(np.int16)
    return coloured | (loud & (brighter | darker)), loud


def _middle(values: Samples) -> Samples:
    """The upper median along the first axis: a value that occurs, so that whole levels stay whole."""
    half = len(values) // 2
    return np.asarray(np.partition(values, half, axis=0)[half])
