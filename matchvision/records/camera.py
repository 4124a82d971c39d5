"""The camera as a list of numbers with a covariance; ``matchvision.geometry`` knows what they mean."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

#: Order of the parameters everywhere: focal lengths and principal point [px], distortion (radial k1 k2 k3 and
#: tangential p1 p2, as in the common Brown–Conrady form), rotation vector [rad] and translation [m] camera_from_table.
CAMERA_PARAMETERS: Final = (
    "fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3",
    "rotation_x_rad", "rotation_y_rad", "rotation_z_rad", "translation_x_m", "translation_y_m", "translation_z_m",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Camera:
    """One camera: pixel from table frame.

    Attributes
    ----------
    width_px, height_px : int
        Size of the upright picture.
    parameters : (15,) float array
        In the order of `CAMERA_PARAMETERS`.
    covariance : (15, 15) float array
        Covariance of the parameters; rows of parameters held fixed are zero.
    """

    width_px: int
    height_px: int
    parameters: npt.NDArray[np.float64]
    covariance: npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cameras:
    """The camera over the clip: one for all frames, or one for each.

    Attributes
    ----------
    moves : bool
        Whether each frame has its own pose.
    frame : (n,) int array
        Frame numbers; n = 1 for a still camera (the entry serves every frame).
    parameters : (n, 15) float array
    covariance : (n, 15, 15) float array
    supported : (n,) bool array
        False where a frame's pose was carried over for want of support.
    """

    width_px: int
    height_px: int
    moves: bool
    frame: npt.NDArray[np.int64]
    parameters: npt.NDArray[np.float64]
    covariance: npt.NDArray[np.float64]
    supported: npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class CalibrationPoint:
    """One point of the calibration, and how far it lies from where the camera says.

    ``residual_*`` = seen − projected; ``expected_px`` is the residual's expected size per axis.
    """

    name: str
    x_m: float
    y_m: float
    z_m: float
    col_px: float
    row_px: float
    residual_col_px: float
    residual_row_px: float
    expected_px: float


@dataclass(frozen=True, eq=False)
class TableView:
    """What the table stage gives: the first camera, the points it stands on and how it was found.

    ``picture`` is a small luma picture of the scene, by which later runs tell whether the camera still stands there.
    """

    camera: Camera
    points: tuple[CalibrationPoint, ...]
    source: str
    rms_px: float
    picture: npt.NDArray[np.uint8] | None = None


@dataclass(frozen=True, eq=False)
class Calibration:
    """A still camera kept from one run for others.

    Attributes
    ----------
    source : str
        Name of the run that it comes from.
    clip_sha256 : str
        Fingerprint of that run's clip.
    view : TableView
    picture : (rows, cols) uint8 array
        Small luma picture of the scene.
    """

    source: str
    clip_sha256: str
    view: TableView
    picture: npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Scene:
    """A small luma picture of the scene, and how far it lies off that of a kept calibration.

    ``moved_px`` is in pixels of the clip's pictures, NaN where nothing was compared; ``blocks`` says how many parts of
    the picture could tell.
    """

    picture: npt.NDArray[np.uint8]
    moved_px: float = float("nan")
    blocks: int = 0
