"""What a picture shows of the known points: tag corners from their sides, and clicks."""

from collections.abc import Mapping, Sequence

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.profile import surface_height
from matchvision.records.sheet import TableSheet
from matchvision.table.edges import locate_edges, side_frames
from matchvision.table.noise import EDGE_NOISE_PX, Sighting
from matchvision.table.tags import Luma, TagLayout, TagName

#: Uncertainty of the detector's corners, on which only the first guess stands [px].
_DETECTOR_NOISE_PX = 1.0


def join_sightings(parts: Sequence[Sighting]) -> Sighting:
    """Several sightings of one picture as one."""
    return Sighting(
        np.concatenate([s.points_m for s in parts]),
        np.concatenate([s.pixels_px for s in parts]),
        np.concatenate([s.directions for s in parts]),
        np.concatenate([s.u_px for s in parts]),
        np.concatenate([s.from_edges for s in parts]),
    )


def sight_clicks(table: TableSheet) -> Sighting:
    """The clicked points; one given without a height lies on the table's surface."""
    count = len(table.point)
    points = np.zeros((count, 3))
    for k, point in enumerate(table.point):
        x, y = point.at_m[:2]
        points[k] = x, y, point.at_m[2] if len(point.at_m) == 3 else surface_height(table.profile_m, x)
    pixels = np.array([point.pixel for point in table.point], dtype=np.float64).reshape(count, 2)
    u_px = np.array([point.u_px for point in table.point], dtype=np.float64)
    return Sighting(points, pixels, np.tile(np.eye(2), (count, 1, 1)), u_px, np.zeros(count, dtype=bool))


def sight_roughly(layout: TagLayout, found: Mapping[TagName, FloatArray]) -> Sighting:
    """Tag corners as the detector gives them: good for a first guess."""
    names = [name for name in layout.names if name in found]
    points = layout.pick(names).corners_m.reshape(-1, 3)
    pixels = np.array([found[name] for name in names], dtype=np.float64).reshape(-1, 2)
    count = len(points)
    u_px = np.full(count, _DETECTOR_NOISE_PX)
    return Sighting(points, pixels, np.tile(np.eye(2), (count, 1, 1)), u_px, np.zeros(count, dtype=bool))


def sight_edges(
    luma: Luma | FloatArray, layout: TagLayout, camera: FloatArray, *, quick: bool = False
) -> tuple[Sighting, tuple[TagName, ...]]:
    """Tag corners from their sides, near where a camera (15,) expects them; and the names of the tags so found."""
    middles = (layout.corners_m + np.roll(layout.corners_m, -1, axis=1)) / 2
    placed = project_points(camera, np.concatenate([layout.corners_m, middles], axis=1))
    corners, middles_px = placed[:, :4], placed[:, 4:]
    seen = np.all(np.isfinite(placed), axis=(-1, -2))
    corners = np.where(seen[:, None, None], corners, 0.0)
    start, _, normal, _ = side_frames(corners)
    sag = np.where(seen[:, None], np.sum((np.nan_to_num(middles_px) - start) * normal, axis=-1), 0.0)
    edges = locate_edges(luma, corners, sag, layout.cells, quick=quick)
    good = edges.good & seen
    # Corner i lies where side i − 1 ends and side i begins.
    directions = np.stack([np.roll(edges.normal, 1, axis=1), edges.normal], axis=-2)[good]
    offsets = np.stack([np.roll(edges.offset_px[..., 1], 1, axis=1), edges.offset_px[..., 0]], axis=-1)[good]
    pixels = corners[good] + np.linalg.solve(directions, offsets[..., None])[..., 0]
    count = 4 * int(np.sum(good))
    sighting = Sighting(
        layout.corners_m[good].reshape(-1, 3),
        pixels.reshape(-1, 2),
        directions.reshape(-1, 2, 2),
        np.full(count, EDGE_NOISE_PX),
        np.ones(count, dtype=bool),
    )
    return sighting, tuple(name for name, fine in zip(layout.names, good, strict=True) if fine)
