"""The camera while a table point is being dragged: leant from the one that was found last, in a few small steps."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import Camera
from matchvision.records.sheet import TablePoint, TableSheet

#: Steps of Gauss and Newton; a drag is small, and its few points are nearly linear in the camera.
_STEPS: Final = 6
#: A step larger than this, in standard deviations of the camera that was found, is cut to it.
_LONGEST: Final = 30.0


def lean_camera(
    found: Camera, before: Sequence[TablePoint], now: Sequence[TablePoint], table: TableSheet
) -> Camera | None:
    """The camera that other clicks would give beside all that the found one stands on; None where it leads nowhere.

    Parameters
    ----------
    found : Camera
        As the whole calibration found it, tags, edges and lens included.
    before, now : sequences of TablePoint
        The clicks that it was found with, and those that shall count instead.

    Notes
    -----
    The inverse covariance is the information of all that was seen. Less that of the former clicks it is what tags,
    edges and the lens's prior say, whose pull at the found camera is opposite and equal to that of the former clicks.
    To it the new clicks are added, projected anew in each step. What it leaves out: noise learnt anew, strays left out,
    edges looked for anew; the whole calibration does that when the point is let go.
    Checked by: tests/desk/test_leaning.py::test_a_leant_camera_is_the_one_that_is_then_found
    """
    spread = np.sqrt(np.diag(found.covariance))
    spread = np.where(spread > 0, spread, 1e-12)
    information = np.linalg.pinv(found.covariance / np.outer(spread, spread), rcond=1e-12, hermitian=True)

    def clicks(parameters: FloatArray, points: Sequence[TablePoint]) -> tuple[FloatArray, FloatArray]:
        """Information of clicks and their pull, in standard deviations of the found camera."""
        if not points:
            return np.zeros((15, 15)), np.zeros(15)
        at = np.array([[*p.at_m, surface_height(table.profile_m, p.at_m[0])][:3] for p in points], dtype=np.float64)
        seen = np.array([p.pixel for p in points], dtype=np.float64)
        weight = np.repeat([1 / p.u_px for p in points], 2)
        slopes = weight[:, None] * parameter_jacobian(parameters, at).reshape(-1, 15) * spread
        apart = weight * (seen - project_points(parameters, at)).ravel()
        return slopes.T @ slopes, slopes.T @ apart

    own, pull = clicks(found.parameters, before)
    values, vectors = np.linalg.eigh(information - own)
    rest = (vectors * np.maximum(values, 0.0)) @ vectors.T
    moved = np.zeros(15)
    whole = rest
    for _ in range(_STEPS):
        told, pulled = clicks(found.parameters + spread * moved, now)
        if not np.isfinite(pulled).all():
            return None
        whole = rest + told
        # Where nothing is known the found camera is kept: one part in a million of what it stood on.
        step = np.linalg.solve(whole + 1e-6 * np.eye(15), pulled - pull - rest @ moved)
        moved = moved + step * min(1.0, _LONGEST / max(float(np.abs(step).max()), 1e-9))
    covariance = np.linalg.inv(whole + 1e-6 * np.eye(15)) * np.outer(spread, spread)
    parameters = found.parameters + spread * moved
    return Camera(found.width_px, found.height_px, parameters, (covariance + covariance.T) / 2)
