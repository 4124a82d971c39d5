"""The match as an initial-value problem: two machines, one rope, from standing still."""

from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics import layout as d
from matchvision.mechanics.dynamics import make_room, state_rates
from matchvision.mechanics.events import Event, locate_events
from matchvision.mechanics.jacobian import rates_jacobian
from matchvision.mechanics.machine import MachineModel, MatchModel
from matchvision.mechanics.packing import Packed, pack
from matchvision.mechanics.rope import rope_on_plus_x_m
from matchvision.mechanics.stepping import results_along, step_through

#: Slip speed [m/s] beyond which a wheel is said to slip.
SLIP_SPEED_M_S: Final = 0.030
#: Time [s] for which it must slip to be called slipping.
SLIP_LASTS_S: Final = 0.15

# Absolute tolerances of one body's state: place, heading, speeds, turning, wheel rates, strains of friction.
_ABSOLUTE: Final = np.array([1e-5, 1e-5, 1e-5, 1e-4, 1e-4, 1e-3, 1e-3, 1e-3, 1e-2, 1e-2])


@dataclass(frozen=True, eq=False)
class MachineCourse:
    """One machine through the match, (k,) arrays on the times of its `MatchCourse`.

    Place and velocity are of the machine frame's origin; ``forward_m_s`` along its heading; ``slip_speed_m_s`` mean
    surface speed of the wheels less that; ``traction_N`` gross, at the driven wheels; ``load_N`` on them;
    ``least_load_N`` the smallest load at a contact point before it is held at 0 (negative: it would lift); powers [W]
    are given by the drive and lost.
    """

    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    velocity_x_m_s: FloatArray
    velocity_y_m_s: FloatArray
    forward_m_s: FloatArray
    wheel_rates_rad_s: FloatArray
    hitch_x_m: FloatArray
    hitch_y_m: FloatArray
    slip_speed_m_s: FloatArray
    traction_N: FloatArray
    load_N: FloatArray
    least_load_N: FloatArray
    drive_power_W: FloatArray
    loss_power_W: FloatArray


@dataclass(frozen=True, eq=False)
class MatchCourse:
    """The computed match on ``t_s`` (k,); rope arrays are 0 without a rope.

    ``energy_J`` is kinetic energy of machines and wheels with the rope's; ``events`` (word, machine or "", time [s])
    are those that the solver located: "taut", "slack", "slip", "grip".
    """

    t_s: FloatArray
    machines: tuple[MachineCourse, ...]
    tension_N: FloatArray
    stretch_m: FloatArray
    rope_loss_W: FloatArray
    on_plus_x_m: FloatArray
    energy_J: FloatArray
    events: tuple[tuple[str, str, float], ...] = ()


def _course(
    model: MatchModel, packed: Packed, t_s: FloatArray, states: FloatArray, events: tuple[Event, ...]
) -> MatchCourse:
    results = results_along(t_s, states, packed.numbers)
    courses = []
    energy = 0.5 * packed.numbers.rope[d.ROPE_STIFFNESS] * np.maximum(results[:, d.STRETCH], 0.0) ** 2
    for k in range(len(model.machines)):
        own = states[:, d.STATES * k : d.STATES * (k + 1)]
        part = results[:, d.RESULTS_0 + d.RESULTS * k : d.RESULTS_0 + d.RESULTS * (k + 1)]
        energy = energy + part[:, d.ENERGY]
        courses.append(
            MachineCourse(
                x_m=part[:, d.AT_X],
                y_m=part[:, d.AT_Y],
                heading_rad=part[:, d.SEEN_HEADING],
                velocity_x_m_s=part[:, d.VELOCITY_X],
                velocity_y_m_s=part[:, d.VELOCITY_Y],
                forward_m_s=part[:, d.SPEED],
                wheel_rates_rad_s=own[:, 6:8],
                hitch_x_m=part[:, d.HITCH_SEEN_X],
                hitch_y_m=part[:, d.HITCH_SEEN_Y],
                slip_speed_m_s=part[:, d.SLIP],
                traction_N=part[:, d.TRACTION],
                load_N=part[:, d.LOAD],
                least_load_N=part[:, d.LEAST_LOAD],
                drive_power_W=part[:, d.DRIVE_POWER],
                loss_power_W=part[:, d.LOSS_POWER],
            )
        )
    on_plus_x = np.zeros(len(t_s))
    ends = [course.hitch_x_m for course in courses]
    if model.far_end is not None:
        far_s, far_x, _ = np.array(model.far_end.way, dtype=np.float64).T
        ends.append(np.interp(t_s, far_s, far_x))
    if model.rope is not None and len(ends) == 2:
        one, other = ends
        wound = [*(wound_in_m(machine, t_s) for machine in model.machines), np.zeros(len(t_s))][:2]
        lying = model.rope.length_m - wound[0] - wound[1] + np.maximum(results[:, d.STRETCH], 0.0)
        if len(packed.numbers.crests):
            on_plus_x = results[:, d.PLUS_SHARE] * lying
        else:
            on_plus_x = rope_on_plus_x_m(one, other, lying)
        on_plus_x = on_plus_x + np.where(one > other, wound[0], wound[1])
    return MatchCourse(
        t_s, tuple(courses), results[:, d.TENSION], results[:, d.STRETCH], results[:, d.ROPE_LOSS], on_plus_x, energy,
        events,
    )  # fmt: skip


def wound_in_m(machine: MachineModel, t_s: FloatArray) -> FloatArray:
    """Rope [m] that a machine has wound in by match times (k,)."""
    if not machine.winding:
        return np.zeros(len(t_s))
    times, lengths = np.array(machine.winding, dtype=np.float64).T
    return np.asarray(np.interp(t_s, times, lengths))


def play_match(model: MatchModel, t_s: FloatArray, *, relative: float = 1e-6) -> MatchCourse:
    """The match at times ``t_s`` (k,) ascending from the start [s], solved to a relative tolerance.

    Parameters
    ----------
    model : one or two machines standing still at the first time, and the rope.
    t_s : match times wanted; the first is the start.
    relative : relative tolerance; the absolute ones scale with it (10 µm, 0.1 mm/s at 1e-3).

    Raises
    ------
    CannotMeasure
        Where the solver gives up, with the time that it reached.

    Notes
    -----
    Radau IIA of order 5 (scipy's ``Radau``), restarted wherever something jumps or bends. Rope taut or slack and slip
    speed through 30 mm/s are located as events on the solver's dense output, at several places of every step.
    Checked by: tests/published/test_mujoco_matches.py::test_match_goes_as_in_the_engine
    """
    from scipy.integrate import solve_ivp  # slow to load

    t_s = np.asarray(t_s, dtype=np.float64)
    packed = pack(model)
    numbers, room = packed.numbers, make_room(packed.numbers)

    def rates(time_s: float, state: FloatArray) -> FloatArray:
        out, results = np.empty(2 * d.STATES), np.empty(d.ALL_RESULTS)
        state_rates(time_s, state, numbers, out, results, room)
        return out

    def jacobian(time_s: float, state: FloatArray) -> FloatArray:
        out = np.empty((2 * d.STATES, 2 * d.STATES))
        rates_jacobian(time_s, state, numbers, room, out)
        return out

    inner = packed.stops_s[(packed.stops_s > t_s[0]) & (packed.stops_s < t_s[-1])]
    edges = np.concatenate([t_s[:1], inner, t_s[-1:]])
    states = np.empty((len(t_s), 2 * d.STATES))
    states[0] = state = packed.state
    events: list[Event] = []
    for begin_s, end_s in pairwise(edges):
        solution = solve_ivp(
            rates, (begin_s, end_s), state, method="Radau", jac=jacobian, dense_output=True, rtol=relative,
            atol=np.tile(_ABSOLUTE, 2) * relative * 1e3, first_step=min(1e-4, end_s - begin_s),
        )  # fmt: skip
        dense = solution.sol
        if not solution.success or dense is None:
            msg = f"the predicted run cannot be computed beyond {solution.t[-1]:.3f} s: {solution.message}"
            raise CannotMeasure(msg, do="check the machines' numbers in the run sheet, above all masses and stiffness")
        inside = (t_s > begin_s) & (t_s <= end_s)
        if inside.any():
            states[inside] = dense(t_s[inside]).T
        events += locate_events(model, numbers, solution.t, dense, SLIP_SPEED_M_S)
        state = solution.y[:, -1]
    return _course(model, packed, t_s, states, tuple(sorted(events, key=lambda event: event[2])))


def play_match_quickly(
    model: MatchModel, t_s: FloatArray, *, relative: float = 8e-4, longest_s: float = 0.05
) -> MatchCourse:
    """As `play_match`, some twenty times faster, for many samples: to a tenth of a per cent or so.

    Of the events it has the transitions between slip and grip.

    ``longest_s`` bounds the steps: longer ones save time where little happens, but corners of a throttle plan may then
    be cut by about a millimetre a second, and transitions are dated less closely.

    Notes
    -----
    Checked by: tests/mechanics/test_match.py::test_quick_steps_agree_with_scipy
    """
    t_s = np.asarray(t_s, dtype=np.float64)
    packed = pack(model)
    states, steps, transitions = step_through(
        packed.state, t_s, packed.stops_s, packed.numbers, relative, np.tile(_ABSOLUTE, 2) * relative * 1e3, longest_s,
        SLIP_SPEED_M_S,
    )  # fmt: skip
    if steps < 0:
        msg = "a sample of the predicted run cannot be computed: the steps became too small"
        raise CannotMeasure(msg, do="check the machines' numbers and their uncertainties in the run sheet")
    events = tuple(
        ("slip" if up else "grip", model.machines[int(k)].name, float(time_s)) for time_s, k, up in transitions
    )
    return _course(model, packed, t_s, states, events)


def hold_small(course: MatchCourse) -> MatchCourse:
    """The same match in single precision and cut loose from the solver's tables, for where a thousand are held at once.

    Seven digits: for medians and spreads over samples, which the quick steps give to three.
    """

    def small(one: MatchCourse | MachineCourse) -> dict[str, Any]:
        values = {field.name: getattr(one, field.name) for field in fields(one)}
        return {name: np.array(v, dtype=np.float32) for name, v in values.items() if isinstance(v, np.ndarray)}

    machines = tuple(replace(machine, **small(machine)) for machine in course.machines)
    return replace(course, **{**small(course), "t_s": course.t_s, "machines": machines})


def first_slip_s(t_s: FloatArray, slip_speed_m_s: FloatArray) -> float:
    """Time [s] at which slip begins that then lasts: above 30 mm/s, either way, for at least 0.15 s; NaN without any.

    The crossing is interpolated between the times given. Slip that lasts to the end counts if it began 0.15 s before.
    """
    above = np.abs(slip_speed_m_s) > SLIP_SPEED_M_S
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if t_s[end - 1] - t_s[begin] < SLIP_LASTS_S - 1e-9:
            continue
        if begin == 0:
            return float(t_s[0])
        before, after = abs(slip_speed_m_s[begin - 1]), abs(slip_speed_m_s[begin])
        part = (SLIP_SPEED_M_S - before) / (after - before)
        return float(t_s[begin - 1] + part * (t_s[begin] - t_s[begin - 1]))
    return float("nan")
