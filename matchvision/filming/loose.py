"""A rope that one hitch has let go: it drops to the table and is drawn along behind the machine that still holds it."""

import math
from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.ground import GRAVITY_M_S2, surface_m
from matchvision.filming.scene import Table

NODES = 81  # points of the rope that are followed
EVERY_S = 0.002  # step of the integration
RAMP_M = 0.12  # rope beside the held hitch that does not reach the table


@dataclass(frozen=True)
class LooseRope:
    """The rope since its release: nodes at equal arc lengths, (times, nodes, 3), the first one at the held hitch."""

    clip_s: Array
    nodes: Array
    held_first: bool

    def curves(self, clip_s: Array, points: int) -> Array:
        """Curves (n, points, 3) from the rope's first end to its second."""
        place = np.clip((clip_s - self.clip_s[0]) / EVERY_S, 0, len(self.clip_s) - 1)
        k = np.minimum(place.astype(int), len(self.clip_s) - 2)
        part = (place - k)[:, None, None]
        nodes = self.nodes[k] * (1 - part) + self.nodes[k + 1] * part
        where = np.linspace(0, NODES - 1, points)
        low = np.minimum(where.astype(int), NODES - 2)
        share = (where - low)[None, :, None]
        curve = nodes[:, low] * (1 - share) + nodes[:, low + 1] * share
        return np.asarray(curve if self.held_first else curve[:, ::-1])


def drop_rope(
    curve: Array, release_s: float, hitch_s: Array, hitch: Array, length_m: float, table: Table, radius_m: float,
    *, held_first: bool,
) -> LooseRope:  # fmt: skip
    """What a rope does after one end was let go.

    Parameters
    ----------
    curve : array, shape (nodes, 3)
        How it runs at the release, from the held end to the free one.
    release_s : float [s]
    hitch_s, hitch : array, shapes (n,) and (n, 3)
        The held hitch's way from the release on.
    length_m : float
        Unloaded length.
    table : Table
    radius_m : float
        Height of its middle when it lies.
    held_first : bool
        Whether the held end is the rope's first.

    Notes
    -----
    Heights: every node falls freely until it lies, but for the first `RAMP_M` of rope, which hangs in a parabola from
    the hitch to the table. In plan each node stays where it is (friction) until the piece between it and its neighbour
    towards the held end is drawn straight, and then follows it. The rope's stretch is gone at once.

    Checked by: tests/filming/test_loose.py::test_a_released_rope_follows_the_hitch_that_holds_it
    """
    times = np.arange(release_s, hitch_s[-1] + EVERY_S, EVERY_S)
    way = np.stack([np.interp(times, hitch_s, hitch[:, axis]) for axis in range(3)], axis=-1)
    piece = length_m / (NODES - 1)
    hanging = np.clip(1 - piece * np.arange(NODES) / RAMP_M, 0, 1) ** 2
    plan, start_m = curve[:, :2].astype(float), curve[:, 2]
    found = np.empty((len(times), NODES, 3))
    for k in range(len(times)):
        floor = surface_m(table, plan[:, 0]) + radius_m
        falling = start_m - GRAVITY_M_S2 * (times[k] - release_s) ** 2 / 2
        height = np.maximum(falling, floor + hanging * np.maximum(way[k, 2] - floor, 0))
        height[0] = way[k, 2]
        reach = np.sqrt(np.maximum(piece**2 - np.diff(height) ** 2, 0)).tolist()
        rows = plan.tolist()
        x, y = rows[0] = way[k, :2].tolist()
        for row, span in zip(rows[1:], reach, strict=True):
            dx, dy = row[0] - x, row[1] - y
            far = math.hypot(dx, dy)
            if far > span:
                row[0], row[1] = x + span / far * dx, y + span / far * dy
            x, y = row
        plan = np.array(rows)
        found[k] = np.column_stack([plan, height])
    return LooseRope(times, found, held_first)
