"""What the engine says of each machine and of each of its sides, row by row."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SideTruth:
    """The left or the right wheels (feet) of a machine, (k,) on the course's clock; NaN where it has no wheels.

    ``slip_m_s``: wheel surface faster than the ground along the machine's forward; ``traction_N`` along forward,
    ``across_N`` to the left; ``load_N`` normal; ``front_load_N`` the front wheel's part of it; ``grip_ratio`` the mean
    coefficient under the side.
    """

    rate_rad_s: FloatArray
    angle_rad: FloatArray
    slip_m_s: FloatArray
    traction_N: FloatArray
    across_N: FloatArray
    load_N: FloatArray
    front_load_N: FloatArray
    grip_ratio: FloatArray


@dataclass(frozen=True, eq=False)
class MachineTruth:
    """The body, (k,) on the course's clock.

    Velocity is that of the machine frame's origin in the table frame; pitch and roll count against the table under it,
    nose and left side up positive.
    """

    vx_m_s: FloatArray
    vy_m_s: FloatArray
    yaw_rate_rad_s: FloatArray
    pitch_rad: FloatArray
    roll_rad: FloatArray
    left: SideTruth
    right: SideTruth


SIDE_FIELDS = tuple(f.name for f in fields(SideTruth))
BODY_FIELDS = ("vx_m_s", "vy_m_s", "yaw_rate_rad_s", "pitch_rad", "roll_rad")
