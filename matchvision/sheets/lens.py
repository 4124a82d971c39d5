"""Lens sheets: a lens as a text file, to be used for every clip filmed with the same camera in the same mode."""

import tomllib
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
from pydantic import Field, ValidationError, model_validator

from matchvision.errors import Fault, SheetError
from matchvision.records.camera import CAMERA_PARAMETERS, Camera
from matchvision.records.sheet import LensSheet
from matchvision.records.values import NotNegative, Quantity, SheetModel
from matchvision.sheets.form import show_value

#: The parameters of a lens, in their order.
_LENS: Final = CAMERA_PARAMETERS[:9]
_DO: Final = "write lens sheets with: matchvision lens STILLS"


class _LensBlock(SheetModel):
    """``[lens]``: size of the picture, how the lens was found, and its nine numbers."""

    width_px: Annotated[int, Field(gt=0)]
    height_px: Annotated[int, Field(gt=0)]
    views: Annotated[int, Field(ge=0)]
    rms_px: NotNegative
    fx_px: Quantity
    fy_px: Quantity
    cx_px: Quantity
    cy_px: Quantity
    k1: Quantity
    k2: Quantity
    p1: Quantity
    p2: Quantity
    k3: Quantity
    correlation: tuple[tuple[float, ...], ...]

    @model_validator(mode="after")
    def _make_sense(self) -> "_LensBlock":
        for focal in (self.fx_px, self.fy_px):
            if not focal.value > 0:
                msg = "focal lengths are above 0"
                raise ValueError(msg)
        rows = [len(row) for row in self.correlation]
        if rows != [9] * 9:
            msg = f"correlation has 9 rows of 9 numbers, in the order {', '.join(_LENS)}"
            raise ValueError(msg)
        matrix = np.array(self.correlation)
        if not np.all(np.isfinite(matrix)) or np.any(np.abs(np.diag(matrix) - 1) > 1e-6):
            msg = "correlation has ones on its diagonal"
            raise ValueError(msg)
        if np.any(np.abs(matrix - matrix.T) > 1e-6) or float(np.min(np.linalg.eigvalsh(matrix))) < -1e-5:
            msg = "correlation is symmetric and no combination of its parameters has a negative variance"
            raise ValueError(msg)
        return self


class _LensFile(SheetModel):
    """A whole lens sheet."""

    lens: _LensBlock


def read_lens(path: Path) -> LensSheet:
    """Read a lens sheet.

    Raises
    ------
    SheetError
        With every fault: a file that is missing or no TOML, unknown or missing keys, wrong values.
    """
    shown = path.name
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise SheetError(shown, [Fault(shown, "the file is not there", "a lens sheet is wanted")], do=_DO) from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SheetError(shown, [Fault(shown, str(error), "a text file in TOML is wanted")], do=_DO) from None
    try:
        block = _LensFile.model_validate(data).lens
    except ValidationError as error:
        raise SheetError(shown, [_tell(shown, fault) for fault in error.errors()], do=_DO) from None
    quantities: list[Quantity] = [getattr(block, name) for name in _LENS]
    u = np.array([quantity.u for quantity in quantities])
    covariance = np.zeros((15, 15))
    covariance[:9, :9] = np.array(block.correlation) * np.outer(u, u)
    parameters = np.zeros(15)
    parameters[:9] = [quantity.value for quantity in quantities]
    return LensSheet(Camera(block.width_px, block.height_px, parameters, covariance), block.views, block.rms_px)


def _tell(shown: str, fault: Any) -> Fault:  # noqa: ANN401 - a mapping from the validation library
    where = ".".join(str(part) for part in fault["loc"]) or "lens"
    if fault["type"] == "missing":
        return Fault(f"{shown}, {where}", "is missing", f"a lens sheet has {', '.join(_LensBlock.model_fields)}")
    if fault["type"] == "extra_forbidden":
        return Fault(f"{shown}, {where}", "is unknown", f"a lens sheet has {', '.join(_LensBlock.model_fields)}")
    wanted = str(fault["msg"]).removeprefix("Value error, ")
    return Fault(f"{shown}, {where}", f"found {show_value(fault['input'])}", wanted)


def format_lens(sheet: LensSheet) -> str:
    """The lens sheet as text in TOML; `read_lens` gives the same lens back.

    Notes
    -----
    Checked by: tests/sheets/test_lens.py::test_written_sheet_reads_back
    """
    camera = sheet.camera
    covariance = camera.covariance[:9, :9]
    u = np.sqrt(np.diag(covariance))
    safe = np.where(u > 0, u, 1.0)
    correlation = covariance / np.outer(safe, safe)
    np.fill_diagonal(correlation, 1.0)
    lines = [
        "# Lens sheet: valid for this camera in this mode (size, zoom, stabilisation) and no other.",
        "# Integer pixels are pixel centres; u are standard uncertainties.",
        "[lens]",
        f"width_px = {camera.width_px}",
        f"height_px = {camera.height_px}",
        f"views = {sheet.views}",
        f"rms_px = {float(sheet.rms_px):.6g}",
    ]
    lines += [
        f"{name} = {{ value = {float(value):.10g}, u = {float(spread):.6g} }}"
        for name, value, spread in zip(_LENS, camera.parameters, u, strict=False)
    ]
    lines.append("correlation = [" + f"  # in the order {', '.join(_LENS)}")
    lines += ["  [" + ", ".join(f"{float(value):.7f}" for value in row) + "]," for row in correlation]
    return "\n".join([*lines, "]", ""])
