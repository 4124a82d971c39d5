"""One predicted run from many computed ones: medians, spreads, chances."""

from collections.abc import Sequence

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.forecast.bands import band, chance
from matchvision.forecast.deciding import Decision, decide
from matchvision.forecast.limiting import share_limits
from matchvision.mechanics.events import lasting_slip_s
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.match import SLIP_LASTS_S, MatchCourse
from matchvision.mechanics.stated import Findings, drive_facts, is_load
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.sheet import Run


def gather(
    run: Run,
    names: Sequence[str],
    t_s: FloatArray,
    models: Sequence[MatchModel],
    courses: Sequence[MatchCourse],
    seed: int,
    left_out: tuple[str, ...],
) -> ForecastRun:
    """Medians and standard deviations over the sampled matches at ``t_s`` (k,), and who wins how often."""
    machines = {name: gather_machine(run, name, k, t_s, models, courses) for k, name in enumerate(names)}
    tension, u_tension = band([course.tension_N for course in courses])
    on_plus, u_on_plus = band([course.on_plus_x_m for course in courses])
    winner, margin, u_margin = "", float("nan"), float("nan")
    chances: dict[str, float] = {}
    if run.sheet.rope is None:
        tension = u_tension = on_plus = u_on_plus = np.full(len(t_s), np.nan)
    elif not is_load_run(run, names):
        length = run.sheet.rope.length_m
        decisions = [decide(run.sheet, c.on_plus_x_m, length + np.maximum(c.stretch_m, 0.0)) for c in courses]
        decided = [decision for decision in decisions if decision is not None]
        if decided:
            winner, chances, margin, u_margin = _sum_up(run, names, decided)
        else:
            mark = "the winner: the mark of [rules] is not a bead of the rope; name one of [rope] beads as [rules] mark"
            left_out = (*left_out, mark)
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
        samples=len(courses),
        seed=seed,
        left_out=left_out,
    )


def gather_machine(
    run: Run, name: str, k: int, t_s: FloatArray, models: Sequence[MatchModel], courses: Sequence[MatchCourse]
) -> ForecastMachine:
    """The same of one machine, the ``k``-th of every match."""
    home = 1.0 if run.sheet.machine[name].home == "+x" else -1.0
    own = [course.machines[k] for course in courses]
    x, u_x = band([c.x_m for c in own])
    y, u_y = band([c.y_m for c in own])
    heading, u_heading = band([np.rad2deg(c.heading_rad) for c in own])
    speed, u_speed = band([home * c.velocity_x_m_s for c in own])
    slip, u_slip = band([c.slip_speed_m_s for c in own])
    traction, u_traction = band([c.traction_N for c in own])
    onsets = np.array([lasting_slip_s(c.events, name, float(t_s[-1]), SLIP_LASTS_S) for c in courses])
    slipped = onsets[np.isfinite(onsets)]
    often = len(slipped) * 2 >= len(onsets)
    if run.sheet.machine[name].load is not None:  # a dragged load has no wheels that could slip
        slip, u_slip = np.full_like(slip, np.nan), np.full_like(u_slip, np.nan)
    return ForecastMachine(
        machine=name,
        x_m=x,
        y_m=y,
        heading_deg=heading,
        speed_m_s=speed,
        slip_speed_m_s=slip,
        traction_N=traction,
        u_x_m=u_x,
        u_y_m=u_y,
        u_heading_deg=u_heading,
        u_speed_m_s=u_speed,
        u_slip_speed_m_s=u_slip,
        u_traction_N=u_traction,
        first_slip_s=float(np.median(slipped)) if often else float("nan"),
        u_first_slip_s=float(slipped.std(ddof=1)) if often and len(slipped) > 1 else float("nan"),
        slip_chance=chance(len(slipped), len(onsets)),
        first_slip_95_s=_middle_95(slipped) if often else (float("nan"), float("nan")),
        limits=share_limits([model.machines[k] for model in models], own, t_s),
    )


def _middle_95(values: FloatArray) -> tuple[float, float]:
    """The middle 95 % of values (k,)."""
    low, high = np.quantile(values, (0.025, 0.975))
    return float(low), float(high)


def _sum_up(
    run: Run, names: Sequence[str], decisions: Sequence[Decision]
) -> tuple[str, dict[str, float], float, float]:
    """The likelier winner, each side's chance, the winner's margin and its standard uncertainty."""
    plus = next(name for name in names if run.sheet.machine[name].home == "+x")
    minus = next(name for name in names if name != plus)
    chances = {
        name: chance(sum(decision.winner == run.sheet.machine[name].home for decision in decisions), len(decisions))
        for name in (plus, minus)
    }
    nearer = float(np.median([decision.plus_margin_m - decision.minus_margin_m for decision in decisions]))
    # As likely as each other, as where nobody wins: the one that comes nearer to it.
    ahead = chances[plus] - chances[minus] or nearer
    winner = plus if ahead > 0 else minus
    margins = np.array([d.plus_margin_m if winner == plus else d.minus_margin_m for d in decisions])
    spread = float(margins.std(ddof=1)) if len(margins) > 1 else 0.0
    return winner, chances, float(np.median(margins)), spread


def is_load_run(run: Run, names: Sequence[str]) -> bool:
    """Whether nobody can win: a dragged load, a machine alone, or a run that is not a match."""
    loads = [is_load(run.sheet.machine[name], drive_facts(run, name, Findings())[1]) for name in names]
    return run.sheet.run.kind != "match" or len(names) < 2 or any(loads)
