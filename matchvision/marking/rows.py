"""Which rows of a run's comparison one team answers for."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from matchvision.uncertainty.scoring import zeta_score
from matchvision.writing.resultfile import ComparisonBrief, ResultFile

#: Quantities that say again what another one says: the distance over the time that passed.
SAID_TWICE = ("mean speed",)
#: What stands behind a quantity that a team stated beforehand, instead of computing it from its numbers.
AS_STATED = "as stated"
#: A machine's place at the end, and the rope's, which a taut rope ties to it: one error moves both.
OWN_PLACE = "distance towards home"
ROPE_PLACE = "rope on the +x side"


@dataclass(frozen=True)
class Answered:
    """One quantity with both sides known: values, standard uncertainties, and the size that errors are judged by."""

    quantity: str
    unit: str
    predicted: float
    u_predicted: float
    measured: float
    u_measured: float
    size: float

    @property
    def error(self) -> float:
        """Predicted less measured."""
        return self.predicted - self.measured

    @property
    def zeta(self) -> float:
        """The error over the root sum of squares of both uncertainties."""
        return float(zeta_score(self.predicted, self.u_predicted, self.measured, self.u_measured))


def computed_rows(result: ResultFile, name: str) -> tuple[Answered, ...]:
    """What the computed forecast said about a machine, and about what both machines share: rope and pull.

    Quantities of the whole run only, and none that another one says already. Of one place the machine's own distance
    counts, which its team answers for; the rope's stands in where the machine's is not known.

    Notes
    -----
    Checked by: tests/marking/test_rows.py::test_of_one_place_one_row_counts
    """
    known = [row for row in known_rows(result.comparison) if row.machine in ("", name)]
    placed = any(row.quantity.startswith(OWN_PLACE) for row in known)
    skipped = ("chance", *SAID_TWICE, *((ROPE_PLACE,) if placed else ()))
    return tuple(
        answered(row) for row in known if not row.quantity.startswith(skipped) and AS_STATED not in row.quantity
    )


def stated_peak(result: ResultFile, name: str) -> Answered | None:
    """The peak pull that a team stated beforehand, where it was measured too."""
    wanted = f"peak pull, as stated by {name}"
    return next((answered(row) for row in known_rows(result.comparison) if row.quantity == wanted), None)


def pull_was_measured(result: ResultFile) -> bool:
    """Whether a peak pull could be judged: one that stands by itself, beside which a stated or computed one was put.

    Where nothing was stated or computed that it could be put beside, a machine's traction tells of it, which needs one.
    """
    compared = any(row.quantity.startswith("peak pull") and row.measured is not None for row in result.comparison)
    return compared or any(peak.quantity == "traction" for peak in result.peaks)


def known_rows(rows: Iterable[ComparisonBrief]) -> tuple[ComparisonBrief, ...]:
    """Rows of the whole run with a number on both sides."""
    return tuple(r for r in rows if r.predicted is not None and r.measured is not None and r.phase == "")


def answered(row: ComparisonBrief) -> Answered:
    """A row as numbers; without a size of its own it has that of what was measured."""
    predicted, measured = (math.nan if v is None else v for v in (row.predicted, row.measured))
    size = abs(measured) if row.scale is None else row.scale
    return Answered(
        row.quantity, row.unit, predicted, row.u_predicted or 0.0, measured, row.u_measured or 0.0, size
    )  # fmt: skip
