"""Whether a camera's stated uncertainty holds the truth: many invented cameras, by what they were fitted to.

Points only, no pictures: every lens term is drawn from the spread that the fit assumes of phones, tags are laid and
corners located as badly as it assumes. Judged are places at known height all over the table, one a camera, so that
they are independent: the share within 1.96 u should be 95 ± 2 %, and rms(error)/rms(u) near 1.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian, place_with_uncertainty
from matchvision.table.edges import side_frames
from matchvision.table.fitting import CameraFit, LensPrior, fit_cameras, phone_prior, sheet_prior
from matchvision.table.guessing import first_cameras
from matchvision.table.noise import U_TAG_HEIGHT_M, U_TAG_PLACE_M, Sighting
from matchvision.table.outline import U_BOW_M, U_SHIFT_M, U_TURN_M, U_UNEVEN_M, Outline
from matchvision.table.sighting import join_sightings

FloatArray = npt.NDArray[np.float64]
Case = Callable[[np.random.Generator, FloatArray, tuple[float, float]], CameraFit]

SIZE_PX: Final = (1280, 720)
SQUARE: Final = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])
#: Spread of a lens sheet's errors: focal lengths, principal point [px], k1, k2, p1, p2, k3.
SHEET_SPREAD: Final = np.array([3.0, 3.0, 2.0, 2.0, 0.01, 0.02, 3e-4, 3e-4, 1e-3])
#: Cameras for each case, and seed of the whole study.
CAMERAS, SEED = 1000, 40


def measure(cameras: int = CAMERAS, seed: int = SEED) -> pd.DataFrame:
    """Share of places within 1.96 u [%] and rms(error)/rms(u), for each thing that a camera may be fitted to."""
    rows = []
    for number, (name, case) in enumerate(CASES.items()):
        rng = np.random.default_rng([seed, number])
        error, u = np.array([draw_miss(rng, case) for _ in range(cameras)]).reshape(-1, 2).T
        rows.append(
            {
                "fitted_to": name,
                "cameras": cameras,
                "within_percent": round(100 * float(np.mean(np.abs(error) < 1.96 * u)), 1),
                "rms_ratio": round(float(np.sqrt(np.mean(error**2) / np.mean(u**2))), 2),
                "rms_error_mm": round(1e3 * float(np.sqrt(np.mean(error**2))), 2),
            }
        )
    return pd.DataFrame(rows)


def draw_miss(rng: np.random.Generator, case: Case) -> FloatArray:
    """Error and stated uncertainty (columns) of x and y (rows) of one place seen by one camera [m]."""
    table = (rng.uniform(1.6, 2.6), rng.uniform(0.9, 1.3))
    camera = draw_camera(rng, table)
    fitted = case(rng, camera, table)
    z = rng.uniform(0.0, 0.13)
    place = np.array([rng.uniform(-0.45, 0.45) * table[0], rng.uniform(-0.45, 0.45) * table[1], z])
    pixel = project_points(camera, place)[None, None]
    placed = place_with_uncertainty(
        fitted.parameters[0], fitted.covariance[0], pixel, 0 * pixel, np.full((1, 1), z), np.zeros((1, 1))
    )
    error = np.array([placed.x_m[0, 0], placed.y_m[0, 0]]) - place[:2]
    return np.stack([error, np.sqrt(np.diag(placed.cov_camera[0, 0]))], axis=-1)


def draw_lens(rng: np.random.Generator) -> FloatArray:
    """A phone's lens (9,): every term from the spread of the fit's prior, the focal length from its middle part."""
    while True:
        f = 0.77 * SIZE_PX[0] * np.exp(0.2 * rng.normal())
        f_row = f * (1 + 0.002 * rng.normal())
        centre = (np.array(SIZE_PX) - 1) / 2 + 12.8 * rng.normal(size=2)
        k1, k2, p1, p2, k3 = rng.normal(size=5) * [0.1, 0.03, 0.0005, 0.0005, 0.01]
        # A lens that folds the picture over does not exist: the radius seen must grow with the true one.
        r2 = np.linspace(0, 1.2, 50) * (640**2 + 360**2) / f**2
        if np.all(1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3)) > 0.3):
            return np.array([f, f_row, *centre, k1, k2, p1, p2, k3])


def draw_camera(rng: np.random.Generator, table_m: tuple[float, float]) -> FloatArray:
    """A camera (15,) that looks at the table obliquely and has all of it in the picture."""
    half = np.array(table_m) / 2
    edge = np.array([[x, y, 0] for x in (-half[0], half[0]) for y in (-half[1], half[1])])
    lens = draw_lens(rng)
    while True:
        bearing, rise = rng.uniform(-0.5, 0.5), np.deg2rad(rng.uniform(28, 60))
        distance = rng.uniform(1.0, 1.6) * table_m[0] * lens[0] / SIZE_PX[0] * 1.1
        centre = distance * np.array([np.sin(bearing) * np.cos(rise), -np.cos(bearing) * np.cos(rise), np.sin(rise)])
        forward = -centre / np.linalg.norm(centre) + rng.normal(size=3) * 0.02
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [np.sin(0.05 * rng.normal()), 0.0, 1.0])
        right /= np.linalg.norm(right)
        rotation = np.array([right, np.cross(forward, right), forward])
        camera = np.concatenate([lens, vector_of(rotation), -rotation @ centre])
        pixels = project_points(camera, edge)
        if np.all((pixels > 20) & (pixels < np.array(SIZE_PX) - 20)):
            return camera


def vector_of(rotation: FloatArray) -> FloatArray:
    """Rotation vector of a matrix."""
    angle = np.arccos(np.clip((np.trace(rotation) - 1) / 2, -1, 1))
    skew = np.array([rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]])
    return np.asarray(angle * skew / (2 * np.sin(angle)))


def see_tags(rng: np.random.Generator, camera: FloatArray, table_m: tuple[float, float]) -> Sighting:
    """Tags near the table's corners (and sometimes its long edges), as a picture would show them."""
    side = rng.uniform(0.08, 0.15)
    x, y = table_m[0] / 2 - side, table_m[1] / 2 - side
    places = [(-x, y), (x, y), (x, -y), (-x, -y), (0.0, y), (0.0, -y)][: rng.choice([4, 4, 5, 6])]
    stated = np.array([[[*(np.array(place) + side * corner), 0.0] for corner in SQUARE] for place in places])
    real = stated + np.array([[[*(U_TAG_PLACE_M * rng.normal(size=2)), 0.0]] for _ in places])
    real[..., 2] += U_TAG_HEIGHT_M * rng.normal()
    seen = project_points(camera, real)
    _, _, normal, _ = side_frames(seen)
    directions = np.stack([np.roll(normal, 1, axis=1), normal], axis=-2)
    noise_px, bleed_px = rng.uniform(0.04, 0.15), 0.2 + 0.1 * rng.normal()
    side_errors = noise_px * rng.multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]], size=(len(places), 4)) + bleed_px
    offsets = np.stack([np.roll(side_errors[..., 1], 1, axis=1), side_errors[..., 0]], axis=-1)
    pixels = seen + np.linalg.solve(directions, offsets[..., None])[..., 0]
    count = 4 * len(places)
    return Sighting(
        stated.reshape(-1, 3),
        pixels.reshape(-1, 2),
        directions.reshape(-1, 2, 2),
        np.full(count, 0.08),
        np.ones(count, dtype=bool),
    )


def see_clicks(
    rng: np.random.Generator, camera: FloatArray, table_m: tuple[float, float], count: int = 6, u_px: float = 0.7
) -> Sighting:
    """Clicked points at the table's corners and the middles of its long edges, right to ``u_px``."""
    x, y = np.array(table_m) / 2
    points = np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0], [0, y, 0], [0, -y, 0.0]])[:count]
    pixels = project_points(camera, points) + u_px * rng.normal(size=(count, 2))
    return Sighting(
        points, pixels, np.tile(np.eye(2), (count, 1, 1)), np.full(count, u_px), np.zeros(count, dtype=bool)
    )


def see_outline(rng: np.random.Generator, camera: FloatArray, table_m: tuple[float, float]) -> Outline:
    """Edges of a table that shift, turn and bow as much as the fit assumes, each at nine places."""
    share, own_px = np.linspace(-0.9, 0.9, 9), 0.1
    half = np.array(table_m) / 2
    points, seen, normals, sides = [], [], [], []
    covariance = np.zeros((36, 36))
    for side in range(4):
        along, out = (np.eye(3)[0], np.eye(3)[1]) if side < 2 else (np.eye(3)[1], np.eye(3)[0])
        sign = -1 if side % 2 == 0 else 1
        reach = half if side < 2 else half[::-1]
        on_edge = reach[0] * share[:, None] * along + sign * reach[1] * out
        shapes = np.stack([U_SHIFT_M * np.ones(9), U_TURN_M * share, U_BOW_M * (1.5 * share**2 - 0.5)])
        off_m = rng.normal(size=3) @ shapes + U_UNEVEN_M * rng.normal(size=9)
        lever = direction_jacobian(camera, on_edge, sign * out)
        run = direction_jacobian(camera, on_edge, along)
        normal = np.stack([run[:, 1], -run[:, 0]], axis=-1) / np.linalg.norm(run, axis=1)[:, None]
        normal *= np.sign(np.sum(normal * lever, axis=1))[:, None]
        across = np.sum(normal * lever, axis=1)
        real = project_points(camera, on_edge + off_m[:, None] * sign * out) + own_px * rng.normal(size=(9, 1)) * normal
        mine = slice(9 * side, 9 * side + 9)
        covariance[mine, mine] = (shapes * across).T @ (shapes * across)
        covariance[mine, mine] += np.diag(own_px**2 + (U_UNEVEN_M * across) ** 2)
        points.append(on_edge)
        seen.append(real)
        normals.append(normal)
        sides.append(np.full(9, side))
    return Outline(
        np.concatenate(points), np.concatenate(seen), np.concatenate(normals), covariance, np.concatenate(sides)
    )


def fit(sighting: Sighting, prior: LensPrior, height_m: float, outline: Outline | None = None) -> CameraFit:
    """As the table stage fits a still camera."""
    start = first_cameras([sighting], prior, SIZE_PX[0])
    fitted = fit_cameras([sighting], start, prior, height_m)
    return fitted if outline is None else fit_cameras([sighting], fitted.parameters, prior, height_m, outline)


def draw_sheet(rng: np.random.Generator, camera: FloatArray) -> LensPrior:
    """A lens sheet that is off by as much as its covariance says."""
    spread = np.diag(SHEET_SPREAD**2)
    spread[0, 1] = spread[1, 0] = 0.9 * SHEET_SPREAD[0] ** 2
    told, covariance = camera.copy(), np.zeros((15, 15))
    told[:9] += rng.multivariate_normal(np.zeros(9), spread)
    covariance[:9, :9] = spread
    return sheet_prior(told, covariance)


def _tags(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    return fit(see_tags(rng, camera, table), phone_prior(*SIZE_PX), U_TAG_HEIGHT_M)


def _tags_sheet(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    return fit(see_tags(rng, camera, table), draw_sheet(rng, camera), U_TAG_HEIGHT_M)


def _tags_edges(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    outline = see_outline(rng, camera, table)
    return fit(see_tags(rng, camera, table), phone_prior(*SIZE_PX), U_TAG_HEIGHT_M, outline)


def _clicks(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    return fit(see_clicks(rng, camera, table), phone_prior(*SIZE_PX), 0.0)


def _four_clicks(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    return fit(see_clicks(rng, camera, table, 4), phone_prior(*SIZE_PX), 0.0)


def _four_clicks_edges(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    outline = see_outline(rng, camera, table)
    return fit(see_clicks(rng, camera, table, 4), phone_prior(*SIZE_PX), 0.0, outline)


def _mixed(rng: np.random.Generator, camera: FloatArray, table: tuple[float, float]) -> CameraFit:
    both = join_sightings([see_tags(rng, camera, table), see_clicks(rng, camera, table)])
    return fit(both, phone_prior(*SIZE_PX), U_TAG_HEIGHT_M)


CASES: Final[dict[str, Case]] = {
    "tags": _tags,
    "tags and lens sheet": _tags_sheet,
    "tags and table edges": _tags_edges,
    "six clicks": _clicks,
    "four clicks": _four_clicks,
    "four clicks and table edges": _four_clicks_edges,
    "tags and six clicks": _mixed,
}
