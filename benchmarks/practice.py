"""Practice runs of each kind, played by the physics engine: whether each number measured holds the truth.

No pictures: the engine's course is seen as points with noise, by a camera that is off as its covariance says; machines
are weighed and drives stated as badly as their teams say. Judged against what the engine was given.
"""

import numpy as np
import pandas as pd

from tests.practice.runs import KINDS, measure_points, play_case, practice_case

#: Runs of each kind.
RUNS = 30


def measure(runs: int = RUNS, first_seed: int = 100) -> pd.DataFrame:
    """For each number: runs in which it was measured, those within its 95 % interval, error and interval over truth."""
    found: dict[tuple[str, str], list[tuple[float, float, float, float]]] = {}
    for kind in KINDS:
        for seed in range(first_seed, first_seed + runs):
            case = practice_case(kind, seed)
            run = play_case(case)
            measured = {parameter.key[-1]: parameter for parameter in measure_points(case, run, seed).parameters}
            for key, true in case.truth(run).items():
                row = (
                    (true, *(getattr(measured[key], name) for name in ("value", "u", "u95")))
                    if key in measured
                    else None
                )
                found.setdefault((kind, key), []).append(row or (true, np.nan, np.nan, np.nan))
    rows = []
    for (kind, key), numbers in found.items():
        true, value, u, u95 = np.array(numbers).T
        error = value - true
        rows.append(
            {
                "kind": kind,
                "number": key,
                "runs": len(true),
                "measured": int(np.isfinite(value).sum()),
                "within_u95": int(np.sum(np.abs(error) <= u95)),
                "rms_error_percent": round(100 * float(np.sqrt(np.nanmean((error / true) ** 2))), 2),
                "median_u95_percent": round(100 * float(np.nanmedian(u95 / np.abs(true))), 2),
                "rms_error_over_u": round(float(np.sqrt(np.nanmean((error / u) ** 2))), 2),
            }
        )
    return pd.DataFrame(rows)
