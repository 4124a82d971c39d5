"""The motor's straight line from stall to no load, seen at the wheels."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray

Numbers = float | FloatArray

#: 1 rev/min in rad/s.
RAD_S_PER_REV_MIN: Final = np.pi / 30


def wheel_stall_torque_Nm(  # noqa: N802 - SI capitals
    motors: float, stall_torque_Nm: Numbers, gear_ratio: Numbers, drive_efficiency: Numbers
) -> Numbers:
    """Stall torque of the whole drive at its wheels [Nm]: motors × stall torque of one × gear × efficiency.

    All arguments broadcast. ``gear_ratio`` is motor turns per wheel turn.

    Notes
    -----
    Checked by: tests/derived/test_motor_line.py::test_motor_to_pull_chain
    """
    return motors * stall_torque_Nm * gear_ratio * drive_efficiency


def wheel_free_rate_rad_s(no_load_rev_min: Numbers, gear_ratio: Numbers) -> Numbers:
    """Rate [rad/s] at which the wheels turn when the motor runs at its no-load speed [rev/min]."""
    return no_load_rev_min * RAD_S_PER_REV_MIN / gear_ratio


def drive_torque_Nm(  # noqa: N802 - SI capitals
    rate_rad_s: Numbers,
    share: Numbers,
    stall_torque_Nm: Numbers,
    free_rate_rad_s: Numbers,
    on_voltage: Numbers = False,
    sag_ratio: Numbers = 0.0,
) -> Numbers:
    """Torque [Nm] that the drive gives its wheels, before friction. All arguments broadcast.

    Parameters
    ----------
    rate_rad_s : wheel rate, positive while driving forward.
    share : share of full drive, as the throttle says, −1 (full backwards) to 1.
    stall_torque_Nm : Ts, total over the driven wheels.
    free_rate_rad_s : ω0, wheel rate at no load.
    on_voltage : False (0): the throttle acts on the torque; True (1): on the voltage.
    sag_ratio : share of the supply's voltage that is lost at stall current.

    Notes
    -----
    Torque law ``Ts · (share − |share| · ω/ω0)``, voltage law ``Ts · (share − ω/ω0)``. The supply sags in proportion to
    the current, hence to the torque: the voltage is multiplied by ``1 − sag · T/Ts``; solved for T, both laws are
    divided by ``1 + sag · |share|``. With the torque law a drive at share 0 does not brake; with the voltage law it
    does.
    Checked by: tests/derived/test_motor_line.py::test_greatest_power_lies_at_half_the_free_rate
    """
    turning = rate_rad_s / free_rate_rad_s
    on_torque_ratio = share - np.abs(share) * turning
    on_voltage_ratio = share - turning
    ratio = on_voltage * on_voltage_ratio + (1.0 - on_voltage) * on_torque_ratio
    return stall_torque_Nm * ratio / (1.0 + sag_ratio * np.abs(share))


def throttle_share(time_s: FloatArray, throttle: npt.ArrayLike, start_delay_s: float = 0.0) -> FloatArray:
    """Share of full drive (n,) at match times (n,) [s], from the table (k, 2) of time [s] and share.

    The points are joined by straight lines; before the first and after the last the nearest value holds. Without any
    points the drive is full on from the start. A late start moves the whole plan and gives nothing before it.
    """
    table = np.asarray(throttle, dtype=np.float64).reshape(-1, 2)
    time = np.asarray(time_s, dtype=np.float64) - start_delay_s
    if len(table) == 0:
        return np.where(time >= 0, 1.0, 0.0)
    return np.where(time >= 0, np.interp(time, table[:, 0], table[:, 1]), 0.0)
