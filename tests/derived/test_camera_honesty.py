"""Whether the camera's stated uncertainty holds the truth, over many invented cameras and tables.

Only points are used, no pictures: each camera has every lens term drawn from the spread that the fit assumes of phones,
tags laid as well as the fit assumes, and corners located with the correlated errors that the fit assumes. What is
checked is therefore the fit itself and its propagation: the right share of places within 1.96 u, and rms(error)/rms(u)
near 1. Limits: 95 ± 3 % and 0.85 to 1.15; with 300 cameras the sampling error of the share is about 1 %.
"""

import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian, place_with_uncertainty
from matchvision.table.edges import side_frames
from matchvision.table.fitting import CameraFit, LensPrior, fit_cameras, phone_prior, sheet_prior
from matchvision.table.guessing import first_cameras
from matchvision.table.noise import U_TAG_HEIGHT_M, U_TAG_PLACE_M, Sighting

FloatArray = npt.NDArray[np.float64]
SIZE_PX = (1280, 720)
SQUARE = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])


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


def fit(sighting: Sighting, prior: LensPrior, height_m: float) -> CameraFit:
    return fit_cameras([sighting], first_cameras([sighting], prior, SIZE_PX[0]), prior, height_m)


def miss_of(
    rng: np.random.Generator, camera: FloatArray, fitted: CameraFit, table_m: tuple[float, float]
) -> FloatArray:
    """Error over stated uncertainty of x and y of one place at known height; columns: error, u."""
    z = rng.uniform(0.0, 0.13)
    place = np.array([rng.uniform(-0.45, 0.45) * table_m[0], rng.uniform(-0.45, 0.45) * table_m[1], z])
    pixel = project_points(camera, place)[None, None]
    placed = place_with_uncertainty(
        fitted.parameters[0], fitted.covariance[0], pixel, 0 * pixel, np.full((1, 1), z), np.zeros((1, 1))
    )
    error = np.array([placed.x_m[0, 0], placed.y_m[0, 0]]) - place[:2]
    return np.stack([error, np.sqrt(np.diag(placed.cov_camera[0, 0]))], axis=-1)


def check(misses: list[FloatArray]) -> None:
    error, u = np.concatenate(misses).T
    inside = float(np.mean(np.abs(error) < 1.96 * u))
    ratio = float(np.sqrt(np.mean(error**2) / np.mean(u**2)))
    assert 0.92 <= inside <= 0.98, f"{100 * inside:.1f} % within 1.96 u, rms ratio {ratio:.2f}"
    assert 0.85 <= ratio <= 1.15, f"{100 * inside:.1f} % within 1.96 u, rms ratio {ratio:.2f}"


def test_stated_uncertainty_holds_the_truth() -> None:
    rng = np.random.default_rng(20)
    misses = []
    for _ in range(300):
        table = (rng.uniform(1.6, 2.6), rng.uniform(0.9, 1.3))
        camera = draw_camera(rng, table)
        fitted = fit(see_tags(rng, camera, table), phone_prior(*SIZE_PX), U_TAG_HEIGHT_M)
        misses.append(miss_of(rng, camera, fitted, table))
    check(misses)


def test_clicks_with_a_wide_lens_prior_hold_the_truth() -> None:
    """Six clicked points: fewer and worse than tags, so the priors carry much of the weight."""
    rng = np.random.default_rng(21)
    misses = []
    for _ in range(300):
        table = (rng.uniform(1.6, 2.6), rng.uniform(0.9, 1.3))
        camera = draw_camera(rng, table)
        x, y = np.array(table) / 2
        points = np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0], [0, y, 0], [0, -y, 0.0]])
        pixels = project_points(camera, points) + 0.7 * rng.normal(size=(6, 2))
        clicks = Sighting(points, pixels, np.tile(np.eye(2), (6, 1, 1)), np.full(6, 0.7), np.zeros(6, dtype=bool))
        misses.append(miss_of(rng, camera, fit(clicks, phone_prior(*SIZE_PX), 0.0), table))
    check(misses)


def test_lens_sheet_prior_holds_the_truth() -> None:
    """A lens sheet that is off by as much as its covariance says."""
    rng = np.random.default_rng(22)
    spread = np.diag([3.0, 3.0, 2.0, 2.0, 0.01, 0.02, 3e-4, 3e-4, 1e-3]) ** 2
    spread[0, 1] = spread[1, 0] = 0.9 * 9
    misses = []
    for _ in range(200):
        table = (rng.uniform(1.6, 2.6), rng.uniform(0.9, 1.3))
        camera = draw_camera(rng, table)
        told = camera.copy()
        told[:9] += rng.multivariate_normal(np.zeros(9), spread)
        covariance = np.zeros((15, 15))
        covariance[:9, :9] = spread
        fitted = fit(see_tags(rng, camera, table), sheet_prior(told, covariance), U_TAG_HEIGHT_M)
        misses.append(miss_of(rng, camera, fitted, table))
    check(misses)


def test_moved_tag_raises_the_uncertainty() -> None:
    """A tag 15 mm from where the sheet says must show: the learnt uncertainty of places grows, and the camera's too."""
    rng = np.random.default_rng(23)
    camera = draw_camera(rng, (2.2, 1.1))
    sighting = see_tags(rng, camera, (2.2, 1.1))
    honest = fit(sighting, phone_prior(*SIZE_PX), U_TAG_HEIGHT_M)
    by_x = direction_jacobian(camera, sighting.points_m[:4], np.array([1.0, 0, 0]))
    pixels = sighting.pixels_px.copy()
    pixels[:4] += 0.015 * by_x
    moved = Sighting(sighting.points_m, pixels, sighting.directions, sighting.u_px, sighting.from_edges)
    found = fit(moved, phone_prior(*SIZE_PX), U_TAG_HEIGHT_M)
    assert found.place_m > 3 * honest.place_m
    assert found.covariance[0, 12, 12] > 2 * honest.covariance[0, 12, 12]
