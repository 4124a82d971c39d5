"""While a point is dragged the camera is leant: near what the whole calibration then finds, and far sooner."""

import json

import numpy as np
import pytest

from matchvision.desk import OpenDesk
from matchvision.desk.asking import SetPoints
from matchvision.desk.calibrating import find_camera
from matchvision.desk.leaning import lean_camera
from matchvision.geometry.camera import project_points
from matchvision.records.sheet import TablePoint
from matchvision.table import expect_places
from tests.desk.talking import ask, post
from tests.desk.test_table_points import click_points


@pytest.mark.parametrize("clicks", [5, 8])
def test_a_leant_camera_is_the_one_that_is_then_found(desk: OpenDesk, clicks: int) -> None:
    """Two points pulled by nearly their u, one taken away: only the whole calibration learns noise and edges anew."""
    points = click_points(desk, clicks)
    desk.bench.set_points(SetPoints.model_validate_json(json.dumps({"points": points, "keep": True})))
    run = desk.bench.folder.draft.run
    view, _ = find_camera(desk.bench.book, run)
    moved = [TablePoint.model_validate(point) for point in points]
    moved[0] = moved[0].model_copy(update={"pixel": (moved[0].pixel[0] + 0.4, moved[0].pixel[1] - 0.2)})
    moved[2] = moved[2].model_copy(update={"pixel": (moved[2].pixel[0] - 0.2, moved[2].pixel[1] + 0.4)})
    moved = moved[:-1]
    leant = lean_camera(view.camera, run.sheet.table.point, moved, run.sheet.table)
    assert leant is not None
    whole = find_camera(desk.bench.book, run, moved)[0].camera
    at = np.array([(x, y, 0.0) for x in (-1.0, 0.0, 1.0) for y in (-0.5, 0.0, 0.5)])
    apart = project_points(leant.parameters, at) - project_points(whole.parameters, at)
    # A pixel is what a hand can see; and the map of uncertainty is what is looked at.
    assert np.abs(apart).max() < 0.6
    maps = [expect_places(camera, run.sheet.table, 3.0, None, None) for camera in (leant, whole)]
    ratio = np.hypot(maps[0].U95_x_m, maps[0].U95_y_m) / np.hypot(maps[1].U95_x_m, maps[1].U95_y_m)
    assert np.nanmedian(ratio) == pytest.approx(1.0, abs=0.2)
    assert 0.6 < np.nanmin(ratio) < np.nanmax(ratio) < 1.6


def test_a_camera_that_is_asked_the_same_stays(desk: OpenDesk) -> None:
    points = click_points(desk, 7)
    desk.bench.set_points(SetPoints.model_validate_json(json.dumps({"points": points, "keep": True})))
    run = desk.bench.folder.draft.run
    view, _ = find_camera(desk.bench.book, run)
    same = lean_camera(view.camera, run.sheet.table.point, run.sheet.table.point, run.sheet.table)
    assert same is not None
    spread = np.sqrt(np.diag(view.camera.covariance))
    assert np.abs((same.parameters - view.camera.parameters) / spread).max() < 1e-3
    # The clicks' noise was learnt: as it was stated they may tell a little more than was made of them.
    assert np.sqrt(np.diag(same.covariance)) == pytest.approx(spread, rel=0.1)


def test_a_drag_is_answered_from_the_leant_camera_and_the_end_of_it_from_the_whole_one(desk: OpenDesk) -> None:
    points = click_points(desk, 6)
    assert "leant" not in post(desk, "/api/points", {"points": points, "keep": False}).data  # nothing to lean on yet
    whole = post(desk, "/api/points", {"points": points, "keep": True}).data
    assert "leant" not in whole
    points[1]["pixel"][0] += 1.5
    dragged = post(desk, "/api/points", {"points": points, "keep": False}).data
    assert dragged["leant"]
    assert dragged["map"]["x_m"] == whole["map"]["x_m"]
    assert "leant" not in post(desk, "/api/points", {"points": points, "keep": True}).data
    assert ask(desk, "/api/state").data["table"]["points"][1]["pixel"][0] == pytest.approx(points[1]["pixel"][0])
