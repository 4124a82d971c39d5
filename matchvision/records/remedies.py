"""What would have won: what a change of the losing machine would have brought."""

from dataclasses import dataclass


@dataclass(frozen=True)
class LeverPoint:
    """One setting of one lever of the losing machine, all else as fitted to the run.

    Attributes
    ----------
    lever : "gear", "weight", "grip", "arm" or "start".
    setting : a ratio to what it was, or for "weight" metres towards the front, for "start" seconds sooner.
    value, unit : the same as it would be built: gear ratio, grip, metres to the front, seconds.
    pull_N, u_pull_N : greatest steady pull that the machine could then hold.
    limit : what limits that pull: "motor", "grip" or "weight".
    speed_m_s, u_speed_m_s : mean speed towards home over the run.
    win_chance : chance that it would have won.
    """

    lever: str
    setting: float
    value: float
    unit: str
    pull_N: float
    u_pull_N: float
    limit: str
    speed_m_s: float
    u_speed_m_s: float
    win_chance: float


@dataclass(frozen=True)
class Remedy:
    """The smallest change of one lever that would have turned the verdict, or that none in its range would have.

    Attributes
    ----------
    lever : as in `LeverPoint`, or "mend": without the failure that explained the run.
    setting : the change; NaN where none was found.
    size : the change as a share of what is there, by which changes are ranked.
    win_chance, low_chance, high_chance : chance to win with it, and its 95 % interval from the number of samples.
    statement : a sentence for people.
    """

    lever: str
    setting: float
    size: float
    win_chance: float
    low_chance: float
    high_chance: float
    statement: str


@dataclass(frozen=True)
class Remedies:
    """What would have won, for the machine that has lost.

    Attributes
    ----------
    machine : which lost.
    limits : share of the contest in which each thing limited its pull: "motor", "grip", "weight", "rope", "held" or
        "off".
    points : pull, speed and chance against each lever.
    remedies : by lever, the smallest change first; those that do not help last.
    sentence : the answer in a sentence.
    caveats : what it rests on.
    samples : matches drawn for a chance.
    """

    machine: str
    limits: tuple[tuple[str, float], ...]
    points: tuple[LeverPoint, ...]
    remedies: tuple[Remedy, ...]
    sentence: str
    caveats: tuple[str, ...]
    samples: int
