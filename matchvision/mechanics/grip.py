"""Weight transfer and what grip can carry: closed forms for steady pulling.

The machine frame lies on the table midway between the axles, x forward, z up. A pull acts at the hitch, backwards
while the machine pulls the rope.
"""

from typing import Literal

import numpy as np

from matchvision.arrays import FloatArray

Numbers = float | FloatArray
Driven = Literal["front", "rear", "all"]

#: Standard gravity [m/s²], the value agreed by the 3rd CGPM (1901).
STANDARD_GRAVITY_M_S2 = 9.80665


def axle_loads_N(  # noqa: N802 - SI capitals
    mass_kg: Numbers,
    gravity_m_s2: float,
    wheelbase_m: float,
    centre_of_mass_m: tuple[float, float],
    hitch_m: tuple[float, float],
    pull_back_N: Numbers,
    pull_up_N: Numbers = 0.0,
    accel_m_s2: Numbers = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Loads on the front and on the rear axle [N] of a machine that pulls on level ground.

    Parameters
    ----------
    mass_kg, gravity_m_s2, wheelbase_m : the machine's mass, gravity, distance between the axles.
    centre_of_mass_m : (x, z) of the centre of mass in the machine frame.
    hitch_m : (x, z) of the hitch in the machine frame.
    pull_back_N : horizontal pull on the hitch, positive against the way the machine drives. Broadcasts.
    pull_up_N : vertical pull on the hitch, positive upwards. Broadcasts.
    accel_m_s2 : acceleration, positive forward. Broadcasts.

    Returns
    -------
    front_N, rear_N : arrays of the broadcast shape. Where an axle would lift (negative load) it carries 0 and the
        other all of it.

    Notes
    -----
    Moments about the point on the ground midway between the axles:
    ``(front − rear) L/2 = W x_c − pull_up x_h − pull_back z_h − m a z_c``.
    Form as in R. H. Macmillan, The Mechanics of Tractor–Implement Performance (Univ. of Melbourne, 2002), ch. 6.
    Checked by: tests/published/test_mujoco_matches.py::test_pull_at_the_hitch_loads_the_rear_wheels_alike
    """
    weight = np.asarray(mass_kg, dtype=np.float64) * gravity_m_s2
    total = weight - np.asarray(pull_up_N, dtype=np.float64)
    moment = (
        weight * centre_of_mass_m[0]
        - np.asarray(pull_up_N, dtype=np.float64) * hitch_m[0]
        - np.asarray(pull_back_N, dtype=np.float64) * hitch_m[1]
        - np.asarray(mass_kg, dtype=np.float64) * np.asarray(accel_m_s2, dtype=np.float64) * centre_of_mass_m[1]
    )
    front = np.clip(total / 2 + moment / wheelbase_m, 0.0, np.maximum(total, 0.0))
    return np.asarray(front, dtype=np.float64), np.asarray(np.maximum(total, 0.0) - front, dtype=np.float64)


def driven_load_N(  # noqa: N802 - SI capitals
    mass_kg: Numbers,
    gravity_m_s2: float,
    wheelbase_m: float,
    centre_of_mass_m: tuple[float, float],
    hitch_m: tuple[float, float],
    pull_back_N: Numbers,
    pull_up_N: Numbers = 0.0,
    accel_m_s2: Numbers = 0.0,
    *,
    driven: Driven = "all",
) -> FloatArray:
    """Normal load [N] on the driven wheels; arguments as for `axle_loads_N`.

    Notes
    -----
    Checked by: tests/derived/test_weight_transfer.py::test_load_on_the_rear_axle
    """
    front, rear = axle_loads_N(
        mass_kg, gravity_m_s2, wheelbase_m, centre_of_mass_m, hitch_m, pull_back_N, pull_up_N, accel_m_s2
    )
    if driven == "front":
        return front
    return rear if driven == "rear" else front + rear


def grip_limited_pull_N(  # noqa: N802 - SI capitals
    grip: Numbers,
    mass_kg: Numbers,
    gravity_m_s2: float,
    wheelbase_m: float,
    centre_of_mass_x_m: float,
    hitch_height_m: float,
    *,
    driven: Driven = "all",
) -> FloatArray:
    """Greatest steady horizontal pull [N] that the driven wheels' grip carries on level ground.

    ``grip`` is the coefficient of friction; ``centre_of_mass_x_m`` counts forward from midway between the axles.

    Notes
    -----
    With b from the front axle to the centre of mass, pull = grip × driven load gives
    rear ``μ W b/(L − μ h)``, front ``μ W (L − b)/(L + μ h)``, all ``μ W``. A rear-driven machine cannot carry more than
    its whole weight on the rear axle, hence never more than ``μ W``.
    Checked by: tests/derived/test_weight_transfer.py::test_grip_limited_pull_of_rear_drive
    """
    coefficient = np.asarray(grip, dtype=np.float64)
    weight = np.asarray(mass_kg, dtype=np.float64) * gravity_m_s2
    behind_front_m = wheelbase_m / 2 - centre_of_mass_x_m
    if driven == "front":
        return np.asarray(
            coefficient * weight * (wheelbase_m - behind_front_m) / (wheelbase_m + coefficient * hitch_height_m)
        )
    if driven == "rear":
        left_over = np.maximum(wheelbase_m - coefficient * hitch_height_m, 1e-12)
        return np.minimum(coefficient * weight * behind_front_m / left_over, coefficient * weight)
    return np.asarray(coefficient * weight)


def front_lift_pull_N(  # noqa: N802 - SI capitals
    mass_kg: Numbers,
    gravity_m_s2: float,
    wheelbase_m: float,
    centre_of_mass_x_m: float,
    hitch_height_m: float,
) -> FloatArray:
    """Steady horizontal pull [N] at which the front wheels leave the table: ``W (L − b)/h``.

    Notes
    -----
    Checked by: tests/derived/test_weight_transfer.py::test_front_lifts
    """
    weight = np.asarray(mass_kg, dtype=np.float64) * gravity_m_s2
    return np.asarray(weight * (wheelbase_m / 2 + centre_of_mass_x_m) / hitch_height_m)
