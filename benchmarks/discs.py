"""Coloured discs drawn to exact places: blurred, sampled as a camera does in 4:2:0, with noise, and coded if asked."""

import io
import math
from fractions import Fraction

import av
import cv2
import numpy as np
import numpy.typing as npt

from matchvision.markers.centres import Centres, Windows, find_centres
from matchvision.markers.refining import Refiner
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]
Planes = tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.uint8]]

#: Samples drawn to a pixel along each side, and discs in a picture along each side.
FINE = 8
ACROSS = 5
#: Chroma (blue, red) along which the discs are coloured.
TO_COLOUR = np.array([-0.3, 0.954]) / math.hypot(0.3, 0.954)


def bound_px(radius_px: float, contrast: float, noise: float, blur_px: float) -> float:
    """Least standard deviation of a disc's place along one axis, luma and one chroma plane together [px].

    Notes
    -----
    (σ / C) √(2 b / (√π r)) for one plane with a sample a pixel, b joined with the sample's own box. Chroma has a
    quarter of the samples and a box of two pixels; information adds up. Rounding to whole levels adds 1/12 to σ².
    """
    variance = noise**2 + 1 / 12
    information = 0.0
    for box_px in (1.0, 2.0):
        soft = math.hypot(blur_px, box_px / math.sqrt(12))
        information += contrast**2 * math.sqrt(math.pi) * radius_px / (2 * soft * variance * box_px**2)
    return 1 / math.sqrt(information)


def draw_picture(
    centres_px: FloatArray, radius_px: float, contrast: float, noise: float, blur_px: float, rng: np.random.Generator,
    way_px: tuple[float, float] = (0.0, 0.0), beyond_px: int = 0,
) -> Planes:  # fmt: skip
    """Luma, blue and red of dark red discs on grey; the contrast is that of luma and of chroma along the colour.

    ``way_px``: how far all discs move while the shutter is open; their places are those at the middle of it.
    ``beyond_px``: room for moving discs at the right and below, an even number.
    """
    cell = _cell_px(radius_px)
    size = ACROSS * cell + beyond_px
    luma, chroma = np.zeros((size, size)), np.zeros((size // 2, size // 2))
    length_px = math.hypot(*way_px)
    # Two shots a pixel of the way: beside the lens's blur that is as good as going on without a break.
    count = 1 + math.ceil(2 * length_px)
    shots = (np.arange(count) + 0.5) / count - 0.5
    patch = cell + 2 * math.ceil(length_px / 2)
    fine = (np.arange(patch * FINE) - (FINE - 1) / 2) / FINE
    for col, row in centres_px:
        left, top = (2 * round((v - patch / 2) / 2) for v in (col, row))
        covered = np.zeros((patch * FINE, patch * FINE), dtype=np.float32)
        for shot in shots:
            x, y = np.meshgrid(fine + left - col - shot * way_px[0], fine + top - row - shot * way_px[1])
            covered += np.clip((radius_px - np.hypot(x, y)) * FINE + 0.5, 0, 1).astype(np.float32) / len(shots)
        if blur_px > 0:
            covered = np.asarray(cv2.GaussianBlur(covered, (0, 0), blur_px * FINE), dtype=np.float32)
        inside = np.s_[max(0, -top) : size - top, max(0, -left) : size - left]
        there = np.s_[max(0, top) : top + patch, max(0, left) : left + patch]
        luma[there] += _mean_over(covered, FINE)[inside]
        half = np.s_[inside[0].start // 2 : inside[0].stop // 2, inside[1].start // 2 : inside[1].stop // 2]
        chroma[there[0].start // 2 : there[0].stop // 2, there[1].start // 2 : there[1].stop // 2] += _mean_over(
            covered, 2 * FINE
        )[half]

    def sample(plane: FloatArray) -> npt.NDArray[np.uint8]:
        return np.clip(np.rint(plane + rng.normal(0, noise, plane.shape)), 0, 255).astype(np.uint8)

    return (
        sample(190 - contrast * luma),
        sample(128 + contrast * TO_COLOUR[0] * chroma),
        sample(128 + contrast * TO_COLOUR[1] * chroma),
    )


def choose_places(radius_px: float, rng: np.random.Generator) -> FloatArray:
    """Places of a picture's discs: a grid, each moved by up to a pixel and a half along each axis."""
    cell = _cell_px(radius_px)
    grid = np.array([(cell * (n % ACROSS), cell * (n // ACROSS)) for n in range(ACROSS**2)], dtype=np.float64)
    return grid + (cell - 1) / 2 + rng.uniform(-1.5, 1.5, grid.shape)


def windows_about(places_px: FloatArray, radius_px: float, contrast: float) -> Windows:
    """Windows as the tracker sets them up about expected places."""
    count = len(places_px)
    return Windows(
        place_px=places_px,
        half_px=np.full(count, radius_px + 6.0),
        direction=np.tile(TO_COLOUR, (count, 1)),
        strength=np.full(count, contrast),
        sideways=np.full(count, 2.0),
        inverse=np.tile([1 / radius_px**2, 0.0, 1 / radius_px**2], (count, 1)),
        radius_px=np.full(count, radius_px),
        neutral=np.array([128.0, 128.0]),
    )


def start_refiner() -> Refiner:
    """A refiner for flat discs that face the camera, as many as a picture has."""
    return Refiner([MarkerPlan(f"disc_{n}", "body", "red", 0.01) for n in range(ACROSS**2)])


def find_discs(
    refiner: Refiner, planes: Planes, centres_px: FloatArray, radius_px: float, contrast: float, index: int,
    rng: np.random.Generator,
) -> Centres:  # fmt: skip
    """Centres as the tracker finds them, from expected places that are wrong by up to a pixel."""
    frame = Frame(index, index / 30, *planes, (2, 2), (0.5, 0.5))
    windows = windows_about(centres_px + rng.uniform(-1, 1, centres_px.shape), radius_px, contrast)
    return refiner.refine(frame, windows, find_centres(frame, windows))


def told_errors(
    planes: Planes, centres_px: FloatArray, radius_px: float, contrast: float, blur_px: float
) -> FloatArray:
    """Errors (m, 2) of a linear fit in luma that is told all but place, level and ground: what the pictures allow [px].

    Least squares about the truth on the slopes of the picture without noise; nobody who must find out blur, size and
    shape as well can do better with samples taken as independent.
    """

    def luma_without_noise(places_px: FloatArray) -> FloatArray:
        luma, _, _ = draw_picture(places_px, radius_px, contrast, 0.0, blur_px, np.random.default_rng())
        return luma.astype(np.float64)

    step_px = 0.25
    across, down = np.array([step_px, 0.0]), np.array([0.0, step_px])
    true = luma_without_noise(centres_px)
    slopes = [
        (luma_without_noise(centres_px + way) - luma_without_noise(centres_px - way)) / (2 * step_px)
        for way in (across, down)
    ]
    reach = math.ceil(radius_px + 6)
    errors = np.empty((len(centres_px), 2))
    for n, (col, row) in enumerate(centres_px):
        left, top = round(col) - reach, round(row) - reach
        about = np.s_[max(0, top) : top + 2 * reach + 1, max(0, left) : left + 2 * reach + 1]
        level = true[about].max() - true[about]
        model = np.stack([slopes[0][about], slopes[1][about], level, np.ones_like(level)], axis=-1).reshape(-1, 4)
        left_over = (planes[0][about] - true[about]).ravel()
        errors[n] = np.linalg.lstsq(model, left_over, rcond=None)[0][:2]
    return errors


def code_pictures(pictures: list[Planes], bits_a_pixel: float, preset: str) -> list[Planes]:
    """The pictures through H.264 at so many bits a pixel, with the encoder's preset for how much trouble it takes."""
    rows, cols = pictures[0][0].shape
    file = io.BytesIO()
    with av.open(file, "w", format="mp4") as out:
        stream = out.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = cols, rows, "yuv420p"
        stream.bit_rate = int(bits_a_pixel * rows * cols * 60)
        stream.options = {"preset": preset, "bf": "0"}
        stream.time_base = Fraction(1, 60)
        for index, planes in enumerate(pictures):
            picture = av.VideoFrame.from_ndarray(
                np.concatenate([p.ravel() for p in planes]).reshape(-1, cols), "yuv420p"
            )
            picture.pts, picture.time_base = index, Fraction(1, 60)
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))
    file.seek(0)
    with av.open(file, "r") as clip:
        stacked = [np.asarray(f.to_ndarray(format="yuv420p"), dtype=np.uint8) for f in clip.decode(video=0)]
    half = (rows // 2, cols // 2)
    return [(s[:rows], s[rows : rows * 5 // 4].reshape(half), s[rows * 5 // 4 :].reshape(half)) for s in stacked]


def _cell_px(radius_px: float) -> int:
    """Side of the square that a disc has for itself, a multiple of 16."""
    return int(-(-(2 * radius_px + 22) // 16) * 16)


def _mean_over(plane: npt.NDArray[np.float32], step: int) -> FloatArray:
    rows, cols = plane.shape
    return np.asarray(plane.reshape(rows // step, step, cols // step, step).mean(axis=(1, 3)), dtype=np.float64)
