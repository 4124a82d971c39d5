"""What a run's results say in single numbers, so that runs can be held beside each other."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from matchvision.records.repeats import Reading
from matchvision.uncertainty import window_mean
from matchvision.writing import ResultFile, read_brief, read_table

#: A greatest value is the greatest mean over so long [s], as in the comparison with the forecast: no single frame's.
PEAK_OVER_S: Final = 0.2
#: A mean over the match is given where so much of it was measured.
COVERED_RATIO: Final = 0.8
_SLIPPING: Final = frozenset({"slip", "spin", "dragged"})
#: Numbers of a practice run, by the last part of their key, of which more or less is better.
_BETTER: Final = {
    "drive_efficiency": 1,
    "grip_static": 1,
    "grip_sliding": 1,
    "stall_torque_Nm": 1,
    "holding_N": 1,
    "rolling_resistance": -1,
    "drive_friction_Nm": -1,
}


def read_readings(folder: Path, name: str = "") -> tuple[Reading, ...]:
    """Single numbers of the results in ``folder``: of the rope, of each machine, and what a practice run measured.

    Parameters
    ----------
    folder : as written by ``matchvision analyze``.
    name : what to call the run; its own name if not given.

    Raises
    ------
    OutputError
        Where there are no results, or they have been changed.

    Notes
    -----
    The uncertainty of a mean over the match is the mean of its frames' uncertainties: what they share, such as the hang
    test, does not average out, and the tables do not say how much that is. It is an upper limit.
    Checked by: tests/season/test_readings.py::test_a_run_is_told_in_single_numbers
    """
    brief = read_brief(folder)
    run = name or brief.run.name
    end_s = brief.clock.duration_s
    motion = read_table(folder, "motion")
    found = [
        *_of_margin(run, brief, [str(name) for name in motion["machine"].unique()]),
        *_of_machines(run, motion, end_s),
        *_of_pull(run, read_table(folder, "pull"), end_s),
        *_of_slip(run, brief),
        *_of_practice(run, brief),
    ]
    return tuple(one for one in found if math.isfinite(one.value))


def _during(table: pd.DataFrame, end_s: float) -> pd.DataFrame:
    return table[(table["t_s"] >= 0) & (table["t_s"] <= end_s)]


def _of_pull(run: str, pull: pd.DataFrame, end_s: float) -> list[Reading]:
    fused = _during(pull[pull["source"] == "fused"], end_s).dropna(subset=["tension_N"])
    if len(fused) < 2:
        return []
    t_s, tension_N, u_N = (fused[c].to_numpy(np.float64) for c in ("t_s", "tension_N", "u_tension_N"))
    rows = [_peak(run, "", "peak pull", "N", t_s, tension_N, u_N)]
    steps = np.diff(t_s)
    known = steps <= 2 * float(np.median(steps))
    if float(steps[known].sum()) >= COVERED_RATIO * end_s:
        middles = (tension_N[1:] + tension_N[:-1]) / 2
        mean_N = float(np.sum((middles * steps)[known]) / steps[known].sum())
        rows.append(Reading(run, "", "mean pull", "N", mean_N, float(np.mean(u_N)), 1))
    return rows


def _peak(
    run: str,
    machine: str,
    quantity: str,
    unit: str,
    t_s: np.ndarray[tuple[int], np.dtype[np.float64]],
    values: np.ndarray[tuple[int], np.dtype[np.float64]],
    u: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> Reading:
    means = window_mean(values, t_s, PEAK_OVER_S)
    at = int(np.nanargmax(means)) if np.isfinite(means).any() else 0
    return Reading(run, machine, quantity, unit, float(means[at]), float(u[at]), 1)


def _of_machines(run: str, motion: pd.DataFrame, end_s: float) -> list[Reading]:
    rows = []
    for machine, moved in motion.groupby("machine", sort=False):
        there = _during(moved, end_s).dropna(subset=["x_m", "speed_m_s"])
        if len(there) < 2:
            continue
        t_s, x_m, u_x_m = (there[c].to_numpy(np.float64) for c in ("t_s", "x_m", "u_x_m"))
        # A machine faces its home when the clock starts.
        side = 1.0 if math.cos(math.radians(float(there["heading_deg"].iloc[0]))) > 0 else -1.0
        if t_s[-1] - t_s[0] >= COVERED_RATIO * end_s:
            way_m = side * float(x_m[-1] - x_m[0])
            u_m = math.hypot(float(u_x_m[0]), float(u_x_m[-1]))
            rows.append(Reading(run, str(machine), "distance towards home", "m", way_m, u_m, 1))
        speed, u_speed = (there[c].to_numpy(np.float64) for c in ("speed_m_s", "u_speed_m_s"))
        rows.append(_peak(run, str(machine), "peak speed towards home", "m/s", t_s, speed, u_speed))
    return rows


def _of_slip(run: str, brief: ResultFile) -> list[Reading]:
    """When each machine's wheels first slipped, and for how long in all."""
    end_s = brief.clock.duration_s
    events = [e for e in brief.events if e.kind in _SLIPPING and e.machine and 0 <= e.start_s <= end_s]
    rows = []
    for machine in dict.fromkeys(e.machine for e in events):
        own = [e for e in events if e.machine == machine]
        first = min(own, key=lambda e: e.start_s)
        u_s = math.nan if first.u_start_s is None else first.u_start_s
        rows.append(Reading(run, machine, "first slip", "s", first.start_s, u_s, 1))
        lasted_s = sum(min(end_s if e.end_s is None else e.end_s, end_s) - e.start_s for e in own)
        rows.append(Reading(run, machine, "time slipping", "s", lasted_s, math.nan, -1))
    return rows


def _of_margin(run: str, brief: ResultFile, machines: Sequence[str]) -> list[Reading]:
    """The winner's rope beyond the share to win; the same below nothing for the loser."""
    verdict = brief.verdict
    if verdict.winner is None or verdict.margin_m is None or brief.run.kind != "match":
        return []
    u_m = math.nan if verdict.u_margin_m is None else verdict.u_margin_m
    ahead = {name: verdict.margin_m if name == verdict.winner else -verdict.margin_m for name in machines}
    return [Reading(run, name, "lead at the end", "m", lead_m, u_m, 1) for name, lead_m in ahead.items()]


def _of_practice(run: str, brief: ResultFile) -> list[Reading]:
    rows = []
    for number in brief.practice.numbers if brief.practice else ():
        parts = number.key.split(".")
        machine = parts[1] if parts[0] in ("machine", "forecast") and len(parts) > 1 else ""
        u = math.nan if number.u is None else number.u
        rows.append(Reading(run, machine, number.name, number.unit, number.value, u, _BETTER.get(parts[-1], 0)))
    return rows
