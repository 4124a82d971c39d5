"""The table's height profile z(x), as points joined by straight lines, and what these say by themselves."""

from collections.abc import Sequence

import numpy as np

from matchvision.arrays import FloatArray

#: Points (x, z) [m]; none on a level table.
Profile = Sequence[tuple[float, float]]


def is_level(profile_m: Profile) -> bool:
    """Whether a profile says no more than that the table is flat."""
    return len(profile_m) < 2 or all(z == 0 for _, z in profile_m)


def crests_of(profile_m: Profile, above_m: float = 0.0) -> FloatArray:
    """Places (c, 2) as x and z [m] at which the surface bends downwards, raised by ``above_m``, in the order of x."""
    if is_level(profile_m):
        return np.zeros((0, 2))
    points = np.array(sorted(profile_m), dtype=np.float64)
    slopes = np.diff(points[:, 1]) / np.diff(points[:, 0])
    return points[1:-1][np.diff(slopes) < -1e-9] + [0.0, above_m]
