"""Expected uncertainty of places against places measured by many drawn cameras."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import first_look, read_facts
from matchvision.geometry.camera import place_at_height, project_points
from matchvision.records.camera import Camera
from matchvision.records.footage import PlaceUncertainty
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from matchvision.table import expect_places, find_table, list_tags

SAMPLES = Path(__file__).parents[2] / "sample_clips"


@pytest.fixture(scope="module")
def run() -> Run:
    return load_run(SAMPLES / "flat-match")


@pytest.fixture(scope="module")
def camera(run: Run) -> Camera:
    view, _ = find_table(first_look(read_facts(run.clip), 12), run.sheet, None)
    return view.camera


@pytest.fixture(scope="module")
def places(run: Run, camera: Camera) -> PlaceUncertainty:
    return expect_places(camera, run.sheet.table, 2.0, 0.014, 0.12)


def test_expected_uncertainty_is_that_of_drawn_cameras(camera: Camera, places: PlaceUncertainty) -> None:
    """Places seen by cameras drawn from the covariance, with drawn noise and heights, read by the camera as fitted."""
    rng = np.random.default_rng(12)
    for row, column in ((4, 5), (11, 22), (18, 38)):
        at = np.array([places.x_m[column], places.y_m[row], places.height_m])
        drawn = rng.multivariate_normal(camera.parameters, camera.covariance, 3000, method="eigh")
        heights = places.height_m + rng.normal(0, places.u_height_m, 3000)
        points = np.stack([np.full(3000, at[0]), np.full(3000, at[1]), heights], axis=1)
        pixels = project_points(drawn, points) + rng.normal(0, places.u_px, (3000, 2))
        spread = np.std(place_at_height(camera.parameters, pixels, places.height_m)[:, :2], axis=0)
        expected = np.array([places.U95_x_m[row, column], places.U95_y_m[row, column]]) / 1.96
        assert spread == pytest.approx(expected, rel=0.08)


def test_scale_is_pixels_a_millimetre(camera: Camera, places: PlaceUncertainty) -> None:
    row, column = 11, 22
    at = np.array([places.x_m[column], places.y_m[row], places.height_m])
    ends = project_points(camera.parameters, np.array([at, at]) + np.array([[-0.0005, 0, 0], [0.0005, 0, 0]]))
    apart = ends[1] - ends[0]
    assert places.scale_px_per_mm[row, column] == pytest.approx(float(np.hypot(*apart)), rel=1e-4)


def test_what_is_out_of_the_picture_is_unknown(run: Run, camera: Camera) -> None:
    narrow = Camera(640, camera.height_px, camera.parameters, camera.covariance)
    places = expect_places(narrow, run.sheet.table, 2.0, None, None)
    known = np.isfinite(places.scale_px_per_mm)
    assert 0.3 < known.mean() < 0.7
    assert np.array_equal(known, np.isfinite(places.U95_x_m))


def test_tags_are_listed_with_and_without_a_sheet(run: Run) -> None:
    frames = first_look(read_facts(run.clip), 12)
    bare = list_tags(frames, None)
    assert [(tag.family, tag.id, tag.listed) for tag in bare] == [("36h11", k, False) for k in range(4)]
    assert all(25 < tag.side_px < 60 for tag in bare)
    more = run.sheet.table.tag[0].model_copy(update={"id": 77})
    table = run.sheet.table.model_copy(update={"tag": (*run.sheet.table.tag, more)})
    missing = [tag.id for tag in list_tags(frames, table) if tag.corners_px is None]
    assert missing == [77]
