"""A run as read from disk: its sheet and what the files hold to which the sheet points."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from matchvision.records.camera import Calibration, Camera
from matchvision.records.mends import Mends
from matchvision.records.sheet.whole import RunSheet


@dataclass(frozen=True, eq=False)
class HangTest:
    """A hang test of the sprung link: masses hung on it and its length under each.

    ``mass_kg`` and ``length_m`` are float arrays of one length n >= 3; ``loading`` says "up", "down" or "" a row.
    """

    mass_kg: npt.NDArray[np.float64]
    length_m: npt.NDArray[np.float64]
    loading: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ForecastCurve:
    """A forecast brought as a table from any tool: columns by name, each a float array of one length."""

    columns: Mapping[str, npt.NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class LensSheet:
    """A lens from chessboard stills: a camera whose pose is meaningless, with the covariance of its lens part."""

    camera: Camera
    views: int
    rms_px: float


@dataclass(frozen=True, eq=False)
class Run:
    """A run as read from disk: the sheet and every file that it points to, loaded and checked.

    ``sheet_texts`` keeps the sheets as they were written, by path, for the report; ``mends`` what was mended by hand.
    """

    sheet: RunSheet
    folder: Path
    hang_test: HangTest | None = None
    lens: LensSheet | None = None
    calibration: Calibration | None = None
    curves: Mapping[str, ForecastCurve] = field(default_factory=dict)
    commands: Mapping[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    sheet_texts: Mapping[str, str] = field(default_factory=dict)
    mends: Mends = field(default_factory=Mends)

    @property
    def clip(self) -> Path:
        """The clip file; the loader has made its path absolute."""
        return self.sheet.run.clip
