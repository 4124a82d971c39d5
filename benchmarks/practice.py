"""Practice runs of each kind, played by the physics engine: whether each number measured holds the truth.

Points: the engine's course seen as points with noise, by a camera that is off as its covariance says. Pixels: the same
kinds as short clips (1280 × 720, 30 frames a second), drawn, coded, followed and measured. Machines are weighed, drives
stated and plans followed as badly as their teams say. Judged against what the engine was given.
"""

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.keeping import MEASURING, once, state_of_program
from matchvision.errors import CannotMeasure
from matchvision.records.practice import PracticeResult
from tests.practice.runs import KINDS, filmed_case, measure_filmed, measure_points, play_case, practice_case

FloatArray = npt.NDArray[np.float64]

#: Runs of each kind, and the first one's seed: as points, and filmed.
RUNS, FIRST_SEED = 20, 100
FILMED, FIRST_FILMED = 20, 200
KEPT: Final = Path(tempfile.gettempdir()) / "matchvision-practice"
RESTS_ON: Final = (*MEASURING, "matchvision/practice", "tests/practice/runs.py", "benchmarks/practice.py")
#: What a followed clip rests on: it is drawn and followed anew only when one of these has changed.
FOLLOWED_BY: Final = (
    "matchvision/filming", "matchvision/footage", "matchvision/geometry", "matchvision/markers", "matchvision/table",
    "matchvision/watching.py", "tests/engine", "tests/following.py", "tests/practice/runs.py",
)  # fmt: skip
#: What was true, and value, u and half width of the 95 % interval as measured; NaN where it was not measured.
Judged = Mapping[str, tuple[float, float, float, float]]


def measure(runs: int = RUNS, filmed: int = FILMED) -> pd.DataFrame:
    """For each number: runs in which it was measured, those within its 95 % interval, error and interval over truth."""
    rows = []
    for through, first, count in (("points", FIRST_SEED, runs), ("pixels", FIRST_FILMED, filmed)):
        for kind in KINDS:
            found: dict[str, list[tuple[float, float, float, float]]] = {}
            for seed in range(first, first + count):
                for key, numbers in judge(through, kind, seed).items():
                    found.setdefault(key, []).append(numbers)
            rows += [{"through": through, "kind": kind} | rate(key, numbers) for key, numbers in found.items()]
    return pd.DataFrame(rows)


def judge(through: str, kind: str, seed: int) -> Judged:
    """One run's numbers beside the truth, as kept or anew."""

    def judged() -> Judged:
        case = practice_case(kind, seed) if through == "points" else filmed_case(kind, seed)
        run = play_case(case)
        try:
            if through == "points":
                result = measure_points(case, run, seed)
            else:
                result = measure_filmed(case, run, KEPT / state_of_program(FOLLOWED_BY) / f"{kind}-{seed}.pickle")
        except CannotMeasure:
            result = PracticeResult(kind, (), (), ())
        return _beside_truth(case.truth(run), result)

    return once(
        KEPT, (*RESTS_ON, *FOLLOWED_BY) if through == "pixels" else RESTS_ON, f"{through}-{kind}-{seed}", judged
    )


def _beside_truth(truth: Mapping[str, float], result: PracticeResult) -> Judged:
    measured = {parameter.key[-1]: parameter for parameter in result.parameters}
    nothing = (np.nan, np.nan, np.nan)
    return {
        key: (true, *((m.value, m.u, m.u95) if (m := measured.get(key)) is not None else nothing))
        for key, true in truth.items()
    }


def rate(key: str, numbers: list[tuple[float, float, float, float]]) -> dict[str, object]:
    """The row of one number."""
    true, value, u, u95 = np.array(numbers).T
    error = value - true
    return {
        "number": key,
        "runs": len(true),
        "measured": int(np.isfinite(value).sum()),
        "within_u95": int(np.sum(np.abs(error) <= u95)),
        "rms_error_percent": round(100 * _rms(error / true), 2),
        "median_u95_percent": round(100 * float(np.nanmedian(u95 / np.abs(true))), 2),
        "largest_u95_percent": round(100 * float(np.nanmax(u95 / np.abs(true))), 2),
        "rms_error_over_rms_u": round(_rms(error) / _rms(u), 2),
        "rms_error_over_u": round(_rms(error / u), 2),
    }


def _rms(numbers: FloatArray) -> float:
    """Root mean square of what is known."""
    return float(np.sqrt(np.nanmean(numbers**2)))
