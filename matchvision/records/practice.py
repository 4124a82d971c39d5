"""What a practice run tells about a machine or a load, in the words of the sheet that takes it."""

import math
from dataclasses import dataclass

from matchvision.records.pull import BudgetLine


@dataclass(frozen=True)
class PracticeParameter:
    """One measured number.

    Attributes
    ----------
    key : where it belongs in a run sheet, such as ("machine", "heron", "drive", "rolling_resistance").
    name : what it is, in plain words.
    value, unit : the estimate; the unit is "1" for a ratio.
    u : standard uncertainty, of ``degrees`` effective degrees of freedom.
    u95 : half width of the interval that holds it with 95 % chance.
    how : a sentence with what it rests on.
    since_s, until_s : the part of the run used, on the match clock.
    budget : what makes up ``u``, largest first.
    takes_u : whether the sheet's key takes an uncertainty; if not, a bare number goes there.
    stated : whether the line goes into the sheet by itself; False for what somebody must put there by hand.
    """

    key: tuple[str, ...]
    name: str
    value: float
    unit: str
    u: float
    u95: float
    how: str
    since_s: float
    until_s: float
    budget: tuple[BudgetLine, ...] = ()
    degrees: float = math.inf
    takes_u: bool = True
    stated: bool = True


@dataclass(frozen=True)
class PracticeResult:
    """Everything that a practice run gave; ``missing`` says what else it could give and what that would take."""

    kind: str
    parameters: tuple[PracticeParameter, ...]
    missing: tuple[str, ...]
    warnings: tuple[str, ...] = ()
