"""What stands in a class's tables and on its page."""

from dataclasses import dataclass


@dataclass(frozen=True)
class RunLine:
    """One line of the list of runs with its outcome; numbers that are not known are NaN.

    Attributes
    ----------
    status : "listed" (not filmed yet), "failed", "answered" (causes still due) or "done".
    winner, measured_winner : as it counts, and as measured; they differ where an instructor decided otherwise.
    chance : what the forecasts gave the winner.
    remedy : what would have won for the side that lost, once it was sought.
    counts : False where the run was replayed.
    remarks : replays and overrides with their reasons.
    folder : of its results, counted from the class's page.
    """

    id: str
    round: str
    table: str
    teams: tuple[str, ...]
    kind: str
    status: str
    winner: str
    measured_winner: str
    sure: bool
    margin_m: float
    u_margin_m: float
    chance: float
    cause: str
    cause_probability: float
    cause_statement: str
    remedy: str
    counts: bool
    remarks: tuple[str, ...]
    message: str
    folder: str


@dataclass(frozen=True)
class Doubt:
    """A run that a person should look at; ``weight`` 3: no answer, 2: it may be wrong, 1: not all of it."""

    id: str
    weight: int
    why: tuple[str, ...]


@dataclass(frozen=True)
class Pair:
    """One quantity of one team in one run, predicted against measured, with standard uncertainties."""

    id: str
    team: str
    quantity: str
    unit: str
    predicted: float
    u_predicted: float
    measured: float
    u_measured: float
    zeta: float


@dataclass(frozen=True)
class Coverage:
    """How often the truth lay inside intervals of a stated coverage; ``low``, ``high``: Wilson's over ``runs``."""

    team: str
    stated: float
    inside: float
    count: int
    runs: int
    low: float
    high: float


@dataclass(frozen=True)
class ChanceBin:
    """Stated chances to win from ``low_stated`` to ``high_stated``, and how often those machines won."""

    low_stated: float
    high_stated: float
    stated: float
    won: int
    count: int
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """How honest a team's uncertainties are: root mean square of error over u; 1 is honest."""

    team: str
    rms_zeta: float
    count: int
    runs: int
    brier: float


@dataclass(frozen=True)
class Upset:
    """A match that the forecasts gave to the other side."""

    id: str
    winner: str
    loser: str
    chance: float
    sure: bool
    cause: str
    cause_probability: float
    statement: str


@dataclass(frozen=True)
class Reliability:
    """``good`` of ``runs`` runs of a machine went well, with Wilson's interval.

    ``needed``: more runs without a failure that would show 90 % at 90 % confidence; 0 where shown. ``unknown``: runs
    that could not be judged. ``failures``: each bad run and what happened.
    """

    team: str
    good: int
    runs: int
    low: float
    high: float
    needed: int
    unknown: int
    failures: tuple[str, ...]


@dataclass(frozen=True)
class Standing:
    """A team's matches."""

    team: str
    played: int
    won: int
    lost: int
    undecided: int


@dataclass(frozen=True)
class Pairing:
    """Two teams that meet, or one that goes on unopposed (``plus`` empty); ``id`` of the run that counts."""

    minus: str
    plus: str
    winner: str
    id: str
    status: str


@dataclass(frozen=True)
class DrawRound:
    """One round of the draw."""

    name: str
    pairings: tuple[Pairing, ...]


@dataclass(frozen=True)
class MarkLine:
    """One part's mark of one team in one run; ``given`` is what the rubric gave, ``reason`` why it is otherwise."""

    id: str
    team: str
    part: str
    points: float
    of: float
    arithmetic: str
    given: float
    reason: str


@dataclass(frozen=True)
class HandedIn:
    """What was received of a team: "in time", "late" or "missing"."""

    team: str
    status: str
    received: str
    file: str
    fingerprint: str


@dataclass(frozen=True)
class ClassBook:
    """Everything on a class's page, in the order of the list and of the teams' names."""

    name: str
    teams: tuple[str, ...]
    lines: tuple[RunLine, ...]
    doubts: tuple[Doubt, ...]
    pairs: tuple[Pair, ...]
    coverage: tuple[Coverage, ...]
    chances: tuple[ChanceBin, ...]
    spreads: tuple[Spread, ...]
    upsets: tuple[Upset, ...]
    reliability: tuple[Reliability, ...]
    standings: tuple[Standing, ...]
    rounds: tuple[DrawRound, ...]
    marks: tuple[MarkLine, ...]
    handed_in: tuple[HandedIn, ...]
