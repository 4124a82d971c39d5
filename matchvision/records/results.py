"""The verdict, the comparison, and the whole answer."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from matchvision.records.camera import Cameras, TableView
from matchvision.records.events import Grip
from matchvision.records.forecast import ForecastRun
from matchvision.records.frames import ClipFacts, FootageFault
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeResult
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run


@dataclass(frozen=True)
class Contradiction:
    """The footage shows otherwise than the sheet says.

    Attributes
    ----------
    key : str
        The key of the sheet that is contradicted, with its block.
    shown : str
        What the footage shows, in a sentence.
    do : str
        What to write there, or to look at, in a sentence without its full stop.
    off_px : float
        How far places in the picture may lie off by it; NaN where nothing says how far.
    covered : bool
        Whether the stated uncertainties cover it: what contradicts was left out, or the uncertainty raised. Told so is
        also what the sheet knowingly says otherwise than a file's own note, and was believed.
    """

    key: str
    shown: str
    do: str
    off_px: float = float("nan")
    covered: bool = False


@dataclass(frozen=True)
class Doubts:
    """All contradictions of the sheet, and how far off along the pull they may put the rope beyond any uncertainty."""

    contradictions: tuple[Contradiction, ...] = ()
    shift_m: float = 0.0


@dataclass(frozen=True)
class StageNote:
    """What one stage did.

    Attributes
    ----------
    stage : str
        Its name ("footage", "table", "markers", "mends", "motion", "pull", "grip", "forecast", "verdict", "causes").
    status : "done", "partly" or "skipped"
        "partly": done, but the footage could not support something asked for.
    sentence : str
        What was done, with the numbers used; or "skipped, because …".
    warnings : str, each
    advice : str, each
        What adding something to the sheet or the filming would give.
    contradictions : Contradictions
        Where the footage shows otherwise than the sheet says; the warnings tell of it too.
    """

    stage: str
    status: Literal["done", "partly", "skipped"]
    sentence: str
    warnings: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()


@dataclass(frozen=True)
class Winning:
    """How surely each machine has won as measured, and nobody; together 1.

    ``lead_m`` is how far the rope, or the mark, lies from where the rule would have it otherwise; ``u_lead_m`` its u.
    """

    by_machine: Mapping[str, float]
    nobody: float
    lead_m: float
    u_lead_m: float


@dataclass(frozen=True)
class Ruling:
    """Who has won, by the event's own rules.

    ``winner`` is None for a load run or where there are no data; ``margin_m`` is the winner's rope beyond the share to
    win; ``sure`` is False where another result is likelier than by a one-sided 97.5 %, which for a share to win of one
    half is a margin inside its U95, or where the footage contradicts the sheet so that the margin's uncertainty cannot
    be trusted. ``doubts`` are the contradictions, ``shift_m`` how far off the margin may be by them beyond its
    uncertainty: 0 without any, NaN where nothing says how far. ``winning`` is None where nothing tells how surely.
    """

    winner: str | None
    margin_m: float
    u_margin_m: float
    sure: bool
    sentence: str
    share: float
    u_share: float
    decided_at_s: float
    doubts: tuple[Contradiction, ...] = ()
    shift_m: float = 0.0
    winning: Winning | None = None


@dataclass(frozen=True)
class FirstAnswer:
    """What is told before anything else is computed or written: the ruling, and in sentences what moved."""

    ruling: Ruling
    moved: tuple[str, ...]


@dataclass(frozen=True)
class ComparisonRow:
    """One quantity: error = predicted − measured; ``within`` is "yes", "no" or "inconclusive".

    ``phase`` is "" for the whole run, else "reach", "first-pull", "contest" or "hold"; ``machine`` "" where both are
    meant; ``scale`` the quantity's own size, by which errors are judged.
    """

    quantity: str
    unit: str
    predicted: float
    u_predicted: float
    measured: float
    u_measured: float
    error: float
    u_validation: float
    en: float
    within: str
    phase: str = ""
    machine: str = ""
    scale: float = float("nan")


@dataclass(frozen=True)
class Phase:
    """A stretch of the run on the match clock [s], and what says that it is one.

    ``phase`` is "reach", "first-pull", "contest" or "hold".
    """

    phase: str
    from_s: float
    until_s: float
    evidence: str


@dataclass(frozen=True)
class CurveRow:
    """How a predicted curve lies against the measured one, over the whole run (``phase`` "") or a phase.

    ``distance_ratio``, ``shape_ratio`` and ``crps_ratio`` are shares of the measured curve's rms; ``shift_s`` by how
    much the prediction comes too late; ``size_ratio`` by how much it is too large once shifted; ``inside_ratio`` the
    share of the time in which the two lie within their 95 % of each other. NaN where it cannot be told.
    """

    quantity: str
    unit: str
    machine: str
    phase: str
    from_s: float
    until_s: float
    distance_ratio: float
    shift_s: float
    u_shift_s: float
    size_ratio: float
    u_size_ratio: float
    shape_ratio: float
    inside_ratio: float
    crps_ratio: float


@dataclass(frozen=True, eq=False)
class ExplainedCurve:
    """One quantity of the match as measured, as forecast and as an explanation has it, over match time, (k,) arrays.

    Attributes
    ----------
    quantity : "speed", "surface", "heading" or "pull"
        Speed towards home, surface speed of one side's wheels, heading, pull in the rope.
    machine : str
        Whose; "" for the pull.
    side : "", "left" or "right"
    unit : str
    scale : float
        The quantity's own size, by which errors are judged.
    t_s, measured, u_measured : float arrays
    forecast : float array
        As the stated numbers have it.
    explained : float array or None
        As the explanation has it; None where it says nothing of it.
    logged : float array or None
        As the stated numbers have it with the commands as they were logged; None where none were.
    """

    quantity: str
    machine: str
    side: str
    unit: str
    scale: float
    t_s: npt.NDArray[np.float64]
    measured: npt.NDArray[np.float64]
    u_measured: npt.NDArray[np.float64]
    forecast: npt.NDArray[np.float64]
    explained: npt.NDArray[np.float64] | None
    logged: npt.NDArray[np.float64] | None = None


@dataclass(frozen=True)
class CauseRow:
    """One explanation with its probability; ``curves``: of the likeliest, what it makes of the run."""

    cause: str
    machine: str
    probability: float
    estimate: float
    u_estimate: float
    unit: str
    since_s: float
    statement: str
    curves: tuple[ExplainedCurve, ...] = field(default=(), compare=False, repr=False)


@dataclass(frozen=True)
class Verdict:
    """Ruling, comparison and causes; ``causes_due`` while causes are still to be sought, which takes longest."""

    ruling: Ruling | None
    comparison: tuple[ComparisonRow, ...]
    causes: tuple[CauseRow, ...]
    causes_due: bool = False
    phases: tuple[Phase, ...] = ()
    curves: tuple[CurveRow, ...] = ()


@dataclass(frozen=True, eq=False)
class Grounds:
    """What causes are sought from; they must not need the motion's tracks and places, which are not kept for it."""

    motion: Motion
    pull: Pull | None
    grip: Grip | None
    clock: MatchClock
    forecast: ForecastRun | None
    ruling: Ruling | None


@dataclass(frozen=True, eq=False)
class Analysis:
    """The whole answer about one run; ``practice`` is what a practice run measured."""

    run: Run
    clip: ClipFacts
    faults: tuple[FootageFault, ...]
    clock: MatchClock
    table: TableView
    cameras: Cameras
    motion: Motion
    pull: Pull | None
    grip: Grip | None
    forecast: ForecastRun | None
    verdict: Verdict
    notes: tuple[StageNote, ...]
    practice: PracticeResult | None = None

    @property
    def grounds(self) -> Grounds:
        """What causes are sought from."""
        return Grounds(self.motion, self.pull, self.grip, self.clock, self.forecast, self.verdict.ruling)

    def with_causes(self, causes: tuple[CauseRow, ...], note: StageNote) -> "Analysis":
        """The same with its causes, which are then no longer due."""
        verdict = replace(self.verdict, causes=causes, causes_due=False)
        return replace(self, verdict=verdict, notes=(*self.notes, note))
