"""Each machine's traction, the load on its driven wheels, and the grip that it used."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, Driven, driven_load_N
from matchvision.mechanics.traction import net_traction_ratio
from matchvision.records.motion import MachineMotion, RopeMotion
from matchvision.records.pull import PullSource, Traction
from matchvision.records.sheet import Machine
from matchvision.uncertainty import parts_of_uncertainty

FloatArray = npt.NDArray[np.float64]


def driven_axle(machine: Machine) -> Driven:
    """Which axle drives, from the number of driven wheels or the wheels listed.

    Raises
    ------
    CannotMeasure
        Where no wheel drives, or the listed wheels do not say whether the front or the rear ones do.
    """
    driven = [wheel for wheel in machine.wheel if wheel.driven]
    number = machine.driven_wheels
    if number == 0 or (number is None and not driven):
        raise CannotMeasure("it has no driven wheels", do="list its driven wheels if it has any")
    if number is not None and number >= 4:
        return "all"
    ahead = {wheel.face_m[0] > 0 for wheel in driven}
    if len(ahead) != 1:
        if number is None and len(ahead) == 2:
            return "all"
        raise CannotMeasure(
            f"{number} of its wheels are driven, but not which", do="list a driven wheel with its face_m for the axle"
        )
    return "front" if ahead.pop() else "rear"


def measure_traction(
    name: str, machine: Machine, end: int, moved: MachineMotion, rope: RopeMotion, pull: PullSource
) -> Traction:
    """Gross traction along the drive direction, the driven wheels' load, and their ratio, with uncertainties.

    Parameters
    ----------
    end : 0 or 1, the rope end hitched to the machine.
    pull : the tension to use.

    Raises
    ------
    CannotMeasure
        Where the machine has no driven wheels or the sheet lacks its mass or measures.

    Notes
    -----
    ``F = m a + T b + c N``, with ``b`` the share of the pull against the drive direction and c the rolling resistance
    if measured; load from moments, `matchvision.mechanics.grip.driven_load_N`. First order (GUM 5.1) over tension,
    mass, acceleration and rolling resistance, so that what traction and load share does not count twice in their
    ratio. Acceleration across the drive direction is left out.
    Checked by: tests/pull/test_measuring.py::test_traction_follows_the_truth
    """
    axle = driven_axle(machine)
    if machine.mass_kg is None:
        raise CannotMeasure("its mass is not stated", do=f"give mass_kg in [machine.{name}]")
    if axle != "all" and (machine.wheelbase_m is None or machine.centre_of_mass_m is None or machine.hitch is None):
        raise CannotMeasure(
            "the load on one driven axle needs more measures",
            do=f"give wheelbase_m, centre_of_mass_m and hitch in [machine.{name}]",
        )
    side = 1 if machine.home == "+x" else -1
    heading = np.deg2rad(moved.heading_deg)
    back = -(rope.pull_dir_x[:, end] * np.cos(heading) + rope.pull_dir_y[:, end] * np.sin(heading))
    up = rope.pull_dir_z[:, end]
    forward = moved.speed_m_s * side * np.cos(heading)
    rolling = np.where(np.abs(forward) > 3 * moved.u_speed_m_s, np.sign(forward), 0.0)
    resistance = machine.drive.rolling_resistance if machine.drive is not None else None
    slack = pull.tension_N == 0
    back, up = np.where(slack & ~np.isfinite(back), 1.0, back), np.where(slack & ~np.isfinite(up), 0.0, up)
    centre = machine.centre_of_mass_m or (0.0, 0.0, 0.0)
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)

    def forces(at: Mapping[str, FloatArray | float]) -> FloatArray:
        load_N = driven_load_N(
            at["mass"],
            STANDARD_GRAVITY_M_S2,
            machine.wheelbase_m or 1.0,
            (centre[0], centre[2]),
            (hitch[0], hitch[2]),
            at["tension"] * back,
            at["tension"] * up,
            at["acceleration"],
            driven=axle,
        )
        resisting_N = at["rolling resistance"] * at["mass"] * STANDARD_GRAVITY_M_S2 * rolling
        traction_N = np.asarray(at["mass"] * at["acceleration"] + at["tension"] * back + resisting_N)
        load_N = load_N + 0.0 * traction_N
        return np.stack([traction_N, load_N, net_traction_ratio(traction_N, load_N)])

    values: dict[str, FloatArray | float] = {
        "tension": pull.tension_N,
        "mass": machine.mass_kg,
        "acceleration": moved.accel_m_s2 * side * np.cos(heading),
        "rolling resistance": resistance.value if resistance is not None else 0.0,
    }
    u_inputs: dict[str, FloatArray | float] = {
        "tension": pull.u_tension_N,
        "mass": machine.u_mass_kg,
        "acceleration": moved.u_accel_m_s2,
        "rolling resistance": resistance.u if resistance is not None else 0.0,
    }
    parts = parts_of_uncertainty(forces, values, u_inputs)
    traction_N, load_N, grip_used = forces(values)
    u_traction_N, u_load_N, u_grip_used = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    return Traction(name, traction_N, load_N, grip_used, u_traction_N, u_load_N, u_grip_used)
