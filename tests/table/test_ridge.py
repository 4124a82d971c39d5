"""The table stage on a filmed ridge of six degrees: tags in the slopes, places at the height of the surface."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np

from matchvision import filming
from matchvision.filming.scene import Clock
from matchvision.footage import first_look, read_facts
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.sheets import load_run
from matchvision.table import find_table
from tests.truth import read_truth_facts


def test_places_on_a_filmed_ridge_are_within_a_millimetre_and_a_half(tmp_path: Path) -> None:
    """Wanted: 1.5 mm rms without a lens sheet, at 0, 50 and 120 mm above the slopes; uncertainty of the right size."""
    scene = filming.read_scene(Path(str(files(filming) / "scenes" / "match-over-ridge.toml")))
    clock = Clock(start_s=0.05, duration_s=0.06, after_s=0.04)
    filming.film(replace(scene, clock=clock, hand=(), sound=None, lamp=None), tmp_path)
    run = load_run(tmp_path)
    view, note = find_table(first_look(read_facts(run.clip)), run.sheet, None)
    assert not note.warnings
    assert "6 tags + 4 table edges" in view.source

    facts = read_truth_facts(tmp_path)["camera"]
    k = facts["K"]
    lens = [k[0][0], k[1][1], k[0][2], k[1][2], *facts["dist_k1_k2_p1_p2_k3"]]
    truth = np.array([*lens, *facts["rvec"], *facts["t_table_to_camera"]])
    grid = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-0.4, 0.4, 5), [0.0, 0.05, 0.12], indexing="ij")
    places = np.stack(grid, axis=-1).reshape(1, -1, 3)
    places[..., 2] += surface_height(run.sheet.table.profile_m, places[..., 0])
    pixels = project_points(truth, places)
    zero = np.zeros(places.shape[:2])
    camera = view.camera
    placed = place_with_uncertainty(camera.parameters, camera.covariance, pixels, 0 * pixels, places[..., 2], zero)
    error = np.stack([placed.x_m, placed.y_m], axis=-1) - places[..., :2]
    u = np.sqrt(np.diagonal(placed.cov_camera, axis1=-2, axis2=-1))
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.0015
    assert 0.1 < np.sqrt(np.mean(error**2) / np.mean(u**2)) < 2
