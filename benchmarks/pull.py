"""Pull by every source against a physics engine, over many runs whose sheets are as wrong as they say they may be.

Points: noisy markers through a camera that is off by a draw from its covariance. Pixels: filmed by many cameras and
measured from rendered, compressed pictures. One row a way, a kind of run (and all of them) and what is measured.

Of pulls:

- ``rms_over_peak``: rms error over the run's greatest tension, mean and ``worst`` over the runs; ``gripping``: its mean
  while no wheel slips;
- ``inside_1.96_u``: share of |error| / u below 1.96, of all frames; ``one_a_run``: of one frame drawn from each run;
  ``inside_jerk`` and ``inside_steady``: of the frames about which the tension changes by more than a tenth of its
  greatest within 0.1 s, and of the others;
- ``rms_error_over_rms_u`` over all runs; ``ratio_from`` and ``ratio_to``: 95 % range of that for as many runs drawn
  anew from these. Where an error is the same throughout a run, as a stated grip's, so many runs say no more;
- ``over_best``: fused rms over that of the best source, pooled over the runs in which both speak nearly throughout;
- ``contradictions``: share of runs in which sources are said to contradict each other;
- ``dated_s``: how far the found contradiction's date lies from the rough stretch's true beginning, mean and worst.

Of slip speed: ``rms_m_s`` and ``worst`` over the runs; ``inside_jerk`` where it is between 3 and 30 mm/s, which wheels
pass on their way into a slide, ``inside_steady`` elsewhere.

Of events in the same runs: how many ``true``, ``found`` within 0.1 s, ``false``, and the onset's ``rms_m_s`` and
``worst`` in seconds under ``onset_rms_s``, ``onset_worst_s``, with ``within_50_ms`` the share of those found.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.pull_runs import SOURCES, Judged, judge_filmed, judge_points
from tests.pull.engine_runs import Kind, Measured
from tests.pull.filmed_runs import filmed_runs

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

POINT_RUNS: Final[dict[Kind, range]] = {
    "sled": range(20),
    "match": range(20),
    "slope": range(10),
    "patch": range(10),
}
FILMED_RUNS: Final = 144
#: A jerk: so much of the greatest tension within twice this time.
JERK_RATIO, JERK_HALF_S = 0.1, 0.05
#: Wheels pass these slips on their way into a slide [m/s].
CREEPS_M_S, SLIDES_M_S = 0.003, 0.030
#: Fewer frames than this say nothing about a source in a run.
LEAST_FRAMES: Final = 10


def measure() -> pd.DataFrame:
    """One row a way, kind of run and measure; whatever was judged before and still holds is taken up again."""
    points = [(kind, seed) for kind, seeds in POINT_RUNS.items() for seed in seeds]
    return pd.DataFrame([*_rows(points, judge_points), *_rows(filmed_runs(FILMED_RUNS), judge_filmed)])


def _rows(runs: Sequence[tuple[Kind, int]], judge: Callable[[Kind, int], Judged]) -> list[dict[str, object]]:
    judged: dict[str, list[Judged]] = {"all": []}
    for kind, seed in runs:
        one = judge(kind, seed)
        judged["all"].append(one)
        judged.setdefault(kind, []).append(one)
    rows = []
    for name, of_kind in judged.items():
        head: dict[str, object] = {"through": of_kind[0].through, "kind": name}
        rows += [
            head | row for row in (*rate(of_kind), *rate_slip(of_kind), *rate_middle(of_kind), *rate_events(of_kind))
        ]
    return rows


def rate(runs: Sequence[Judged]) -> list[dict[str, object]]:
    """The pulls' rows of one kind of run."""
    generator = np.random.default_rng(7)
    rows = []
    for name in SOURCES:
        over_peak, gripping, ratios, jerks, once, squares = [], [], [], [], [], []
        for run in runs:
            error, u, counts = run.errors(name)
            if run.patch_s is not None and name == "inertia":
                counts = counts & (run.match_s < run.patch_s)
            if counts.sum() < LEAST_FRAMES:
                continue
            peak_N = run.true_N[run.usable].max()
            over_peak.append(rms(error[counts]) / peak_N)
            grips = counts & ~run.slips
            if grips.sum() >= LEAST_FRAMES:
                gripping.append(rms(error[grips]) / peak_N)
            ratios.append((error / u)[counts])
            jerks.append(jerky(run.true_N / peak_N, run.match_s)[counts])
            once.append(generator.choice(ratios[-1]))
            squares.append((float(np.mean(error[counts] ** 2)), float(np.mean(u[counts] ** 2))))
        if not over_peak:
            continue
        row: dict[str, object] = {"source": name, "runs": len(over_peak)}
        row["rms_over_peak"], row["worst"] = np.mean(over_peak), np.max(over_peak)
        row["gripping"] = np.mean(gripping) if gripping else np.nan
        row |= _honesty(ratios, jerks, once, squares)
        if name == "fused":
            row["over_best"] = over_best(runs)
            dates = [abs(first_contradiction_s(run) - run.patch_s) for run in runs if run.patch_s is not None]
            row["dated_s"], row["dated_worst_s"] = (f(dates) if dates else np.nan for f in (np.mean, np.max))
            row["contradictions"] = np.mean([any(said_in_match(run)) for run in runs])
        rows.append(row)
    return rows


def rate_slip(runs: Sequence[Judged]) -> list[dict[str, object]]:
    """The row of slip speeds."""
    generator = np.random.default_rng(7)
    errors, ratios, passing, once, squares = [], [], [], [], []
    for run in runs:
        for wheel in run.wheels:
            known = np.isfinite(wheel.error_m_s) & (wheel.u_m_s > 0)
            if known.sum() < LEAST_FRAMES:
                continue
            error, u = wheel.error_m_s[known], wheel.u_m_s[known]
            errors.append(rms(error))
            ratios.append(error / u)
            true_m_s = np.abs(wheel.true_m_s[known])
            passing.append((true_m_s > CREEPS_M_S) & (true_m_s < SLIDES_M_S))
            once.append(generator.choice(ratios[-1]))
            squares.append((float(np.mean(error**2)), float(np.mean(u**2))))
    if not errors:
        return []
    row: dict[str, object] = {"source": "slip speed", "runs": len(errors), "rms_m_s": rms(np.array(errors))}
    return [row | {"worst": np.max(errors)} | _honesty(ratios, passing, once, squares)]


def rate_middle(runs: Sequence[Judged]) -> list[dict[str, object]]:
    """The row of the rope's middle: within a run its error is nearly the same in all frames, so that runs count."""
    generator = np.random.default_rng(7)
    middles = [run.middle for run in runs if run.middle is not None and len(run.middle.error_m) >= LEAST_FRAMES]
    if not middles:
        return []
    squares = [(float(np.mean(m.error_m**2)), float(np.mean(m.u_m**2))) for m in middles]
    ratios = np.concatenate([m.error_m / m.u_m for m in middles])
    once = [generator.choice(m.error_m / m.u_m) for m in middles]
    error, stated = np.mean(squares, axis=0)
    row: dict[str, object] = {"source": "rope's middle", "runs": len(middles), "rms_mm": 1e3 * np.sqrt(error)}
    row |= {"worst_mm": 1e3 * max(rms(m.error_m) for m in middles), "inside_1.96_u": np.mean(np.abs(ratios) < 1.96)}
    row |= {"one_a_run": np.mean(np.abs(once) < 1.96), "rms_error_over_rms_u": np.sqrt(error / stated)}
    return [row | ratio_range(squares)]


def rate_events(runs: Sequence[Judged]) -> list[dict[str, object]]:
    """The rows of events, one a kind."""
    names = sorted({truth.kind for run in runs for truth, _ in run.events.pairs})
    names += sorted({event.kind for run in runs for event in run.events.false} - set(names))
    rows = []
    for name in names:
        pairs = [(t, e) for run in runs for t, e in run.events.pairs if t.kind == name]
        hits = [(t, e) for t, e in pairs if e is not None]
        errors = np.array([t.error_s(e.start_s) for t, e in hits if t.dated])
        ratios = np.array([t.error_s(e.start_s) / e.u_start_s for t, e in hits if t.dated])
        row: dict[str, object] = {"source": name, "runs": len(runs), "true": len(pairs), "found": len(hits)}
        row["false"] = sum(event.kind == name for run in runs for event in run.events.false)
        if errors.size:
            row |= {"onset_rms_s": rms(errors), "onset_worst_s": np.abs(errors).max()}
            row |= {"within_50_ms": np.mean(np.abs(errors) <= 0.05), "inside_1.96_u": np.mean(np.abs(ratios) < 1.96)}
        rows.append(row)
    return rows


def jerky(tension: FloatArray, real_s: FloatArray) -> BoolArray:
    """Frames (n,) about which a tension, in parts of its greatest, changes by more than `JERK_RATIO`."""
    later, before = (np.interp(real_s + away, real_s, tension) for away in (JERK_HALF_S, -JERK_HALF_S))
    return np.asarray(np.abs(later - before) > JERK_RATIO)


def _honesty(
    ratios: Sequence[FloatArray],
    hard: Sequence[BoolArray],
    once: Sequence[float],
    squares: Sequence[tuple[float, float]],
) -> dict[str, object]:
    error, stated = np.mean(squares, axis=0)
    inside, apart = np.abs(np.concatenate(ratios)) < 1.96, np.concatenate(hard)
    return {
        "inside_1.96_u": inside.mean(),
        "inside_jerk": inside[apart].mean() if apart.any() else np.nan,
        "inside_steady": inside[~apart].mean() if (~apart).any() else np.nan,
        "one_a_run": np.mean(np.abs(once) < 1.96),
        "rms_error_over_rms_u": np.sqrt(error / stated),
        **ratio_range(squares),
    }


def ratio_range(squares: Sequence[tuple[float, float]]) -> dict[str, float]:
    """95 % range of rms error over rms u from each run's mean squares of both, by drawing runs anew (bootstrap)."""
    each = np.array(squares)
    drawn = each[np.random.default_rng(7).integers(0, len(each), (2000, len(each)))].mean(axis=1)
    low, high = np.quantile(np.sqrt(drawn[:, 0] / drawn[:, 1]), [0.025, 0.975])
    return {"ratio_from": float(low), "ratio_to": float(high)}


def over_best(runs: Sequence[Judged] | Sequence[Measured]) -> float:
    """Fused rms over that of the best single source: pooled over the runs, in parts of each run's peak.

    A source counts where it speaks in nearly all frames of nearly all runs; each is held against the fused pull of its
    own frames.
    """
    ratios: list[tuple[float, float]] = []
    for name in SOURCES[:-1]:
        squares = []
        for run in runs:
            fused, _, counts = run.errors("fused")
            own, _, says = run.errors(name)
            both = says & counts
            if both.sum() > 0.8 * counts.sum():
                peak_N = run.true_N[run.usable].max()
                squares.append((np.mean(own[both] ** 2) / peak_N**2, np.mean(fused[both] ** 2) / peak_N**2))
        if len(squares) > 0.8 * len(runs):
            single, together = np.sqrt(np.mean(squares, axis=0))
            ratios.append((float(single), float(together / single)))
    return min(ratios)[1] if ratios else float("nan")


def said_in_match(run: Judged | Measured) -> list[bool]:
    """Of each contradiction, whether it begins after the start."""
    return [float(sentence.split()[1]) > 0 for sentence in run.disagreement]


def first_contradiction_s(run: Judged | Measured) -> float:
    """Match time at which link and known load are first said to contradict each other; NaN where they are not."""
    for sentence in run.disagreement:
        if "inertia and link" in sentence:
            return float(sentence.split()[1])
    return float("nan")


def rms(values: FloatArray) -> float:
    """Root mean square of the finite values."""
    finite = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(np.square(finite)))) if finite.size else float("nan")
