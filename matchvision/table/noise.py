"""How well known points are located in a picture, and which of their errors go together."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.placing import direction_jacobian

#: Error of a tag side as seen, before the fit learns better [px].
EDGE_NOISE_PX = 0.08
#: How far both ends of one side err together.
_SIDE_CORRELATION = 0.5
#: How well a tag's place on the table is known when it was laid with care [m], before the fit learns better.
U_TAG_PLACE_M = 0.0003
#: How high a print of unstated thickness lies above the table, and how well that is known [m]: a sheet of paper is
#: 0.1 mm thick, a laminated one 0.3 mm, one glued on card 0.5 mm or more, and none lies below the table.
USUAL_TAG_HEIGHT_M, U_TAG_HEIGHT_M = 0.0003, 0.0003
#: Where the sheet states how thick each print is, their common height is known to this [m].
U_STATED_HEIGHT_M = 0.0001
#: What the expected noise is worth, in residuals, against what the fit finds.
NOISE_WORTH = 4.0


@dataclass(frozen=True, eq=False)
class Sighting:
    """Known points as one picture shows them, p of them.

    Attributes
    ----------
    points_m : (p, 3) float array
    pixels_px : (p, 2) float array
    directions : (p, 2, 2) float array
        Two unit vectors in whose directions each point is located: the normals of a tag corner's two sides, or the
        picture's axes for a click.
    u_px : (p,) float array
        Standard uncertainty in each of these directions, before the fit has its say.
    from_edges : (p,) bool array
        Corners of tags, which stand first, four a tag: they share the bleed, and their noise level is learnt.
    """

    points_m: FloatArray
    pixels_px: FloatArray
    directions: FloatArray
    u_px: FloatArray
    from_edges: npt.NDArray[np.bool_]


def keep_points(sighting: Sighting, which: npt.NDArray[np.bool_]) -> Sighting:
    """Some of a sighting's points; of a tag all four corners or none."""
    return Sighting(
        sighting.points_m[which],
        sighting.pixels_px[which],
        sighting.directions[which],
        sighting.u_px[which],
        sighting.from_edges[which],
    )


@dataclass(frozen=True)
class NoiseScale:
    """Noise found over noise expected: of tag sides, of the tags' places on the table, and of clicks."""

    sides: float = 1.0
    places: float = 1.0
    clicks: float = 1.0


def noise_parts(sighting: Sighting, camera: FloatArray, scale: NoiseScale) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Covariances (2p, 2p) [px²] along each point's two directions, from sides, places and clicks.

    The errors of a tag's corners are not independent: both ends of a side err together, for one line was fitted, and
    a tag laid half a millimetre off takes all its corners along.
    """
    edge = np.repeat(sighting.from_edges, 2)
    u_px = np.repeat(sighting.u_px, 2)
    tags = int(np.sum(sighting.from_edges)) // 4
    corner = 4 * np.arange(tags)[:, None] + np.arange(4)
    begins, ends = 2 * corner + 1, 2 * np.roll(corner, -1, axis=1)
    correlation = np.eye(len(u_px))
    correlation[begins, ends] = correlation[ends, begins] = _SIDE_CORRELATION
    from_sides = correlation * np.outer(u_px * edge, u_px * edge) * scale.sides**2
    from_clicks = np.diag((u_px * ~edge * scale.clicks) ** 2)
    from_places = np.zeros_like(correlation)
    if tags:
        points = sighting.points_m[: 4 * tags]
        axes = (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
        moved = np.stack([direction_jacobian(camera, points, axis) for axis in axes], axis=-1)
        along = np.nan_to_num(np.einsum("pij,pjk->pik", sighting.directions[: 4 * tags], moved))
        for k, lever in enumerate(along.reshape(tags, 8, 2) * U_TAG_PLACE_M * scale.places):
            from_places[8 * k : 8 * k + 8, 8 * k : 8 * k + 8] = lever @ lever.T
    return from_sides, from_places, from_clicks
