"""Markers on machines' bodies, placed at their heights in a machine's frame that may tilt with the surface under it."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_on_plane
from matchvision.motion.sighting import Sighting
from matchvision.motion.surface import TURNS, Ground, axes_of

#: How well a sheet states the height of a marker on a machine [m].
U_SHEET_HEIGHT_M = 0.0005


@dataclass(frozen=True, eq=False)
class BodyPlaces:
    """Body markers of one machine on the planes of their heights in its frame, n frames by k markers.

    Attributes
    ----------
    columns : markers' columns in the tracks
    along_m : (n, k, 2) float array
        Travel along the origin's path at which the marker would be beside the origin, and y: on a level table x and y.
    cov_own : (n, k, 2, 2) float array
        Of these, from the pixels.
    camera_jacobian : (n, k, 2, 15) float array
        Their derivatives by the camera's parameters.
    place_m : (n, k, 3) float array
        In the table frame.
    u_place_m : (n, k, 2) float array
        Of x and y, with pixels, height and camera together.
    """

    columns: list[int]
    along_m: FloatArray
    cov_own: FloatArray
    camera_jacobian: FloatArray
    place_m: FloatArray
    u_place_m: FloatArray


def place_bodies(
    columns: list[int], offsets_m: FloatArray, ground: Ground, sighting: Sighting, home_sign: float
) -> BodyPlaces:
    """Body markers at their heights in the machine's frame; on a slope the frame tilts with the surface under it.

    Notes
    -----
    Where the machine is decides how it is tilted and the other way round: both are found in turns. Each gains a factor
    of five or more on slopes below 10°.
    Checked by: tests/derived/test_ridge.py::test_machine_over_the_crest
    """
    n, k = len(sighting.pixels_px), len(columns)
    if ground.level:
        placing = sighting.place(columns, np.broadcast_to(offsets_m[:, 2], (n, k)))
        along = np.stack([placing.x_m, placing.y_m], axis=-1)
        place = np.stack([placing.x_m, placing.y_m, np.where(np.isfinite(placing.x_m), placing.z_m, np.nan)], axis=-1)
        whole = placing.cov_own + placing.cov_camera
        by_height = sighting.lever[:, columns] * U_SHEET_HEIGHT_M
        u = np.sqrt(np.stack([whole[..., 0, 0], whole[..., 1, 1]], axis=-1) + by_height**2)
        return BodyPlaces(columns, along, placing.cov_own, placing.camera_jacobian, place, u)
    x = _rough_x(columns, offsets_m, sighting)
    for turn in range(TURNS):
        origin, forward, up = _standing(ground, x)
        at_height = origin[:, None] + up[:, None] * offsets_m[:, 2, None]
        if turn < TURNS - 1:
            placed = place_on_plane(
                sighting.parameters[:, None, :], sighting.pixels_px[:, columns], at_height, up[:, None]
            )
        else:
            placing_3d = sighting.place_on(columns, at_height, up[:, None], np.zeros(1))
            placed = placing_3d.point_m
        away = placed - origin[:, None]
        in_plane = np.stack([np.einsum("nki,ni->nk", away, forward), away[..., 1]], axis=-1)
        x = _filled(
            x + np.cos(np.arctan2(forward[:, 2], forward[:, 0])) * _origin_of(in_plane, offsets_m, home_sign), x
        )
    frame = np.stack([forward, np.broadcast_to([0.0, 1.0, 0.0], forward.shape)], axis=1)[:, None]
    turned = np.swapaxes(frame, -1, -2)
    in_plane[..., 0] += ground.travel(origin[:, 0])[:, None]
    by_height = np.abs(sighting.lever[:, columns]) * U_SHEET_HEIGHT_M
    whole_3d = placing_3d.cov_own + placing_3d.cov_camera
    u = np.sqrt(np.stack([whole_3d[..., 0, 0], whole_3d[..., 1, 1]], axis=-1) + by_height**2)
    return BodyPlaces(
        columns,
        in_plane,
        frame @ placing_3d.cov_own @ turned,
        frame @ placing_3d.camera_jacobian,
        placing_3d.point_m,
        u,
    )


def _standing(ground: Ground, x_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Origin (y = 0), direction along the slope towards +x, and up (n, 3) of machines at x."""
    x, z, tilt = ground.stand(ground.travel(x_m))
    forward, _, up = axes_of(np.zeros_like(tilt), tilt)
    return np.stack([x, np.zeros_like(x), z], axis=-1), forward, up


def _rough_x(columns: list[int], offsets_m: FloatArray, sighting: Sighting) -> FloatArray:
    """Where the machine is, to a few centimetres, from its markers above the surface."""
    z = sighting.above(columns, np.broadcast_to(offsets_m[:, 2], sighting.foot_m[:, columns].shape[:-1]))
    x = sighting.at(columns, z)[..., 0]
    seen = np.isfinite(x)
    mean = np.where(seen, x, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    return _filled(np.where(seen.any(axis=1), mean, np.nan), np.zeros(len(x)))


def _origin_of(in_plane: FloatArray, offsets_m: FloatArray, home_sign: float) -> FloatArray:
    """Origin's place (n,) along the slope from the seen markers (n, k, 2); a lone one is turned towards home."""
    seen = np.asarray(np.isfinite(in_plane).all(axis=-1))
    points = np.where(seen[..., None], in_plane, 0.0)
    count = np.maximum(seen.sum(axis=1), 1)[:, None]
    middle, centre = points.sum(axis=1) / count, (seen[..., None] * offsets_m[:, :2]).sum(axis=1) / count
    there = np.where(seen[..., None], points - middle[:, None], 0.0)
    here = np.where(seen[..., None], offsets_m[:, :2] - centre[:, None], 0.0)
    # Turn that brings the body onto the points best: the phase of their cross product.
    cross = ((here[..., 0] - 1j * here[..., 1]) * (there[..., 0] + 1j * there[..., 1])).sum(axis=1)
    size = np.abs(cross)
    turn = np.where(size > 0, cross / np.where(size > 0, size, 1.0), home_sign)
    return np.asarray(
        np.where(seen.any(axis=1), middle[:, 0] - (turn * (centre[:, 0] + 1j * centre[:, 1])).real, np.nan)
    )


def _filled(x: FloatArray, otherwise: FloatArray) -> FloatArray:
    """Values carried over frames without one."""
    at = np.flatnonzero(np.isfinite(x))
    return np.interp(np.arange(len(x)), at, x[at]) if len(at) else otherwise
