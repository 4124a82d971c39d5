"""The table's own outline: four long edges whose straightness tells of the lens.

A table's edge is never exactly where ``length_m`` and ``width_m`` put it: it is rounded, overhangs, bows. But it is
straight to a fraction of a millimetre over two metres, and it runs near the rim of the picture, where distortion is
greatest. So each edge may shift, turn and bow as a whole, and what is left is held against the camera.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian, parameter_jacobian
from matchvision.geometry.profile import surface_height
from matchvision.records.results import Contradiction
from matchvision.records.sheet import TableSheet

Luma = npt.NDArray[np.uint8]

SIDES = ("near long side", "far long side", "-x end", "+x end")
#: Places looked at along an edge, joined to so many points; shares of its length, away from the corners' rounding.
_PLACES, _JOINED, _MARGIN = 108, 9, 0.03
#: An edge is looked for this far from where it is expected [px], in steps of half a pixel.
_REACH_PX, _STEP_PX = 9.0, 0.5
#: Least steepness of an edge [luma steps per px], and what a place may be off from the line through the others [px].
_LEAST_STEEPNESS, _STRAY_PX = 6.0, 1.0
#: Share of the places that must show the edge for it to be clearly visible.
_CLEAR_SHARE = 0.5
#: An edge as a whole: shift, turn (at its ends) and bow [m]; and its unevenness from place to place [m].
U_SHIFT_M, U_TURN_M, U_BOW_M, U_UNEVEN_M = 0.0015, 0.001, 0.0005, 0.0002
#: What compression and sampling leave on a joined point [px].
_FLOOR_PX = 0.06
#: An edge further off than this many times what it may be does not belong to the size that the sheet gives.
_CONSISTENT = 4.0


@dataclass(frozen=True, eq=False)
class Outline:
    """Points on the table's edges as a picture shows them, q of them, each located across its edge only.

    Attributes
    ----------
    points_m : (q, 3) float array
    pixels_px : (q, 2) float array
    normals : (q, 2) float array
        Unit vectors across the edge in the picture, outwards.
    covariance_px2 : (q, q) float array
        Of the places across the edges, what each edge may be off as a whole included.
    side : (q,) int array
        Which of `SIDES`.
    """

    points_m: FloatArray
    pixels_px: FloatArray
    normals: FloatArray
    covariance_px2: FloatArray
    side: npt.NDArray[np.int64]

    def misfit(self, camera: FloatArray) -> FloatArray:
        """Seen less projected, across the edges (q,) [px]."""
        return np.asarray(np.sum(self.normals * (self.pixels_px - project_points(camera, self.points_m)), axis=-1))

    def misfit_jacobian(self, camera: FloatArray) -> FloatArray:
        """Derivatives (q, 15) of `misfit` by the camera's parameters."""
        return -np.asarray(np.einsum("qi,qij->qj", self.normals, parameter_jacobian(camera, self.points_m)))

    def keep(self, which: BoolArray) -> "Outline":
        """The same with some of the points."""
        covariance = self.covariance_px2[np.ix_(which, which)]
        return Outline(self.points_m[which], self.pixels_px[which], self.normals[which], covariance, self.side[which])


def find_outline(luma: Sequence[Luma], table: TableSheet, camera: FloatArray) -> Outline | None:
    """The table's edges in the pictures of a still camera, near where a camera (15,) expects them.

    Returns
    -------
    Outline or None
        The edges that are clearly visible; None when none is.

    Notes
    -----
    At every place the median over the pictures is read across the edge; the edge is the innermost steep change, of one
    sign all along, located to a part of a pixel by the parabola through the steepness.
    Checked by: tests/table/test_outline.py::test_edges_of_a_drawn_table_are_found
    """
    found = []
    for side in range(len(SIDES)):
        share = np.linspace(-1 + 2 * _MARGIN, 1 - 2 * _MARGIN, _PLACES)
        points, outwards = _places_on_side(table, side, share)
        across = direction_jacobian(camera, points, outwards)
        length = np.linalg.norm(across, axis=-1)
        pixels = project_points(camera, points)
        if not np.all(np.isfinite(pixels)) or not np.all(length > 1.0):
            continue
        along = np.gradient(pixels, axis=0)
        normal = np.asarray(np.stack([along[:, 1], -along[:, 0]], axis=-1), dtype=np.float64)
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        normal *= np.sign(np.sum(normal * across, axis=-1))[:, None]
        offset, fine = _locate(luma, pixels, normal, share)
        if np.mean(fine) >= _CLEAR_SHARE:
            found.append(_join(side, points, outwards, share, pixels, normal, offset, fine, camera))
    if not found:
        return None
    covariance = np.zeros((sum(len(f.side) for f in found),) * 2)
    start = 0
    for part in found:
        end = start + len(part.side)
        covariance[start:end, start:end] = part.covariance_px2
        start = end
    return Outline(
        np.concatenate([f.points_m for f in found]),
        np.concatenate([f.pixels_px for f in found]),
        np.concatenate([f.normals for f in found]),
        covariance,
        np.concatenate([f.side for f in found]),
    )


def drop_contradicting(
    outline: Outline, camera: FloatArray, covariance: FloatArray, table: TableSheet
) -> tuple[Outline | None, tuple[Contradiction, ...]]:
    """Without the edges that contradict the size in the sheet, and what to say of these."""
    apart, by_camera = outline.misfit(camera), outline.misfit_jacobian(camera)
    expected = outline.covariance_px2 + by_camera @ covariance @ by_camera.T
    kept, said = np.ones(len(apart), dtype=bool), []
    for side in np.unique(outline.side):
        mine = outline.side == side
        off_px, u_px = float(np.mean(apart[mine])), float(np.sqrt(np.mean(expected[np.ix_(mine, mine)])))
        left = apart[mine] - off_px
        u_left = float(np.sqrt(np.mean(np.diag(expected)[mine])))
        if abs(off_px) <= _CONSISTENT * u_px and float(np.sqrt(np.mean(left**2))) <= _CONSISTENT * u_left:
            continue
        kept &= ~mine
        _, outwards = _places_on_side(table, int(side), np.zeros(1))
        scale = float(np.mean(np.linalg.norm(direction_jacobian(camera, outline.points_m[mine], outwards), axis=-1)))
        key = "width_m" if side < 2 else "length_m"
        shown = (
            f"The table's {SIDES[side]} lies {1e3 * abs(off_px) / scale:.0f} mm "
            f"{'outside' if off_px > 0 else 'inside'} of where {key} puts it and was not used"
        )
        said.append(Contradiction(f"[table] {key}", shown, f"measure {key} again", covered=True))
    return (outline.keep(kept) if kept.any() else None), tuple(said)


def _places_on_side(table: TableSheet, side: int, share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) at shares -1 to 1 along a side, and its outward direction (3,)."""
    half_x, half_y = table.length_m / 2, table.width_m / 2
    if side < 2:
        y = (-half_y, half_y)[side]
        x, outwards = half_x * share, np.array([0.0, np.sign(y), 0.0])
        return np.stack([x, np.full_like(x, y), surface_height(table.profile_m, x)], axis=-1), outwards
    x = np.full_like(share, (-half_x, half_x)[side - 2])
    points = np.stack([x, half_y * share, surface_height(table.profile_m, x)], axis=-1)
    return points, np.array([np.sign(x[0]), 0.0, 0.0])


def _locate(
    luma: Sequence[Luma], pixels: FloatArray, normal: FloatArray, share: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Outward distance (n,) of the edge from where it is expected [px], and where it was found."""
    steps = np.arange(-_REACH_PX, _REACH_PX + _STEP_PX / 2, _STEP_PX)
    at = (pixels[:, None] + steps[:, None] * normal[:, None]).astype(np.float32)
    rows, cols = luma[0].shape
    inside = np.all((at >= 1) & (at <= np.array([cols - 2, rows - 2])), axis=(1, 2))
    chosen = [luma[k] for k in np.unique(np.linspace(0, len(luma) - 1, 9).round().astype(int))]
    read = [cv2.remap(p, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(np.float64) for p in chosen]
    value = np.median(np.array(read), axis=0)
    # Neighbours along the edge are joined: a carpet beyond it is as steep from place to place as the edge itself.
    joined = cv2.GaussianBlur(value, (3, 7), sigmaX=0.8, sigmaY=1.5, borderType=cv2.BORDER_REPLICATE)
    value = np.asarray(joined, dtype=np.float64)
    steep = np.zeros_like(value)
    steep[:, 1:-1] = (value[:, 2:] - value[:, :-2]) / (2 * _STEP_PX)
    # The sign that the edge has all along: a table is lighter or darker than what is around it.
    peak = np.argmax(np.abs(steep), axis=1)
    sign = float(np.sign(np.median(steep[np.arange(len(steep)), peak])))
    steep = np.maximum(sign * steep, 0.0)
    top = steep.max(axis=1)
    # The innermost change counts: beyond it comes the table's own rim, which may be steeper against the floor.
    summit = (steep >= np.roll(steep, 1, axis=1)) & (steep > np.roll(steep, -1, axis=1)) & (steep > 0.4 * top[:, None])
    summit[:, [0, 1, -2, -1]] = False
    first = np.argmax(summit, axis=1)
    line = np.arange(len(steep))
    before, here, after = (steep[line, np.clip(first + k, 0, steep.shape[1] - 1)] for k in (-1, 0, 1))
    bend = before - 2 * here + after
    offset = steps[first] + _STEP_PX * 0.5 * (before - after) / np.where(np.abs(bend) > 1e-9, bend, 1.0)
    fine = inside & summit.any(axis=1) & (here > _LEAST_STEEPNESS)
    fine &= np.abs(offset) < _REACH_PX
    for _ in range(4):
        if np.sum(fine) < _CLEAR_SHARE * len(fine):
            return offset, np.zeros_like(fine)
        line_fit = np.polyfit(share[fine], offset[fine], 2)
        off = np.abs(offset - np.polyval(line_fit, share))
        spread = 1.4826 * float(np.median(off[fine]))
        fine &= off < min(max(3.0 * spread, 0.25), 3 * _STRAY_PX)
    off = offset[fine] - np.polyval(line_fit, share[fine])
    if np.sqrt(np.mean(off**2)) > 0.5 * _STRAY_PX:
        fine[:] = False
    return offset, fine


def _join(
    side: int,
    points: FloatArray,
    outwards: FloatArray,
    share: FloatArray,
    pixels: FloatArray,
    normal: FloatArray,
    offset: FloatArray,
    fine: BoolArray,
    camera: FloatArray,
) -> Outline:
    """Places joined to a few points an edge, with their covariance."""
    smooth = np.polyval(np.polyfit(share[fine], offset[fine], 3), share)
    spread = float(np.std((offset - smooth)[fine]))
    rows = []
    for part in np.array_split(np.arange(len(share)), _JOINED):
        good = part[fine[part]]
        if len(good) >= 4:
            # At the middle of the places found, the mean of their departures from the smooth line, laid on it.
            middle = int(good[np.argmin(np.abs(share[good] - np.mean(share[good])))])
            own = spread / np.sqrt(max(len(good) / 4, 1.0))  # neighbours were joined, so four places count as one
            rows.append((middle, smooth[middle] + np.mean((offset - smooth)[good]), np.hypot(own, _FLOOR_PX)))
    at = np.array([row[0] for row in rows])
    seen = pixels[at] + np.array([row[1] for row in rows])[:, None] * normal[at]
    across = np.sum(direction_jacobian(camera, points[at], outwards) * normal[at], axis=-1)
    t = share[at]
    shapes = np.stack([U_SHIFT_M * np.ones_like(t), U_TURN_M * t, U_BOW_M * (1.5 * t**2 - 0.5)]) * across
    own = np.array([row[2] for row in rows]) ** 2 + (U_UNEVEN_M * across) ** 2
    return Outline(points[at], seen, normal[at], shapes.T @ shapes + np.diag(own), np.full(len(at), side))
