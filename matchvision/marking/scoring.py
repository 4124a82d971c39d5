"""Scores of one machine's forecast in one run: what an instructor adds up over a class or a season."""

import math
from typing import Final

import numpy as np

from matchvision.marking.rows import Answered, computed_rows, stated_peak
from matchvision.records.marks import Scores
from matchvision.uncertainty import K_95
from matchvision.uncertainty.scoring import K_EXPANDED, crps_gaussian, expected_brier
from matchvision.writing.resultfile import ResultFile

NAN: Final = math.nan


def score_machine(result: ResultFile, name: str) -> Scores:
    """Brier score, coverage, root mean square of E/u_val, mean |E_n| and CRPS of one machine's forecast.

    Quantities count that were compared and whose prediction states an uncertainty; a peak pull that the team stated
    beforehand counts instead of the computed one.

    Notes
    -----
    Checked by: tests/marking/test_scoring.py::test_scores_are_those_of_their_definitions
    """
    rows = scored_rows(result, name)
    zeta = np.array([row.zeta for row in rows])
    crps = [
        float(crps_gaussian(row.predicted, row.u_predicted, row.measured)) / row.size for row in rows if row.size > 0
    ]
    chance, _ = stated_chance(result, name)
    won = win_probability(result, name)
    return Scores(
        machine=name,
        brier=expected_brier(chance, won),
        quantities=len(rows),
        inside=int(np.sum(np.abs(zeta) <= K_95)),
        rms_zeta=float(np.sqrt(np.mean(zeta**2))) if len(rows) else NAN,
        mean_abs_en=float(np.mean(np.abs(zeta)) / K_EXPANDED) if len(rows) else NAN,
        crps_ratio=float(np.mean(crps)) if crps else NAN,
    )


def scored_rows(result: ResultFile, name: str) -> tuple[Answered, ...]:
    """The quantities that test a team's stated uncertainties."""
    peak = stated_peak(result, name)
    rows = [row for row in computed_rows(result, name) if peak is None or row.quantity != "peak pull"]
    rows += [peak] if peak is not None else []
    return tuple(row for row in rows if row.u_predicted > 0)


def stated_chance(result: ResultFile, name: str) -> tuple[float, str]:
    """The chance to win that the team stated, else the one computed from the sheets' numbers; and which it is."""
    stated = result.stated.get(name)
    if stated is not None and stated.win_chance is not None:
        return stated.win_chance, "stated"
    computed = result.forecast.win_chance.get(name) if result.forecast is not None else None
    return (NAN, "") if computed is None else (computed, "computed from the sheets' numbers")


def win_probability(result: ResultFile, name: str) -> float:
    """How surely a machine has won as measured: as the verdict tells it, so that nobody's winning counts as not won.

    NaN where nothing tells it. Results from before verdicts told it count where they are sure, as 1 or 0: by how much
    a winner exceeds the share to win does not tell, unless that share is one half, how surely it is ahead.

    Notes
    -----
    Checked by: tests/marking/test_scoring.py::test_how_surely_a_machine_has_won_is_what_the_verdict_tells
    """
    verdict = result.verdict
    if verdict.winning is not None:
        return verdict.winning.by_machine.get(name, NAN)
    return float(name == verdict.winner) if verdict.sure and verdict.margin_m is not None else NAN


def say_unjudged(result: ResultFile) -> str:
    """Why nothing is told of how surely a machine has won, and what to do."""
    if result.verdict.winner is None:
        return "Not judged: the run has no winner."
    return (
        "Not judged: these results do not tell how surely it has won, since the footage contradicts the sheet or they "
        "are from an older version. Mend what the report names, and analyse the clip again."
    )
