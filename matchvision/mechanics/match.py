"""The match as an initial-value problem: two machines, one rope, from standing still."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

from matchvision.errors import CannotMeasure
from matchvision.mechanics import dynamics as d
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.rope import rope_on_plus_x_m

FloatArray = npt.NDArray[np.float64]

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


@dataclass(frozen=True, eq=False)
class _Packed:
    """A model as arrays for the compiled part."""

    state: FloatArray
    bodies: FloatArray
    throttle: FloatArray
    rope: FloatArray
    stops_s: FloatArray


def _pack(model: MatchModel) -> _Packed:
    bodies = np.zeros((2, d.BODY_NUMBERS))
    state = np.zeros(2 * d.STATES)
    plans = [side.throttle for m in model.machines for side in (m.left, m.right) if side is not None]
    rows = max([len(plan) for plan in plans], default=1)
    throttle = np.zeros((2, 2, rows, 2))
    stops: set[float] = set()
    for k, (machine, start) in enumerate(zip(model.machines, model.starts, strict=True)):
        bodies[k] = machine.numbers(float(np.sign(np.cos(start.heading_rad))) or 1.0)
        throttle[k] = machine.throttle_table(rows)
        c, s = np.cos(start.heading_rad), np.sin(start.heading_rad)
        x, y, _ = machine.centre_of_mass_m
        state[d.STATES * k : d.STATES * k + 3] = start.x_m + c * x - s * y, start.y_m + s * x + c * y, start.heading_rad
        stops |= machine.changes.stops_s()
        for side in (machine.left, machine.right):
            if side is not None:
                stops |= {machine.start_delay_s, *(machine.start_delay_s + time_s for time_s, _ in side.throttle)}
    rope = np.zeros(d.ROPE_NUMBERS)
    if model.rope is not None:
        rope[:3] = model.rope.length_m, model.rope.stiffness_N_per_m, model.rope.damping_N_s_per_m
        rope[d.RELEASE_S] = model.rope.release_s
        stops |= {model.rope.release_s} if np.isfinite(model.rope.release_s) else set()
    rope[d.GRAVITY] = model.gravity_m_s2
    return _Packed(state, bodies, throttle, rope, np.array(sorted(stops), dtype=np.float64))


def _rates(packed: _Packed, time_s: float, state: FloatArray) -> tuple[FloatArray, FloatArray]:
    out, results = np.empty(2 * d.STATES), np.empty(d.RESULTS_0 + 2 * d.RESULTS)
    d.state_rates(time_s, state, packed.bodies, packed.throttle, packed.rope, out, results)
    return out, results


def _course(
    model: MatchModel, packed: _Packed, t_s: FloatArray, states: FloatArray, events: tuple[tuple[str, str, float], ...]
) -> MatchCourse:
    results = d.results_along(t_s, states, packed.bodies, packed.throttle, packed.rope)
    courses = []
    energy = 0.5 * packed.rope[d.ROPE_STIFFNESS] * np.maximum(results[:, d.STRETCH], 0.0) ** 2
    for k, machine in enumerate(model.machines):
        own = states[:, d.STATES * k : d.STATES * (k + 1)]
        part = results[:, d.RESULTS_0 + d.RESULTS * k : d.RESULTS_0 + d.RESULTS * (k + 1)]
        c, s = np.cos(own[:, 2]), np.sin(own[:, 2])
        com, hitch = machine.centre_of_mass_m, machine.hitch_m
        x, y = own[:, 0] - c * com[0] + s * com[1], own[:, 1] - s * com[0] - c * com[1]
        inertias = packed.bodies[k, d.INERTIA_LEFT : d.INERTIA_RIGHT + 1]
        energy = energy + 0.5 * machine.mass_kg * (own[:, 3] ** 2 + own[:, 4] ** 2)
        energy = energy + 0.5 * machine.yaw_inertia_kg_m2 * own[:, 5] ** 2 + 0.5 * own[:, 6:8] ** 2 @ inertias
        courses.append(
            MachineCourse(
                x_m=x,
                y_m=y,
                heading_rad=own[:, 2],
                velocity_x_m_s=own[:, 3] + own[:, 5] * (own[:, 1] - y),
                velocity_y_m_s=own[:, 4] - own[:, 5] * (own[:, 0] - x),
                forward_m_s=part[:, d.SPEED],
                wheel_rates_rad_s=own[:, 6:8],
                hitch_x_m=x + c * hitch[0] - s * hitch[1],
                hitch_y_m=y + s * hitch[0] + c * hitch[1],
                slip_speed_m_s=part[:, d.SLIP],
                traction_N=part[:, d.TRACTION],
                load_N=part[:, d.LOAD],
                least_load_N=part[:, d.LEAST_LOAD],
                drive_power_W=part[:, d.DRIVE_POWER],
                loss_power_W=part[:, d.LOSS_POWER],
            )
        )
    on_plus_x = np.zeros(len(t_s))
    if model.rope is not None and len(courses) == 2:
        lying = model.rope.length_m + np.maximum(results[:, d.STRETCH], 0.0)
        on_plus_x = rope_on_plus_x_m(courses[0].hitch_x_m, courses[1].hitch_x_m, lying)
    return MatchCourse(
        t_s, tuple(courses), results[:, d.TENSION], results[:, d.STRETCH], results[:, d.ROPE_LOSS], on_plus_x, energy,
        events,
    )  # fmt: skip


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
    Radau IIA of order 5 (scipy's ``Radau``), restarted at each corner of a throttle plan. Rope taut or slack and slip
    speed through 30 mm/s are located as events on the solver's dense output.
    Checked by: tests/published/test_independent_physics.py::test_tension_over_time
    """
    t_s = np.asarray(t_s, dtype=np.float64)
    packed = _pack(model)
    watch, words = _watches(model, packed)

    def rates(time_s: float, state: FloatArray) -> FloatArray:
        return _rates(packed, time_s, state)[0]

    def jacobian(time_s: float, state: FloatArray) -> FloatArray:
        return d.rates_jacobian(time_s, state, packed.bodies, packed.throttle, packed.rope)

    inner = packed.stops_s[(packed.stops_s > t_s[0]) & (packed.stops_s < t_s[-1])]
    edges = np.concatenate([t_s[:1], inner, t_s[-1:]])
    states = np.empty((len(t_s), 2 * d.STATES))
    states[0] = state = packed.state
    events: list[tuple[str, str, float]] = []
    for begin_s, end_s in pairwise(edges):
        solution = solve_ivp(
            rates, (begin_s, end_s), state, method="Radau", jac=jacobian, dense_output=True, events=watch,
            rtol=relative, atol=np.tile(_ABSOLUTE, 2) * relative * 1e3, first_step=min(1e-4, end_s - begin_s),
        )  # fmt: skip
        dense = solution.sol
        if not solution.success or dense is None or solution.t_events is None:
            msg = f"the predicted run cannot be computed beyond {solution.t[-1]:.3f} s: {solution.message}"
            raise CannotMeasure(msg, do="check the machines' numbers in the run sheet, above all masses and stiffness")
        inside = (t_s > begin_s) & (t_s <= end_s)
        if inside.any():
            states[inside] = dense(t_s[inside]).T
        state = solution.y[:, -1]
        for function, (up, down, machine), times in zip(watch, words, solution.t_events, strict=True):
            for time_s in times:
                later = function(time_s + 1e-4, dense(min(time_s + 1e-4, end_s)))
                events.append((up if later > 0 else down, machine, float(time_s)))
    return _course(model, packed, t_s, states, tuple(sorted(events, key=lambda event: event[2])))


def _watches(
    model: MatchModel, packed: _Packed
) -> tuple[list[Callable[[float, FloatArray], float]], list[tuple[str, str, str]]]:
    """Functions whose zeros are events, and the words for crossing upwards and downwards."""
    watch: list[Callable[[float, FloatArray], float]] = []
    words = []
    if model.rope is not None and len(model.machines) == 2:
        watch.append(lambda time_s, state: float(_rates(packed, time_s, state)[1][d.STRETCH]))
        words.append(("taut", "slack", ""))
    for k, machine in enumerate(model.machines):
        place = d.RESULTS_0 + d.RESULTS * k + d.SLIP

        def excess(time_s: float, state: FloatArray, place: int = place) -> float:
            return float(abs(_rates(packed, time_s, state)[1][place]) - SLIP_SPEED_M_S)

        if machine.left is not None:
            watch.append(excess)
            words.append(("slip", "grip", machine.name))
    return watch, words


def play_match_quickly(model: MatchModel, t_s: FloatArray, *, relative: float = 1e-3) -> MatchCourse:
    """As `play_match`, some twenty times faster, for many samples: to a tenth of a per cent or so, without events.

    Notes
    -----
    Checked by: tests/mechanics/test_match.py::test_quick_steps_agree_with_scipy
    """
    t_s = np.asarray(t_s, dtype=np.float64)
    packed = _pack(model)
    states, steps = d.step_through(
        packed.state, t_s, packed.stops_s, packed.bodies, packed.throttle, packed.rope, relative,
        np.tile(_ABSOLUTE, 2) * relative * 1e3, 0.05,
    )  # fmt: skip
    if steps < 0:
        msg = "a sample of the predicted run cannot be computed: the steps became too small"
        raise CannotMeasure(msg, do="check the machines' numbers and their uncertainties in the run sheet")
    return _course(model, packed, t_s, states, ())


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
