"""A match model as the arrays that the compiled part computes with, and the state it starts from."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.ground import GRID_M, grid_of, stand_table, travel_at
from matchvision.mechanics.layout import MatchNumbers
from matchvision.mechanics.machine import MatchModel, Points, fill_table
from matchvision.records.profile import crests_of, is_level


@dataclass(frozen=True, eq=False)
class Packed:
    """The arrays, the state at the start, and the times (ascending) at which something jumps or bends."""

    numbers: MatchNumbers
    state: FloatArray
    stops_s: FloatArray


def pack(model: MatchModel) -> Packed:
    """The model's arrays, each machine standing still where the model says.

    Notes
    -----
    Headings are given as seen from above; in the plane of a slope of tilt τ the same one is
    ``atan2(sin h · cos τ, cos h)``.
    """
    bodies = np.zeros((2, at.BODY_NUMBERS))
    state = np.zeros(2 * at.STATES)
    plans = [side.throttle for m in model.machines for side in (m.left, m.right) if side is not None]
    rows = max([len(plan) for plan in plans], default=1)
    throttle = np.zeros((2, 2, rows, 2))
    stops: set[float] = set()
    level = is_level(model.profile_m)
    first_m, count = (0.0, 0) if level else grid_of(model.profile_m)
    stand = np.zeros((2, count, 6))
    for k, (machine, start) in enumerate(zip(model.machines, model.starts, strict=True)):
        heading, x_m = start.heading_rad, start.x_m
        bodies[k] = machine.numbers(float(np.sign(np.cos(heading))) or 1.0)
        throttle[k] = machine.throttle_table(rows)
        if not level:
            stand[k] = stand_table(model.profile_m, machine.wheelbase_m, machine.wheel_radius_m)
            x_m = travel_at(model.profile_m, stand[k], start.x_m)
            tilt = float(np.interp(start.x_m, stand[k, :, at.STAND_X], stand[k, :, at.STAND_TILT]))
            within = np.arctan2(np.sin(heading) * np.cos(tilt), np.cos(heading))
            heading += within - np.arctan2(np.sin(heading), np.cos(heading))
            for number in (at.STRETCH_FROM, at.STRETCH_TO, at.WALL_X):
                bodies[k, number] = travel_at(model.profile_m, stand[k], bodies[k, number])
        c, s = np.cos(heading), np.sin(heading)
        x, y, _ = machine.centre_of_mass_m
        state[at.STATES * k : at.STATES * k + 3] = x_m + c * x - s * y, start.y_m + s * x + c * y, heading
        stops |= machine.stops_s()
    rope = np.zeros(at.ROPE_NUMBERS)
    crests = np.zeros((0, 2))
    if model.rope is not None:
        rope[:3] = model.rope.length_m, model.rope.stiffness_N_per_m, model.rope.damping_N_s_per_m
        rope[at.RELEASE_S] = model.rope.release_s
        stops |= {model.rope.release_s} if np.isfinite(model.rope.release_s) else set()
        crests = crests_of(model.profile_m, model.rope.lying_m)
    rope[at.GRAVITY] = model.gravity_m_s2
    far = np.zeros((0, 3))
    if model.far_end is not None:
        far = np.array(model.far_end.way, dtype=np.float64)
        rope[at.FAR_Z] = model.far_end.height_m
    numbers = MatchNumbers(
        bodies=bodies,
        throttle=throttle,
        winding=_fill([machine.winding for machine in model.machines], 0.0),
        holding=_fill([machine.holding_plan for machine in model.machines], 1.0),
        by_angle=_fill([machine.holding_by_angle for machine in model.machines], 1.0),
        rope=rope,
        stand=stand,
        grid=np.array([first_m, GRID_M]),
        crests=crests,
        far=far,
    )
    return Packed(numbers, state, np.array(sorted(stops), dtype=np.float64))


def _fill(plans: list[Points], without: float) -> FloatArray:
    """Tables (2, k, 2) of two bodies, ``without`` where there is no plan."""
    full = [plan or ((0.0, without),) for plan in (*plans, (), ())[:2]]
    rows = max(len(plan) for plan in full)
    return np.stack([fill_table(plan, rows) for plan in full])
