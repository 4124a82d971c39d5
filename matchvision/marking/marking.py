"""All marks of one run."""

from collections.abc import Callable, Mapping
from typing import Final

from matchvision.marking import parts
from matchvision.marking.scoring import score_machine
from matchvision.records.marks import Mark, Marks
from matchvision.records.rubric import PARTS, Rubric
from matchvision.writing.resultfile import ResultFile
from matchvision.writing.results import Results

_MARKED_BY: Final[Mapping[str, Callable[[ResultFile, str, Rubric], Mark]]] = {
    "win_chance": parts.mark_win_chance,
    "peak_pull": parts.mark_peak_pull,
    "accuracy": parts.mark_accuracy,
    "honesty": parts.mark_honesty,
    "verdict": parts.mark_verdict,
    "cause": parts.mark_cause,
}


def mark_run(result: Results | ResultFile, rubric: Rubric) -> Marks:
    """Marks of every machine whose team forecast something, by a rubric.

    Parameters
    ----------
    result : as `matchvision.open_result` gives it, or its ``brief`` alone.
    rubric : weights and tolerances; `Rubric()` has the defaults.

    Returns
    -------
    Marks
        One mark a machine and part whose weight is not 0, in the rubric's order; without any forecast none.

    Notes
    -----
    Checked by: tests/marking/test_marking.py::test_every_mark_follows_from_its_own_arithmetic
    """
    brief = result.brief if isinstance(result, Results) else result
    weights = {part: getattr(rubric.weights, part) for part in PARTS}
    marks: list[Mark] = []
    scores, totals = [], []
    for name in brief.stated:
        own = tuple(_MARKED_BY[part](brief, name, rubric) for part in PARTS if weights[part] > 0)
        marks += own
        scores.append(score_machine(brief, name))
        totals.append((name, parts.total(own)))
    return Marks(brief.run.name, tuple(marks), tuple(scores), tuple(totals))
