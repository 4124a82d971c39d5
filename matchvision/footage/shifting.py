"""Whether the scene lies where it lay: moves of the whole picture, whatever moves in it."""

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.records.camera import Calibration, Scene
from matchvision.records.frames import Frame

Luma = npt.NDArray[np.uint8]
Plane = npt.NDArray[np.float32]

#: Width of a small picture of the scene [px].
SMALL_WIDTH_PX: Final = 640
#: Pictures of which the small one is the median, so that what moves drops out.
_PICTURES: Final = 15
#: Blocks that are compared, across and down, the least texture of one [luma steps] and how alike both must look.
_BLOCKS: Final = (8, 5)
_LEAST_TEXTURE: Final = 4.0
_LEAST_LIKENESS: Final = 0.7
#: A block found within this of its old place [px of the small picture] is not sought any further.
_HARDLY_MOVED_PX: Final = 0.5
#: Turns in which a block's shift is refined.
_TURNS: Final = 6


def look_at_scene(frames: Sequence[Frame], kept: Calibration | None) -> Scene:
    """A small picture of the scene, and how far it lies off that of a kept calibration."""
    picture = sketch_scene(frames)
    if kept is None:
        return Scene(picture)
    moved_px, blocks = measure_shift(kept.picture, picture, kept.view.camera.width_px)
    return Scene(picture, moved_px, blocks)


def sketch_scene(frames: Sequence[Frame]) -> Luma:
    """The scene without what moves in it: median of some pictures, `SMALL_WIDTH_PX` wide."""
    chosen = np.unique(np.linspace(0, len(frames) - 1, _PICTURES).round().astype(int))
    small = [shrink(frames[k].luma) for k in chosen]
    return small[0] if len(small) == 1 else np.asarray(np.median(np.array(small), axis=0).round(), dtype=np.uint8)


def shrink(luma: Luma) -> Luma:
    """A picture `SMALL_WIDTH_PX` wide."""
    rows, cols = luma.shape
    size = (SMALL_WIDTH_PX, max(1, round(rows * SMALL_WIDTH_PX / cols)))
    return np.asarray(cv2.resize(np.ascontiguousarray(luma), size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def measure_shift(before: Luma, now: Luma, width_px: int) -> tuple[float, int]:
    """How far the scene of one small picture lies off in another [px of a picture so wide], and by how many blocks.

    Returns
    -------
    float, int
        The median over the blocks that can tell; NaN, 0 where none can.

    Notes
    -----
    Block by block, whole pixels by phase correlation (C. D. Kuglin and D. C. Hines, "The phase correlation image
    alignment method", Proc. IEEE Int. Conf. on Cybernetics and Society, 1975, 163), which pulls fractions towards
    whole pixels, and then by least squares on the gradient (B. D. Lucas and T. Kanade, "An iterative image
    registration technique with an application to stereo vision", Proc. IJCAI 1981, 674). The median over the blocks
    leaves out machines and people, and tells a turn of the camera too, which a single shift would not.
    Checked by: tests/footage/test_looking.py::test_shifts_of_a_known_scene_are_measured
    """
    if before.shape != now.shape:
        return float("nan"), 0
    rows, cols = before.shape
    wide, tall = cols // _BLOCKS[0], rows // _BLOCKS[1]
    window = np.asarray(cv2.createHanningWindow((wide, tall), cv2.CV_32F), dtype=np.float32)
    moves = []
    whole = now.astype(np.float32)
    for top in range(0, rows - tall + 1, tall):
        for left in range(0, cols - wide + 1, wide):
            first = before[top : top + tall, left : left + wide].astype(np.float32)
            second = whole[top : top + tall, left : left + wide]
            if min(float(first.std()), float(second.std())) < _LEAST_TEXTURE:
                continue
            middle = (left + (wide - 1) / 2, top + (tall - 1) / 2)
            # Mostly nothing has moved, and the search by whole pixels can be spared.
            refined = _refine(first, whole, middle, np.zeros(2), window)
            if refined is None or np.hypot(*refined) > _HARDLY_MOVED_PX:
                # It lays the window over the very arrays that it is given.
                (right, down), _ = cv2.phaseCorrelate(first.copy(), second.copy(), window)
                refined = _refine(first, whole, middle, np.rint([right, down]), window)
            if refined is not None:
                moves.append(float(np.hypot(*refined)))
    return (float(np.median(moves)) * width_px / cols if moves else float("nan")), len(moves)


def _refine(
    first: Plane, whole: Plane, middle: tuple[float, float], shift: npt.NDArray[np.float64], window: Plane
) -> npt.NDArray[np.float64] | None:
    """Shift (right, down) at which ``whole`` looks most like ``first``; None where it does not look alike."""
    by_row, by_col = np.gradient(first)
    slope = np.stack([by_col.ravel(), by_row.ravel()], axis=1).astype(np.float64)
    weight = window.ravel().astype(np.float64)
    normal = slope.T @ (weight[:, None] * slope)
    if np.linalg.det(normal) <= 1e-3 * np.trace(normal) ** 2 / 4:
        return None  # an edge alone does not tell a shift along it
    size = (first.shape[1], first.shape[0])
    there = first
    for _ in range(_TURNS):
        there = np.asarray(cv2.getRectSubPix(whole, size, (middle[0] + shift[0], middle[1] + shift[1])))
        step = np.linalg.solve(normal, slope.T @ (weight * (first - there).ravel()))
        shift = shift + step
        if np.hypot(*step) < 1e-3:
            break
    one, other = first - np.mean(first), there - np.mean(there)
    likeness = np.sum(window * one * other) / np.sqrt(np.sum(window * one**2) * np.sum(window * other**2) + 1e-9)
    return shift if likeness > _LEAST_LIKENESS else None
