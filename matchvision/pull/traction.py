"""Each machine's traction, the load on its driven wheels, and the grip that it used."""

from collections.abc import Mapping

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, Driven, driven_load_N
from matchvision.mechanics.traction import net_traction_ratio
from matchvision.pull.along import move_along
from matchvision.records.motion import MachineMotion, RopeMotion
from matchvision.records.pull import PullSource, Traction
from matchvision.records.sheet import Machine
from matchvision.uncertainty import parts_of_uncertainty


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
    name: str,
    machine: Machine,
    end: int,
    moved: MachineMotion,
    rope: RopeMotion,
    pull: PullSource,
    slope_rad: FloatArray | float = 0.0,
) -> Traction:
    """Gross traction along the drive direction, the driven wheels' load, and their ratio, with uncertainties.

    Parameters
    ----------
    end : 0 or 1, the rope end hitched to the machine.
    pull : the tension to use.
    slope_rad : slope of the table under it, rising towards +x, (n,) or a number; NaN astride a bend.

    Raises
    ------
    CannotMeasure
        Where the machine has no driven wheels or the sheet lacks its mass or measures.

    Notes
    -----
    ``F = m (a + g sin θ) + T b + c m g cos θ``, with climb θ, ``b`` the share of the pull against the drive direction
    and c the rolling resistance if measured; load from moments, `matchvision.mechanics.grip.driven_load_N`. First
    order (GUM 5.1) over tension,
    mass, acceleration and rolling resistance, so that what traction and load share does not count twice in their
    ratio. Acceleration across the drive direction is left out.
    Checked by: tests/pull/test_measuring.py::test_traction_follows_the_truth
    """
    axle = driven_axle(machine)
    if machine.mass_kg is None:
        raise CannotMeasure("its mass is not stated", do=f"give mass_kg in [machine.{name}]")
    if axle != "all" and (machine.wheelbase_m is None or machine.middle_of_mass_m is None or machine.hitch is None):
        raise CannotMeasure(
            "the load on one driven axle needs more measures",
            do=f"give wheelbase_m, centre_of_mass_m and hitch in [machine.{name}]",
        )
    along = move_along(machine.home, end, moved, rope, slope_rad)
    resistance = machine.drive.rolling_resistance if machine.drive is not None else None
    slack = pull.tension_N == 0
    back = np.where(slack & ~np.isfinite(along.back), 1.0, along.back)
    up = np.where(slack & ~np.isfinite(along.up), 0.0, along.up)
    centre = machine.middle_of_mass_m or (0.0, 0.0, 0.0)
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)

    def forces(at: Mapping[str, FloatArray | float]) -> FloatArray:
        # Along a slope the weight's own share acts at the centre of mass, as the body's inertia does.
        held_back = at["acceleration"] + STANDARD_GRAVITY_M_S2 * along.steep
        pressing = STANDARD_GRAVITY_M_S2 * along.level
        load_N = driven_load_N(
            at["mass"] * pressing,
            1.0,
            machine.wheelbase_m or 1.0,
            (centre[0], centre[2]),
            (hitch[0], hitch[2]),
            at["tension"] * back,
            at["tension"] * up,
            held_back / pressing,
            driven=axle,
        )
        resisting_N = at["rolling resistance"] * at["mass"] * pressing * along.rolling
        traction_N = np.asarray(at["mass"] * held_back + at["tension"] * back + resisting_N)
        load_N = load_N + 0.0 * traction_N
        return np.stack([traction_N, load_N, net_traction_ratio(traction_N, load_N)])

    values: dict[str, FloatArray | float] = {
        "tension": pull.tension_N,
        "mass": machine.mass_kg,
        "acceleration": along.accel_m_s2,
        "rolling resistance": resistance.value if resistance is not None else 0.0,
    }
    u_inputs: dict[str, FloatArray | float] = {
        "tension": pull.u_tension_N,
        "mass": machine.u_mass_kg,
        "acceleration": along.u_accel_m_s2,
        "rolling resistance": resistance.u if resistance is not None else 0.0,
    }
    parts = parts_of_uncertainty(forces, values, u_inputs)
    traction_N, load_N, grip_used = forces(values)
    u_traction_N, u_load_N, u_grip_used = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    return Traction(name, traction_N, load_N, grip_used, u_traction_N, u_load_N, u_grip_used)
