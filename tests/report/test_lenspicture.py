"""The lens's picture: drawn, and honest about where no corner was seen."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from matchvision.errors import OutputError
from matchvision.records.camera import Camera
from matchvision.records.sheet import LensSheet
from matchvision.report.lenspicture import draw_lens, empty_fields

SHEET = LensSheet(Camera(1280, 720, np.array([985.0, 985, 640, 360, *[0.0] * 11]), np.zeros((15, 15))), 1, 0.1)
CORNERS = {"left half": np.array([[c, r] for c in range(10, 640, 40) for r in range(10, 720, 40)], dtype=float)}


def test_fields_without_corners_are_hatched(tmp_path: Path) -> None:
    fields = empty_fields(SHEET, CORNERS)
    # 8 x 5 fields of 160 px, of which the left four columns are taken.
    assert len(fields) == 20
    assert min(left for left, _, _ in fields) == 639.5
    path = draw_lens(SHEET, CORNERS, {"left half": 0.1, "bad": 1.2}, tmp_path / "new" / "lens.png")
    picture = cv2.imread(str(path))
    assert picture is not None
    assert np.mean(picture < 200) > 0.01


def test_unwritable_picture_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        draw_lens(SHEET, CORNERS, {"left half": 0.1}, tmp_path / "lens.nothing")
