"""The match as it is known after the run: the model that fits best, and others that fit about as well."""

import math
from dataclasses import dataclass

from matchvision.mechanics.machine import MatchModel


@dataclass(frozen=True, eq=False)
class FittedMatch:
    """A match model fitted to a measured run.

    Attributes
    ----------
    best : at the most probable numbers.
    samples : drawn from what the fit leaves open, each as good a guess as the other.
    without_cause : as ``samples``, but for the one change that explained the run; empty where it needed none.
    cause, machine : that change and the machine that it concerns, as in the table of causes.
    residual_ratio : what the fit leaves of each measured quantity's size (rms).
    """

    best: MatchModel
    samples: tuple[MatchModel, ...]
    without_cause: tuple[MatchModel, ...]
    cause: str
    machine: str
    residual_ratio: float

    def home_side(self, k: int) -> int:
        """Sign of the way along x that machine number ``k`` drives."""
        return 1 if math.cos(self.best.starts[k].heading_rad) > 0 else -1
