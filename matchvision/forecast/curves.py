"""A forecast that a team brings as a table from any tool, instead of its machine's numbers."""

from collections.abc import Mapping

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.sheet import ForecastCurve, Run, StartPose
from matchvision.uncertainty import chances_by_share


def take_curves(run: Run, starts: Mapping[str, StartPose], t_s: FloatArray, left_out: tuple[str, ...]) -> ForecastRun:
    """The predicted run from the teams' tables alone, read at ``t_s`` (k,); NaN where a table says nothing.

    ``position_m`` is travel towards home since the start, ``speed_m_s`` positive towards home. The tension is the mean
    of those given, weighted by their uncertainties where all have one. The rope's halves follow from the hitches, the
    rope taken as taut along x: the mean of both sides where both machines have a table.
    """
    machines = {
        name: _follow(run, name, starts[name], curve, t_s) for name, curve in run.curves.items() if name in starts
    }
    tension, u_tension = _mean_tension([run.curves[name] for name in machines], t_s)
    on_plus, u_on_plus = _rope_halves(run, machines, len(t_s))
    winner, chances, margin, u_margin = "", {}, float("nan"), float("nan")
    rope = run.sheet.rope
    is_match = rope is not None and run.sheet.run.kind == "match" and run.sheet.rules.decide == "rope-share"
    if rope is not None and is_match and np.isfinite(on_plus).any():
        last = int(np.flatnonzero(np.isfinite(on_plus))[-1])
        ahead, u_margin = float(on_plus[last]) - rope.length_m / 2, float(u_on_plus[last])
        plus, minus = _by_home(run, rope.ends)
        on_minus_m = rope.length_m - float(on_plus[last])
        to_win = run.sheet.rules.share_to_win
        # Of a taut rope one side has what the other lacks.
        surely = chances_by_share((on_minus_m, u_margin), (float(on_plus[last]), u_margin), to_win, u_whole=0.0)
        chances = {plus: surely.plus, minus: surely.minus}
        winner = plus if ahead > 0 else minus
        margin = abs(ahead) + rope.length_m * (0.5 - to_win)
    return ForecastRun(
        t_s=t_s,
        machines=machines,
        tension_N=tension,
        u_tension_N=u_tension,
        on_plus_x_m=on_plus,
        u_on_plus_x_m=u_on_plus,
        winner=winner,
        win_chance=chances,
        margin_m=margin,
        u_margin_m=u_margin,
        samples=0,
        seed=0,
        left_out=left_out,
    )


def _column(curve: ForecastCurve, name: str, t_s: FloatArray) -> FloatArray:
    """One column read at ``t_s`` by straight lines; NaN outside the table, and everywhere without the column."""
    if name not in curve.columns:
        return np.full(len(t_s), np.nan)
    values = curve.columns[name]
    known = np.isfinite(values)
    if not known.any():
        return np.full(len(t_s), np.nan)
    times = curve.columns["t_s"][known]
    return np.asarray(np.interp(t_s, times, values[known], left=np.nan, right=np.nan), dtype=np.float64)


def _spread(curve: ForecastCurve, name: str, t_s: FloatArray) -> FloatArray:
    """The column's standard uncertainty: as stated, else 0 where the column itself is given."""
    if f"u_{name}" in curve.columns:
        return _column(curve, f"u_{name}", t_s)
    return np.where(np.isfinite(_column(curve, name, t_s)), 0.0, np.nan)


def _follow(run: Run, name: str, start: StartPose, curve: ForecastCurve, t_s: FloatArray) -> ForecastMachine:
    home = 1.0 if run.sheet.machine[name].home == "+x" else -1.0
    unknown = np.full(len(t_s), np.nan)
    return ForecastMachine(
        machine=name,
        x_m=start.at_m[0] + home * _column(curve, "position_m", t_s),
        y_m=unknown,
        heading_deg=unknown,
        speed_m_s=_column(curve, "speed_m_s", t_s),
        slip_speed_m_s=unknown,
        traction_N=unknown,
        u_x_m=_spread(curve, "position_m", t_s),
        u_y_m=unknown,
        u_heading_deg=unknown,
        u_speed_m_s=_spread(curve, "speed_m_s", t_s),
        u_slip_speed_m_s=unknown,
        u_traction_N=unknown,
        first_slip_s=float("nan"),
        u_first_slip_s=float("nan"),
        slip_chance=float("nan"),
    )


def _mean_tension(curves: list[ForecastCurve], t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    given = [curve for curve in curves if "tension_N" in curve.columns]
    if not given:
        return np.full(len(t_s), np.nan), np.full(len(t_s), np.nan)
    values = np.stack([_column(curve, "tension_N", t_s) for curve in given])
    spreads = np.stack([_spread(curve, "tension_N", t_s) for curve in given])
    weights = 1.0 / spreads**2 if np.all(spreads[np.isfinite(spreads)] > 0) else np.ones_like(spreads)
    weights = np.where(np.isfinite(values), weights, 0.0)
    total = weights.sum(axis=0)
    total = np.where(total > 0, total, np.nan)
    mean = (weights * np.nan_to_num(values)).sum(axis=0) / total
    spread = np.sqrt((weights**2 * np.nan_to_num(spreads) ** 2).sum(axis=0)) / total
    return mean, spread


def _by_home(run: Run, ends: tuple[str, str]) -> tuple[str, str]:
    """The machine at home on +x and the other one."""
    first, second = ends
    return (first, second) if run.sheet.machine[first].home == "+x" else (second, first)


def _rope_halves(run: Run, machines: Mapping[str, ForecastMachine], rows: int) -> tuple[FloatArray, FloatArray]:
    rope = run.sheet.rope
    unknown = np.full(rows, np.nan)
    if rope is None or not all(end in run.sheet.machine for end in rope.ends):
        return unknown, unknown
    plus, minus = _by_home(run, rope.ends)
    estimates = []
    for name, on_own_side in ((plus, True), (minus, False)):
        hitch = run.sheet.machine[name].hitch
        if name not in machines or hitch is None:
            continue
        sign = 1.0 if on_own_side else -1.0
        own = np.clip(sign * machines[name].x_m + hitch.at_m[0], 0.0, rope.length_m)
        estimates.append((own if on_own_side else rope.length_m - own, machines[name].u_x_m))
    if not estimates:
        return unknown, unknown
    mean = np.mean([value for value, _ in estimates], axis=0)
    return mean, np.sqrt(np.sum([u**2 for _, u in estimates], axis=0)) / len(estimates)
