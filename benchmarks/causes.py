"""Which cause is named first, over runs of a physics engine with one known change each, and over unchanged ones.

Every forecast is honest: off the truth by what it says itself. Points: the markers' places with white noise. Pixels:
rendered, compressed pictures through the whole analysis. (Unmeasured: see `causes_unmeasured`.) One row a run:

- ``right``: the true cause, of the right machine, came first; ``chance_of_first``, ``chance_of_true`` as stated;
- ``z``: the error of its estimate over its standard uncertainty; ``since_s`` beside ``true_since_s``: its date;
- ``z_from``, ``z_to``: the same of where a slippery stretch begins and ends, as the statement tells it;
- ``cause_cpu_s``: what the search took of the processor (points only).

Rows are kept as they come, for as long as the program stays the same, so that a study may be stopped and taken up.
"""

import hashlib
import json
import re
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.results import write_rows
from matchvision.records.results import CauseRow
from matchvision.uncertainty.scoring import wilson_interval
from tests.verdict.causes.changed_runs import (
    KINDS,
    Changed,
    as_small_pictures,
    causes_from_measured,
    causes_from_pixels,
    changed_run,
    measured_points,
    with_unmeasured_opponent,
)

#: Seeds of the changed runs, of each kind, and of the unchanged ones; none was looked at while this was built.
CHANGED_SEEDS, PLAIN_SEEDS = tuple(range(4001, 4004)), tuple(range(4001, 4019))
#: Seeds of the filmed runs: one of each kind that a clip can show, from this one on, and unchanged ones.
PIXEL_SEED, PLAIN_PIXEL_SEEDS = 4031, tuple(range(4031, 4040))
#: Neither a touch, which takes a hand in the picture, nor a machine on feet, which has no rims to mark.
FILMED: Final = tuple(kind for kind in KINDS if kind not in ("touched", "anchor-weaker"))
ROOT: Final = Path(__file__).resolve().parents[1]
RESULTS: Final = Path(__file__).parent / "results"
KEPT: Final = Path(tempfile.gettempdir()) / "matchvision-causes"


def measure() -> pd.DataFrame:
    """One row a run; prints how often the true cause came first and how often stated chances came true."""
    table = judge_all(plan())
    print(summarise(table))
    write_rows("causes_confusion", confusion_of(table).reset_index(), RESULTS)
    write_rows("causes_reliability", reliability_of(table).reset_index(), RESULTS)
    return table


def judge_all(runs: Iterable[tuple[str, str, int]]) -> pd.DataFrame:
    """One row a run (source, kind, seed); those that are kept from the same program are not computed again."""
    kept = KEPT / f"{state_of_program()}.jsonl"
    kept.parent.mkdir(parents=True, exist_ok=True)
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    told = {(row["source"], row["kind"], row["seed"]): row for row in rows}
    wanted = list(runs)
    for source, kind, seed in wanted:
        if (source, kind, seed) not in told:
            told[source, kind, seed] = judge(source, kind, seed)
            with kept.open("a") as file:
                file.write(json.dumps(told[source, kind, seed]) + "\n")
    return pd.DataFrame([told[run] for run in wanted])


def plan() -> Iterator[tuple[str, str, int]]:
    """Every run (source, kind, seed), all sorts in turns: a study that is cut short has seen some of each."""
    points = mixed([(k, s) for s in CHANGED_SEEDS for k in KINDS], [("as-predicted", s) for s in PLAIN_SEEDS])
    pixels = mixed(
        [(k, PIXEL_SEED + i) for i, k in enumerate(FILMED)], [("as-predicted", s) for s in PLAIN_PIXEL_SEEDS]
    )
    every = len(points) / len(pixels)
    for k, (kind, seed) in enumerate(points):
        yield "points", kind, seed
        if int((k + 1) / every) > int(k / every):
            yield "pixels", *pixels[int(k / every)]


def mixed(changed: list[tuple[str, int]], plain: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """An unchanged run after every two changed ones, for as long as there are any."""
    out = []
    for k, run in enumerate(changed):
        out.append(run)
        if k % 2 and k // 2 < len(plain):
            out.append(plain[k // 2])
    return out + plain[len(changed) // 2 :]


def judge(source: str, kind: str, seed: int) -> dict[str, object]:
    """One run played, measured and explained."""
    changed = changed_run(kind, seed)
    if source == "pixels":
        changed = as_small_pictures(changed)
        return tabulate(source, kind, seed, changed, causes_from_pixels(changed), np.nan)
    if source == "unmeasured":
        changed = with_unmeasured_opponent(changed)
    measured = measured_points(changed, seed)
    begun_s = time.process_time()
    causes = causes_from_measured(changed, *measured)
    return tabulate(source, kind, seed, changed, causes, time.process_time() - begun_s)


def state_of_program() -> str:
    """A short name for the state of everything that a row rests on."""
    digest = hashlib.sha256()
    for folder in ("matchvision", "tests/engine", "tests/verdict"):
        for file in sorted((ROOT / folder).rglob("*.py")):
            digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def tabulate(
    source: str, kind: str, seed: int, changed: Changed, causes: tuple[CauseRow, ...], cpu_s: float
) -> dict[str, object]:
    """What is true and what was said of one run."""
    # Where a rope was seen to come off, its hitch is told as well.
    true = next(
        (c for c in causes if c.cause == changed.cause and (c.machine == changed.machine or not changed.machine)), None
    )
    first = causes[0]
    known = true is not None and np.isfinite(true.estimate)
    return {
        "source": source,
        "kind": kind,
        "seed": seed,
        "whose": changed.machine,
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
        **_edges(changed, true),
        "true_since_s": changed.since_s,
        "since_s": true.since_s if true is not None else np.nan,
        "cause_cpu_s": cpu_s,
        "statement": first.statement,
    }


def _edges(changed: Changed, true: CauseRow | None) -> dict[str, float]:
    """Errors of a stretch's two ends over their standard uncertainties; the statement tells them with twice those."""
    told = re.search(r"between x = (\S+) ± (\S+) m and (\S+) ± (\S+) m", true.statement) if true is not None else None
    if told is None or not changed.scene.table.patch:
        return {"z_from": np.nan, "z_to": np.nan}
    low, u_low, high, u_high = (float(number) for number in told.groups())
    patch = changed.scene.table.patch[0]
    return {"z_from": (low - patch.from_m) / (u_low / 2), "z_to": (high - patch.to_m) / (u_high / 2)}


def summarise(table: pd.DataFrame) -> str:
    """Right ones and estimates by kind, what each kind was taken for, and how often stated chances came true."""
    by_kind = table.groupby("kind").agg(
        runs=("right", "size"),
        right=("right", "sum"),
        within_2u=("z", lambda z: int((z.abs() <= 2).sum())),
        estimated=("z", "count"),
        rms_z=("z", lambda z: float(np.sqrt(np.mean(z**2))) if z.notna().any() else np.nan),
    )
    taken, reliable = confusion_of(table), reliability_of(table)
    return f"{by_kind.to_string()}\n\n{taken.to_string()}\n\n{reliable.to_string()}"


def confusion_of(table: pd.DataFrame) -> pd.DataFrame:
    """How often each kind of change was taken for what, a row a kind."""
    return pd.crosstab(table["kind"], table["first"])


def span_of_right(stated: npt.NDArray[np.float64]) -> tuple[int, int]:
    """The 2.5 % and 97.5 % quantile of how many come true, each by itself with the chance that was stated for it."""
    chances = np.ones(1)
    for chance in np.clip(stated, 0.0, 1.0):
        chances = np.convolve(chances, [1.0 - chance, chance])
    low, high = np.searchsorted(np.cumsum(chances), [0.025, 0.975])
    return int(low), int(min(high, len(stated)))


def reliability_of(table: pd.DataFrame) -> pd.DataFrame:
    """How often what came first was right, by the chance that was stated for it, with Wilson's 95 % interval.

    Beside it how many were to be expected by what was stated, and between which numbers they lie in 95 % of studies.
    """
    bins = pd.cut(table["chance_of_first"].clip(upper=1.0), [0.0, 0.5, 0.8, 0.95, 0.99, 1.0])
    told = table.groupby(bins, observed=True).agg(
        runs=("right", "size"), right=("right", "sum"), stated=("chance_of_first", "mean"), came_true=("right", "mean")
    )
    ends = [wilson_interval(int(k), int(n)) for k, n in zip(told["right"], told["runs"], strict=True)]
    told["came_true_low"], told["came_true_high"] = [low for low, _ in ends], [high for _, high in ends]
    stated = [own.to_numpy() for _, own in table["chance_of_first"].groupby(bins, observed=True)]
    told["expected"] = [float(np.sum(own)) for own in stated]
    told["expected_low"], told["expected_high"] = np.transpose([span_of_right(own) for own in stated])
    told.index = told.index.astype(str)
    return told
