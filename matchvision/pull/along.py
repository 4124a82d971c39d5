"""A machine on the rope as its drive direction sees it: how it moves along it, and how rope and slope pull on it."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.profile import surface_slope
from matchvision.records.motion import MachineMotion, RopeMotion
from matchvision.records.profile import is_level
from matchvision.records.sheet import TableSheet

#: A machine whose size the sheet does not give may reach this far to either side of its middle [m].
USUAL_REACH_M = 0.15


@dataclass(frozen=True, eq=False)
class Along:
    """(n,) arrays along a machine's forward direction on the surface under it.

    Attributes
    ----------
    speed_m_s, accel_m_s2, u_speed_m_s, u_accel_m_s2 : forward positive.
    back : share of the rope's pull that acts against the forward direction.
    up : share of the pull that lifts it off the surface.
    level, steep : cosine and sine of the climb; NaN astride a bend of the table.
    """

    speed_m_s: FloatArray
    accel_m_s2: FloatArray
    u_speed_m_s: FloatArray
    u_accel_m_s2: FloatArray
    back: FloatArray
    up: FloatArray
    level: FloatArray
    steep: FloatArray

    @property
    def rolling(self) -> FloatArray:
        """1 rolling forward, -1 backward, 0 where it cannot be told from standing."""
        return np.where(np.abs(self.speed_m_s) > 3 * self.u_speed_m_s, np.sign(self.speed_m_s), 0.0)


def move_along(home: str, end: int, moved: MachineMotion, rope: RopeMotion, slope_rad: FloatArray | float) -> Along:
    """How a machine at a rope end moves and is pulled along its forward direction.

    Parameters
    ----------
    home : "-x" or "+x"
    end : 0 or 1, the rope end hitched to it
    slope_rad : slope of the table under it, rising towards +x, (n,) or a number
    """
    side = 1 if home == "+x" else -1
    heading = np.deg2rad(moved.heading_deg)
    towards = np.cos(heading)
    steep = np.sin(slope_rad) * towards
    pull = (rope.pull_dir_x[:, end], rope.pull_dir_y[:, end], rope.pull_dir_z[:, end])
    forward = (np.cos(slope_rad) * towards, np.sin(heading), steep)
    normal = (-np.sin(slope_rad), 0.0, np.cos(slope_rad))
    return Along(
        speed_m_s=moved.speed_m_s * side * towards,
        accel_m_s2=moved.accel_m_s2 * side * towards,
        u_speed_m_s=moved.u_speed_m_s,
        u_accel_m_s2=moved.u_accel_m_s2,
        back=-(pull[0] * forward[0] + pull[1] * forward[1] + pull[2] * forward[2]),
        up=pull[0] * normal[0] + pull[1] * normal[1] + pull[2] * normal[2],
        level=np.sqrt(1 - steep**2),
        steep=steep,
    )


def slope_under(reach_m: float, table: TableSheet, x_m: FloatArray) -> FloatArray:
    """Slope (n,) [rad], rising towards +x, of the piece of table under a whole machine; NaN astride a bend.

    ``reach_m`` is how far it reaches to either side of its middle.
    """
    if is_level(table.profile_m):
        return np.zeros_like(x_m)
    ahead = np.arctan(surface_slope(table.profile_m, x_m + reach_m))
    behind = np.arctan(surface_slope(table.profile_m, x_m - reach_m))
    bends = np.array([x for x, _ in table.profile_m])
    astride = (np.abs(x_m[:, None] - bends) < reach_m).any(axis=1)
    return np.where(astride | (ahead != behind), np.nan, ahead)
