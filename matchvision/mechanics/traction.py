"""Words and ratios of traction: slip two ways, pull against load.

Terms after ASABE S296, General Terminology for Traction of Agricultural Traction and Transport Devices and Vehicles.
"""

import numpy as np

from matchvision.arrays import FloatArray

Numbers = float | FloatArray


def travel_reduction(speed_m_s: Numbers, surface_speed_m_s: Numbers) -> FloatArray:
    """Travel reduction s = 1 − v / (ω r): 0 rolling, 1 spinning on the spot; NaN where the wheel stands.

    Notes
    -----
    ASABE S296, travel reduction ("slip").
    Checked by: tests/derived/test_slip_measures.py::test_travel_reduction
    """
    speed, surface = np.broadcast_arrays(
        np.asarray(speed_m_s, dtype=np.float64), np.asarray(surface_speed_m_s, dtype=np.float64)
    )
    out = np.full(surface.shape, np.nan)
    return np.asarray(1.0 - np.divide(speed, surface, out=out, where=surface != 0))


def net_traction_ratio(pull_N: Numbers, dynamic_load_N: Numbers) -> FloatArray:
    """Net traction ratio: pull over dynamic load (weight transfer included); NaN where nothing rests on the wheels.

    Notes
    -----
    Checked by: tests/derived/test_weight_transfer.py::test_net_traction_ratio
    """
    pull, load = np.broadcast_arrays(np.asarray(pull_N, dtype=np.float64), np.asarray(dynamic_load_N, dtype=np.float64))
    return np.asarray(np.divide(pull, load, out=np.full(load.shape, np.nan), where=load > 0))


def gross_traction_N(axle_torque_Nm: Numbers, rolling_radius_m: Numbers) -> FloatArray:  # noqa: N802 - SI capitals
    """Gross traction [N]: axle torque over rolling radius; less the motion resistance it is the net traction."""
    return np.asarray(np.asarray(axle_torque_Nm, dtype=np.float64) / rolling_radius_m)
