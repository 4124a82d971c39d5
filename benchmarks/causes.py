"""Which cause is named first, over runs of a physics engine with one known change each, and over unchanged ones.

Every forecast is honest: off the truth by what it says itself. Most runs are the markers' places with white noise; the
last ones go through rendered pixels and the whole analysis.
"""

import numpy as np
import pandas as pd

from matchvision.records.results import CauseRow
from tests.verdict.changed_runs import KINDS, Changed, causes_from_pixels, causes_from_points, changed_run

#: Seeds of the changed runs, of each kind, and of the unchanged ones.
CHANGED_SEEDS, PLAIN_SEEDS = tuple(range(1, 6)), tuple(range(1, 21))
#: Seed of the runs that are filmed, one of each kind: forecasts and changes of their own.
PIXEL_SEED = 31


def measure() -> pd.DataFrame:
    """One row a run; prints how often the true cause came first and how often stated chances came true."""
    rows = []
    for kind, seeds in (("as-predicted", PLAIN_SEEDS), *((kind, CHANGED_SEEDS) for kind in KINDS)):
        for seed in seeds:
            changed = changed_run(kind, seed)
            rows.append(tabulate("points", kind, seed, changed, causes_from_points(changed, seed)))
    for kind in ("as-predicted", *KINDS):
        changed = changed_run(kind, PIXEL_SEED)
        rows.append(tabulate("pixels", kind, PIXEL_SEED, changed, causes_from_pixels(changed)))
    table = pd.DataFrame(rows)
    print(summarise(table))
    return table


def tabulate(source: str, kind: str, seed: int, changed: Changed, causes: tuple[CauseRow, ...]) -> dict[str, object]:
    """What is true and what was said of one run; ``z``: the estimate's error over its uncertainty."""
    true = next((c for c in causes if (c.cause, c.machine) == (changed.cause, changed.machine)), None)
    first = causes[0]
    known = true is not None and np.isfinite(true.estimate)
    return {
        "source": source,
        "kind": kind,
        "seed": seed,
        "machine": changed.machine,
        "first": first.cause,
        "first_machine": first.machine,
        "right": first is true,
        "chance_of_first": first.probability,
        "chance_of_true": true.probability if true is not None else 0.0,
        "true_size": changed.size,
        "estimate": true.estimate if true is not None else np.nan,
        "u_estimate": true.u_estimate if true is not None else np.nan,
        "z": (true.estimate - changed.size) / true.u_estimate if known and true is not None else np.nan,
        "unit": true.unit if true is not None else "",
    }


def summarise(table: pd.DataFrame) -> str:
    """Right ones and estimates by kind, what each kind was taken for, and how often stated chances came true."""
    by_kind = table.groupby("kind").agg(
        runs=("right", "size"),
        right=("right", "sum"),
        within_2u=("z", lambda z: int((z.abs() <= 2).sum())),
        estimated=("z", "count"),
        rms_z=("z", lambda z: float(np.sqrt(np.mean(z**2))) if z.notna().any() else np.nan),
    )
    taken = pd.crosstab(table["kind"], table["first"])
    bins = pd.cut(table["chance_of_first"], [0.0, 0.5, 0.8, 0.95, 0.99, 1.0])
    reliable = table.groupby(bins, observed=True).agg(
        runs=("right", "size"), stated=("chance_of_first", "mean"), came_true=("right", "mean")
    )
    return f"{by_kind.to_string()}\n\n{taken.to_string()}\n\n{reliable.to_string()}"
