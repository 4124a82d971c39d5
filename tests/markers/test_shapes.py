"""The predicted ellipses against projections worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.markers.shapes import predict_shapes
from matchvision.records.camera import Camera
from matchvision.records.tracks import MarkerPlan

FLAT = np.array([[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])


def look(tilt_rad: float, distance_m: float) -> Camera:
    """A camera that looks at the origin, from straight above (0) or tilted towards the horizon."""
    parameters = np.array([1000.0, 1000.0, 640.0, 360.0, 0, 0, 0, 0, 0, np.pi - tilt_rad, 0, 0, 0, 0, distance_m])
    return Camera(1280, 720, parameters, np.zeros((15, 15)))


def test_a_disc_seen_from_above_is_a_circle_of_the_right_size() -> None:
    plan = MarkerPlan("heron.front", "body", "red", 0.014, machine="heron")
    shapes = predict_shapes(look(0.0, 2.0), [plan], np.zeros((1, 3)), FLAT)
    assert shapes.radius_px[0] == pytest.approx(7.0, rel=1e-3)
    assert shapes.inverse[0] == pytest.approx([1 / 49, 0, 1 / 49], abs=1e-4)
    assert np.abs(shapes.shift_px).max() < 1e-6


def test_a_tilted_disc_is_foreshortened_and_its_middle_is_shifted() -> None:
    plan = MarkerPlan("heron.front", "body", "red", 0.05, machine="heron")
    tilt = np.deg2rad(50)
    shapes = predict_shapes(look(tilt, 1.0), [plan], np.zeros((1, 3)), FLAT)
    wide, tall = 1 / np.sqrt(shapes.inverse[0, 0]), 1 / np.sqrt(shapes.inverse[0, 2])
    assert wide == pytest.approx(50, rel=0.01)
    assert tall / wide == pytest.approx(np.cos(tilt), rel=0.01)
    # Ends of the disc's steep diameter at depth 1 ± r sin(tilt): their middle lies f r² sin cos / (1 − r² sin²) off.
    expected = 1000 * 0.05**2 * np.sin(tilt) * np.cos(tilt) / (1 - (0.05 * np.sin(tilt)) ** 2)
    assert abs(shapes.shift_px[0, 1]) == pytest.approx(expected, rel=0.02)


def test_a_sphere_is_round_from_anywhere() -> None:
    plan = MarkerPlan("bead_01", "bead", "red", 0.009, sphere=True)
    shapes = predict_shapes(look(np.deg2rad(50), 2.0), [plan], np.zeros((1, 3)), FLAT)
    assert shapes.inverse[0, 0] == pytest.approx(shapes.inverse[0, 2], rel=0.01)
    assert shapes.radius_px[0] == pytest.approx(4.5, rel=0.01)


def test_a_stated_side_moves_the_middle_half_its_breadth() -> None:
    tilt = np.deg2rad(60)
    plan = MarkerPlan("heron.front", "body", "red", 0.014, machine="heron")
    thick = replace(plan, thickness_m=0.0006)
    bare, moved = (predict_shapes(look(tilt, 1.0), [p], np.zeros((1, 3)), FLAT).shift_px[0] for p in (plan, thick))
    # The foot of a disc that lies flat is lower in the picture than its face: by f h sin(tilt) / distance.
    assert abs(moved - bare)[0] < 1e-6
    assert abs(moved - bare)[1] == pytest.approx(1000 * 0.0006 * np.sin(tilt) / 2, rel=0.01)
    # A rod stands up from the table; the disc's foot lies on its lower side.
    foot_px, top_px = (project_points(look(tilt, 1.0).parameters, np.array([[0, 0, z]])) for z in (0.0, 0.05))
    assert np.sign((moved - bare)[1]) == np.sign((foot_px - top_px)[0, 1])
    sphere = replace(thick, sphere=True)
    assert predict_shapes(look(tilt, 1.0), [sphere], np.zeros((1, 3)), FLAT).shift_px[0] == pytest.approx(
        predict_shapes(look(tilt, 1.0), [replace(plan, sphere=True)], np.zeros((1, 3)), FLAT).shift_px[0]
    )
