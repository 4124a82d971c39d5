"""The sides of printed tags, located well below a pixel.

The usual corner detectors err by half a pixel and more on small, blurred, compressed tags. The four sides of the
black border can be located ten times better: each is a long, straight step from paper white to black. A step blurred
by a Gaussian is fitted to the pixels as they are, with nothing interpolated.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from matchvision.arrays import FloatArray

#: Places along a side at which its profile is read, on one mean picture and on every frame.
_PLACES, _PLACES_QUICK = 40, 20
#: Pixels on each side of the predicted edge that are looked at.
_REACH_PX = 5
#: Share of a tag cell that counts as border on the inside, and as white margin on the outside.
_INSIDE_SHARE, _OUTSIDE_SHARE = 0.75, 0.9
_ITERATIONS, _ITERATIONS_QUICK = 6, 4


@dataclass(frozen=True, eq=False)
class Edges:
    """Where the sides of k tags really lie, against where they were expected.

    Attributes
    ----------
    offset_px : (k, 4, 2) float array
        Distance of each side from the expected one at its two ends, inwards positive; side i runs from corner i to
        the next.
    normal : (k, 4, 2) float array
        Inward unit normals of the expected sides, (col, row).
    blur_px : (k, 4) float array
        Standard deviation of the step's blur.
    contrast : (k, 4) float array
        White less black [luma steps].
    good : (k,) bool array
        Whether all four sides of the tag were found as clean steps.
    """

    offset_px: FloatArray
    normal: FloatArray
    blur_px: FloatArray
    contrast: FloatArray
    good: npt.NDArray[np.bool_]


def side_frames(corners_px: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Start, unit direction, inward unit normal and length of each side; corners run clockwise in the picture."""
    start = corners_px
    along = np.roll(corners_px, -1, axis=1) - start
    length = np.linalg.norm(along, axis=-1)
    direction = along / np.maximum(length, 1e-9)[..., None]
    normal = np.stack([-direction[..., 1], direction[..., 0]], axis=-1)
    return start, direction, normal, length


def locate_edges(
    luma: npt.NDArray[np.uint8] | FloatArray,
    corners_px: FloatArray,
    sag_px: FloatArray,
    cells: npt.NDArray[np.int64],
    *,
    quick: bool = False,
) -> Edges:
    """Fit a blurred step to each side of each tag's black border.

    Parameters
    ----------
    luma : (rows, cols) array
        Picture, or the mean of many pictures of a still camera.
    corners_px : (k, 4, 2) float array
        Expected outer corners of the black borders, clockwise in the picture, right to about 2 px.
    sag_px : (k, 4) float array
        Inward distance of each side's expected middle from the chord, for lenses bend straight sides.
    cells : (k,) int array
        Cells along a side, the border counted.
    quick : bool
        Read fewer places along each side, for work on every frame.

    Returns
    -------
    Edges
        Tags partly outside the picture, without contrast or whose fit runs away are not ``good``.

    Notes
    -----
    Model, with d the distance inwards from the expected side and t the place along it:
    luma = white − (white − black) Φ((d − offset(t)) / blur), offset linear in t; Gauss–Newton on white, black, two
    offsets and blur for every side at once.
    Checked by: tests/table/test_edges.py::test_offsets_of_drawn_squares_are_found
    """
    rows, cols = luma.shape
    start, direction, normal, length = side_frames(corners_px)
    flat = np.abs(direction[..., 0]) >= np.abs(direction[..., 1])
    margin = np.clip(np.maximum(3.0 / np.maximum(length, 1.0), 0.08), 0.0, 0.3)
    t = margin[..., None] + (1 - 2 * margin[..., None]) * np.linspace(0, 1, _PLACES_QUICK if quick else _PLACES)
    on_side = start[..., None, :] + (t * length[..., None])[..., None] * direction[..., None, :]
    steps = np.arange(-_REACH_PX, _REACH_PX + 1)
    centre = np.rint(on_side).astype(np.int64)
    across = np.where(flat[..., None], [0, 1], [1, 0])
    pixel = centre[..., None, :] + steps[:, None] * across[..., None, None, :]
    inside = (pixel[..., 0] >= 0) & (pixel[..., 0] < cols) & (pixel[..., 1] >= 0) & (pixel[..., 1] < rows)
    value = luma[np.clip(pixel[..., 1], 0, rows - 1), np.clip(pixel[..., 0], 0, cols - 1)].astype(np.float64)
    relative = pixel - start[..., None, None, :]
    t = np.sum(relative * direction[..., None, None, :], axis=-1) / np.maximum(length, 1.0)[..., None, None]
    d = np.sum(relative * normal[..., None, None, :], axis=-1) - 4 * sag_px[..., None, None] * t * (1 - t)
    depth = np.abs(np.sum((np.roll(corners_px, 1, axis=1) - start) * normal, axis=-1)) / np.asarray(cells)[:, None]
    depth = depth[..., None, None]
    reach = np.minimum(float(_REACH_PX) - 1.0, depth)
    window = np.concatenate([-np.minimum(reach, 3.5) * _OUTSIDE_SHARE, reach * _INSIDE_SHARE], axis=-1)
    shape = (*corners_px.shape[:2], -1)
    offset, blur, contrast, fine = _fit_steps(
        value.reshape(shape),
        d.reshape(shape),
        t.reshape(shape),
        inside.reshape(shape),
        window.reshape(*corners_px.shape[:2], 2),
        _ITERATIONS_QUICK if quick else _ITERATIONS,
    )
    whole = np.mean(inside, axis=(-1, -2)) > 0.999
    return Edges(offset, normal, blur, contrast, np.all(fine & whole, axis=-1))


def _fit_steps(
    value: FloatArray,
    d: FloatArray,
    t: FloatArray,
    inside: npt.NDArray[np.bool_],
    window: FloatArray,
    iterations: int,
) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Gauss–Newton over all sides (k, 4) at once; see `locate_edges` for the model.

    ``window`` (k, 4, 2): the distances from the expected side between which pixels count. It does not follow the side
    as the fit moves it: on small tags the print's cells and the table beyond the margin would then draw it away.
    """
    weight = _weigh(d, window, inside)
    outer, inner = weight * (d < -1.0), weight * (d > 1.0)
    white = np.sum(value * outer, axis=-1) / np.maximum(np.sum(outer, axis=-1), 1.0)
    black = np.sum(value * inner, axis=-1) / np.maximum(np.sum(inner, axis=-1), 1.0)
    ends = np.zeros((*white.shape, 2))
    blur = np.full(white.shape, 0.9)
    # A weak prior on the blur keeps steps seen through few pixels in place; it is worth a twentieth of the pixels.
    for _ in range(iterations):
        offset = ends[..., :1] * (1 - t) + ends[..., 1:] * t
        z = (d - offset) / blur[..., None]
        cover = ndtr(z)
        density = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
        drop = (white - black)[..., None]
        misfit = value - (white[..., None] - drop * cover)
        slope = drop * density / blur[..., None]
        columns = np.stack([1 - cover, cover, slope * (1 - t), slope * t, slope * z], axis=-1)
        weighted = columns * weight[..., None]
        normal_matrix = np.swapaxes(columns, -1, -2) @ weighted
        scale = np.einsum("...ii->...i", normal_matrix)
        ridge = 1e-9 * scale + 1e-6
        ridge[..., 4] += 0.02 * scale[..., 4]
        normal_matrix = normal_matrix + ridge[..., None] * np.eye(5)
        pull = np.einsum("...pi,...p->...i", weighted, misfit)
        step = np.linalg.solve(normal_matrix, pull[..., None])[..., 0]
        white, black = white + step[..., 0], black + step[..., 1]
        ends = ends + np.clip(step[..., 2:4], -1.5, 1.5)
        blur = np.clip(blur + np.clip(step[..., 4], -0.3, 0.3), 0.3, 3.0)
    contrast = white - black
    count = np.sum(weight, axis=-1)
    fine = (contrast > 20.0) & np.all(np.abs(ends) < 4.0, axis=-1) & (count > 60) & np.all(np.isfinite(ends), axis=-1)
    return ends, blur, contrast, fine


def _weigh(d: FloatArray, window: FloatArray, inside: npt.NDArray[np.bool_]) -> FloatArray:
    """Weight of pixels at distances d from a side: 1 in the window, falling to 0 over a pixel at its ends."""
    from_ends = np.minimum(d - window[..., :1], window[..., 1:] - d)
    return np.asarray(np.clip(from_ends + 0.5, 0.0, 1.0) * inside, dtype=np.float64)
