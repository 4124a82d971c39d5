"""Marks of forecasts, and the scores that they rest on."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Mark:
    """One part's mark of one machine's forecast.

    ``points`` out of ``of``; NaN where the run cannot decide it: it then counts neither for nor against the team.
    ``arithmetic`` says in a sentence how the points came about, with the numbers.
    """

    machine: str
    part: str
    points: float
    of: float
    arithmetic: str


@dataclass(frozen=True)
class Scores:
    """What an instructor adds up over runs, of one machine's forecast; NaN where it cannot be had.

    Attributes
    ----------
    brier : of the chance to win, over who won as measured.
    quantities : how many quantities with a stated uncertainty were compared.
    inside : of these, how many lie within their 95 % interval.
    rms_zeta : root mean square of E/u_val; 1 is honest, above is over-confident.
    mean_abs_en : mean |E_n|.
    crps_ratio : mean of CRPS over the measured size, of the same quantities; 0 is best.
    """

    machine: str
    brier: float
    quantities: int
    inside: int
    rms_zeta: float
    mean_abs_en: float
    crps_ratio: float


@dataclass(frozen=True)
class Marks:
    """All marks of one run; ``totals`` by machine in per cent of what could be judged, NaN where nothing could."""

    run: str
    marks: tuple[Mark, ...]
    scores: tuple[Scores, ...]
    totals: tuple[tuple[str, float], ...]

    def of_machine(self, machine: str) -> tuple[Mark, ...]:
        """The marks of one machine, in the rubric's order."""
        return tuple(mark for mark in self.marks if mark.machine == machine)
