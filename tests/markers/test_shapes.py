"""The predicted ellipses against projections worked out by hand."""

import numpy as np
import pytest

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
