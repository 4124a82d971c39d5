"""Repeats of one thing: readings of several runs, how they scatter, and what a change brought."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Reading:
    """One quantity as one run gave it.

    Attributes
    ----------
    run : name of the run, for people.
    machine : whose quantity it is; empty for the rope's.
    quantity, unit : what it is, in plain words, and its unit ("1" for a ratio).
    value, u : the value and its standard uncertainty within the run; u is NaN where it is not known.
    better : 1 where more of it is better for the machine, -1 where less is, 0 where neither can be said.
    """

    run: str
    machine: str
    quantity: str
    unit: str
    value: float
    u: float
    better: int = 0


@dataclass(frozen=True)
class Straggler:
    """A run that lies apart from its fellows: Grubbs' statistic and the chance of one so far out if all were alike."""

    run: str
    statistic: float
    p: float
    word: str


@dataclass(frozen=True)
class RepeatGroup:
    """Runs made alike.

    Attributes
    ----------
    readings : the runs' readings.
    mean, s : their mean and standard deviation; s is NaN for a single run.
    half_95 : half width of the mean's 95 % interval (Student's t); NaN for a single run.
    u_within : root mean square of the runs' own uncertainties; NaN where one is not known.
    s_between, s_between_low, s_between_high : scatter of the runs beyond their own uncertainties, with its 95 %
        interval.
    p_alike : chance of so much scatter if the runs' own uncertainties were all there is; NaN where they are not known.
    stragglers : runs that lie apart.
    """

    readings: tuple[Reading, ...]
    mean: float
    s: float
    half_95: float
    u_within: float
    s_between: float
    s_between_low: float
    s_between_high: float
    p_alike: float
    stragglers: tuple[Straggler, ...]


@dataclass(frozen=True)
class Change:
    """What lies between two groups, second less first.

    ``low`` and ``high`` bound the 95 % interval (Welch); ``chance_more`` is the chance that the quantity truly rose.
    """

    difference: float
    low: float
    high: float
    t: float
    degrees: float
    p: float
    chance_more: float


@dataclass(frozen=True)
class Repeats:
    """One quantity over all runs.

    Attributes
    ----------
    machine, quantity, unit, better : as in `Reading`.
    groups : one, or two: before and after a change.
    s_r, s_r_low, s_r_high, degrees : repeatability standard deviation (ISO 5725-2), pooled over the groups, with its
        95 % interval; NaN where no group has two runs.
    change : None for one group, or where a group has a single run.
    seen : the smallest true change that as many runs as the smaller group has, before and after, show in 4 cases of 5.
    runs_to_see : runs before and after that would show a change of a tenth of the mean; 0 where more than 100.
    """

    machine: str
    quantity: str
    unit: str
    better: int
    groups: tuple[RepeatGroup, ...]
    s_r: float
    s_r_low: float
    s_r_high: float
    degrees: int
    change: Change | None
    seen: float
    runs_to_see: int
