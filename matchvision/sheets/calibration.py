"""A still camera kept as a file, so that the other runs of an evening can share it."""

import base64
import binascii
import json
import zlib
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import Field, ValidationError

from matchvision.errors import Fault
from matchvision.records.camera import CAMERA_PARAMETERS, Calibration, CalibrationPoint, Camera, TableView
from matchvision.records.values import SheetModel

_WANTED = "the camera.json from the results of an earlier run is wanted, unchanged"


class _CameraFile(SheetModel):
    """A whole ``camera.json``; the picture is raw luma, row by row, packed by zlib and written in base 64."""

    run: str
    clip_sha256: str
    source: str
    rms_px: float
    width_px: int = Field(gt=0)
    height_px: int = Field(gt=0)
    parameters: tuple[float, ...] = Field(min_length=15, max_length=15)
    covariance: tuple[tuple[float, ...], ...] = Field(min_length=15, max_length=15)
    points: tuple[CalibrationPoint, ...]
    picture_width_px: int = Field(gt=0)
    picture_height_px: int = Field(gt=0)
    picture: str


def format_calibration(run: str, clip_sha256: str, view: TableView) -> str:
    """A view of the table as the text of a ``camera.json``.

    Notes
    -----
    Checked by: tests/sheets/test_calibration.py::test_what_is_written_is_read_back
    """
    picture = np.zeros((1, 1), dtype=np.uint8) if view.picture is None else view.picture
    data: dict[str, Any] = {
        "run": run,
        "clip_sha256": clip_sha256,
        "source": view.source,
        "rms_px": view.rms_px,
        "width_px": view.camera.width_px,
        "height_px": view.camera.height_px,
        "parameters": view.camera.parameters.tolist(),
        "parameter_names": list(CAMERA_PARAMETERS),
        "covariance": view.camera.covariance.tolist(),
        "points": [vars(p) for p in view.points],
        "picture_width_px": picture.shape[1],
        "picture_height_px": picture.shape[0],
        "picture": base64.b64encode(zlib.compress(np.ascontiguousarray(picture).tobytes(), 9)).decode("ascii"),
    }
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def read_calibration(path: Path, shown: str, faults: list[Fault]) -> Calibration | None:
    """Read a ``camera.json``; what is wrong with it goes to ``faults``."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(data, dict) and data.pop("parameter_names", list(CAMERA_PARAMETERS)) != list(CAMERA_PARAMETERS):
            faults.append(Fault(shown, "its camera is described by other parameters", _WANTED))
            return None
        kept = _CameraFile.model_validate(data)
        picture = np.frombuffer(zlib.decompress(base64.b64decode(kept.picture)), dtype=np.uint8)
        picture = picture.reshape(kept.picture_height_px, kept.picture_width_px)
        covariance = np.array(kept.covariance, dtype=np.float64).reshape(15, 15)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        faults.append(Fault(shown, f"{place}: {first['msg']}", _WANTED))
        return None
    except (OSError, ValueError, zlib.error, binascii.Error) as error:
        faults.append(Fault(shown, f"it cannot be read ({error})", _WANTED))
        return None
    camera = Camera(kept.width_px, kept.height_px, np.array(kept.parameters), covariance)
    view = TableView(camera, kept.points, kept.source, kept.rms_px, picture)
    return Calibration(kept.run, kept.clip_sha256, view, picture)
