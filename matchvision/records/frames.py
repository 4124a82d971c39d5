"""Frames and facts of a clip."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture of the clip, upright, as the decoder's planes in 8 bits.

    Attributes
    ----------
    index : int
        Number of the picture in order of presentation, from 0.
    clip_s : float
        Presentation time less that of the first picture [s].
    luma : (rows, cols) uint8 array
    blue, red : (rows / step_row, cols / step_col) uint8 arrays
        Chroma planes Cb and Cr.
    chroma_step_px : (int, int)
        Luma pixels a chroma sample spans, (cols, rows); (2, 2) for 4:2:0.
    chroma_offset_px : (float, float)
        Where chroma sample [0, 0] lies in luma pixels, (col, row).
    doubled : bool
        The picture repeats the one before it although things move: it shows an earlier moment than ``clip_s`` says.
    """

    index: int
    clip_s: float
    luma: npt.NDArray[np.uint8]
    blue: npt.NDArray[np.uint8]
    red: npt.NDArray[np.uint8]
    chroma_step_px: tuple[int, int]
    chroma_offset_px: tuple[float, float]
    doubled: bool = False


@dataclass(frozen=True)
class FootageFault:
    """A weakness of the footage: what, what it costs, and what to do before filming again.

    ``weight``: "remark" costs nothing that was asked for, "costs" does, "unusable" leaves nothing to measure.
    """

    what: str
    consequence: str
    do: str
    weight: Literal["remark", "costs", "unusable"] = "costs"


@dataclass(frozen=True)
class ClipFacts:
    """What the clip's container says, before any picture is decoded.

    Attributes
    ----------
    sha256 : str
        Fingerprint of the file.
    width_px, height_px : int
        Size of the upright picture.
    rotation_deg : int
        Quarter turns (counter-clockwise) applied to make the picture upright.
    mirrored : bool
        Whether a mirror stored in the container was undone.
    frame_rate_per_s : float
        Average rate that the container states; times never come from it.
    matrix : "bt709", "bt601" or "bt2020"
        From luma and chroma to colours.
    full_range : bool
    transfer : str
        Transfer curve named by the clip, "" if none.
    duration_s : float
        From the first to the last picture that the file really holds [s].
    stated_duration_s : float
        How long the file says that it lasts [s]; NaN where it says nothing; the longer one where it breaks off.
    picture_rate_per_s : float
        Pictures a second on the file's own time line where none is missing; NaN for a single picture.
    recorded_rate_per_s : float
        Pictures a second at which the camera says that it recorded slow motion; NaN where it says nothing of the kind.
    readout_s : float
        Real time from the first row's exposure to the last one's, as the camera says; NaN where it says nothing.
    """

    path: Path
    sha256: str
    codec: str
    pixel_format: str
    width_px: int
    height_px: int
    rotation_deg: int
    mirrored: bool
    frame_rate_per_s: float
    duration_s: float
    matrix: str
    full_range: bool
    transfer: str
    faults: tuple[FootageFault, ...] = ()
    stated_duration_s: float = float("nan")
    picture_rate_per_s: float = float("nan")
    recorded_rate_per_s: float = float("nan")
    readout_s: float = float("nan")

    def real_per_clip_ratio(self, recorded_fps: float | None = None) -> float:
        """Real seconds that pass in a second of the clip: below 1 for slow motion.

        Parameters
        ----------
        recorded_fps : float, optional
            The rate at which the sheet says that the camera recorded; it goes before what the camera says.
        """
        recorded = recorded_fps if recorded_fps is not None else self.recorded_rate_per_s
        rate = self.picture_rate_per_s if np.isfinite(self.picture_rate_per_s) else self.frame_rate_per_s
        return rate / recorded if np.isfinite(recorded) and rate > 0 else 1.0
