"""Pull by every source against a physics engine, over many runs whose sheets are as wrong as they say they may be.

Points: noisy markers through a camera that is off by a draw from its covariance. Clips: filmed, and measured from their
pixels. One row a kind of run and source:

- ``rms_over_peak``: rms error over the run's greatest tension, mean and ``worst`` over the runs; ``gripping``: its mean
  while no wheel slips;
- ``inside_1.96_u``: share of |error| / u below 1.96, of all frames; ``one_a_run``: of one frame drawn from each run;
- ``rms_error_over_rms_u`` over all runs;
- ``over_best``: fused rms over that of the best source, pooled over the runs in which both speak nearly throughout;
- ``contradictions``: share of runs in which sources are said to contradict each other;
- ``dated_s``: how far the found contradiction's date lies from the rough stretch's true beginning, mean and worst.
"""

import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from tests.pull.engine_runs import Kind, Measured, measure_clip, measure_points, play_run, sled_touches_patch_s

SOURCES = ("link", "inertia", "momentum", "drive", "fused")
POINT_RUNS: dict[Kind, range] = {
    "sled": range(80),
    "match": range(80),
    "slope": range(25),
    "patch": range(25),
}
CLIP_RUNS: tuple[tuple[Kind, int], ...] = (
    ("sled", 500), ("match", 501), ("patch", 502), ("sled", 503), ("match", 504), ("slope", 505), ("sled", 506),
    ("match", 507), ("patch", 508), ("sled", 509), ("match", 510), ("sled", 511),
)  # fmt: skip
#: Filming takes longest by far, so clips are kept here and filmed but once.
CLIPS = Path(tempfile.gettempdir()) / "matchvision-pull-clips"
#: Fewer frames than this say nothing about a source in a run.
LEAST_FRAMES = 10


def measure() -> pd.DataFrame:
    """One row a kind of run and source, points and clips apart."""
    rows = []
    for kind, seeds in POINT_RUNS.items():
        runs = [play_run(kind, seed) for seed in seeds]
        rows += rate("points", kind, [(measure_points(run), sled_touches_patch_s(run)) for run in runs])
    clips: dict[Kind, list[tuple[Measured, float | None]]] = {}
    for kind, seed in CLIP_RUNS:
        run = play_run(kind, seed)
        found = measure_clip(run, CLIPS / f"{kind}-{seed}"), sled_touches_patch_s(run)
        clips.setdefault(kind, []).append(found)
    for kind, measured in clips.items():
        rows += rate("clips", kind, measured)
    return pd.DataFrame(rows)


def rate(through: str, kind: Kind, runs: Sequence[tuple[Measured, float | None]]) -> list[dict[str, object]]:
    """The rows of one kind of run."""
    generator = np.random.default_rng(7)
    rows = []
    for name in SOURCES:
        over_peak, gripping, ratios, once, squares = [], [], [], [], []
        for measured, patch_s in runs:
            error, u, counts = measured.errors(name)
            if patch_s is not None and name == "inertia":
                counts = counts & (measured.match_s < patch_s)
            if counts.sum() < LEAST_FRAMES:
                continue
            peak_N = measured.true_N[measured.usable].max()
            over_peak.append(rms(error[counts]) / peak_N)
            grips = counts & ~measured.slips
            if grips.sum() >= LEAST_FRAMES:
                gripping.append(rms(error[grips]) / peak_N)
            ratios.append((error / u)[counts])
            once.append(generator.choice(ratios[-1]))
            squares.append((np.mean(error[counts] ** 2), np.mean(u[counts] ** 2)))
        if not over_peak:
            continue
        row: dict[str, object] = {"through": through, "kind": kind, "source": name, "runs": len(over_peak)}
        row["rms_over_peak"], row["worst"] = np.mean(over_peak), np.max(over_peak)
        row["gripping"] = np.mean(gripping) if gripping else np.nan
        row["inside_1.96_u"] = np.mean(np.abs(np.concatenate(ratios)) < 1.96)
        row["one_a_run"] = np.mean(np.abs(once) < 1.96)
        row["rms_error_over_rms_u"] = np.sqrt(np.mean(squares, axis=0)[0] / np.mean(squares, axis=0)[1])
        if name == "fused":
            row["over_best"] = over_best([measured for measured, _ in runs])
            dates = [abs(first_contradiction_s(m) - at) for m, at in runs if at is not None]
            row["dated_s"], row["dated_worst_s"] = (f(dates) if dates else np.nan for f in (np.mean, np.max))
            row["contradictions"] = np.mean([any(said_in_match(m)) for m, _ in runs])
        rows.append(row)
    return rows


def over_best(runs: Sequence[Measured]) -> float:
    """Fused rms over that of the best single source: pooled over the runs, in parts of each run's peak.

    A source counts where it speaks in nearly all frames of nearly all runs; each is held against the fused pull of its
    own frames.
    """
    ratios: list[tuple[float, float]] = []
    for name in SOURCES[:-1]:
        squares = []
        for measured in runs:
            fused, _, counts = measured.errors("fused")
            own, _, says = measured.errors(name)
            both = says & counts
            if both.sum() > 0.8 * counts.sum():
                peak_N = measured.true_N[measured.usable].max()
                squares.append((np.mean(own[both] ** 2) / peak_N**2, np.mean(fused[both] ** 2) / peak_N**2))
        if len(squares) > 0.8 * len(runs):
            single, together = np.sqrt(np.mean(squares, axis=0))
            ratios.append((float(single), float(together / single)))
    return min(ratios)[1] if ratios else float("nan")


def said_in_match(measured: Measured) -> list[bool]:
    """Of each contradiction, whether it begins after the start."""
    return [float(sentence.split()[1]) > 0 for sentence in measured.pull.disagreement]


def first_contradiction_s(measured: Measured) -> float:
    """Match time at which link and known load are first said to contradict each other; NaN where they are not."""
    for sentence in measured.pull.disagreement:
        if "inertia and link" in sentence:
            return float(sentence.split()[1])
    return float("nan")


def rms(values: np.ndarray) -> float:
    """Root mean square of the finite values."""
    finite = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(np.square(finite)))) if finite.size else float("nan")
