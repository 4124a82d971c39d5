"""A camera kept as a file."""

import json
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import Fault
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.sheets.calibration import format_calibration, read_calibration


@pytest.fixture
def view() -> TableView:
    rng = np.random.default_rng(3)
    root = rng.normal(size=(15, 15))
    camera = Camera(1280, 720, rng.normal(size=15), root @ root.T)
    points = (CalibrationPoint("tag 0 corner 1", -1.0, 0.4, 0.0, 120.5, 340.25, 0.03, -0.02, 0.05),)
    return TableView(camera, points, "4 tags", 0.06, rng.integers(0, 256, (36, 64), dtype=np.uint8))


def test_what_is_written_is_read_back(view: TableView, tmp_path: Path) -> None:
    path = tmp_path / "camera.json"
    path.write_text(format_calibration("Tuesday 1", "ab" * 32, view), encoding="utf-8")
    faults: list[Fault] = []
    kept = read_calibration(path, "camera.json", faults)
    assert kept is not None
    assert faults == []
    assert (kept.source, kept.clip_sha256) == ("Tuesday 1", "ab" * 32)
    assert np.array_equal(kept.view.camera.parameters, view.camera.parameters)
    assert np.array_equal(kept.view.camera.covariance, view.camera.covariance)
    assert [vars(p) for p in kept.view.points] == [vars(p) for p in view.points]
    assert view.picture is not None
    assert np.array_equal(kept.picture, view.picture)


@pytest.mark.parametrize(
    ("key", "value"),
    [("picture", "????"), ("picture_width_px", 63), ("parameters", [1, 2]), ("covariance", [[1]] * 15), ("run", None),
     ("parameter_names", ["fx_px"])],
)  # fmt: skip
def test_what_is_spoilt_is_said(view: TableView, tmp_path: Path, key: str, value: object) -> None:
    path = tmp_path / "camera.json"
    data = json.loads(format_calibration("Tuesday 1", "ab" * 32, view))
    path.write_text(json.dumps({**data, key: value}), encoding="utf-8")
    faults: list[Fault] = []
    assert read_calibration(path, "camera.json", faults) is None
    assert len(faults) == 1
    assert "earlier run" in faults[0].wanted


def test_no_json_is_said(tmp_path: Path) -> None:
    (tmp_path / "camera.json").write_text("not at all", encoding="utf-8")
    faults: list[Fault] = []
    assert read_calibration(tmp_path / "camera.json", "camera.json", faults) is None
    assert "cannot be read" in faults[0].found
