"""The rubric by which an instructor marks forecasts: weights and tolerances."""

from typing import Annotated, Final, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Points = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Ratio = Annotated[float, Field(gt=0, allow_inf_nan=False)]

#: What is marked, in order, with what it means.
PARTS: Final = {
    "win_chance": "the stated chance to win",
    "peak_pull": "the stated peak pull",
    "accuracy": "how near the computed forecast came",
    "honesty": "whether the stated uncertainties are honest",
    "verdict": "whether the right winner was named",
    "cause": "whether the failure that came was named beforehand",
}


class RubricModel(BaseModel):
    """Common manners: frozen, and nothing unknown in it."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Weights(RubricModel):
    """``[weights]``: how many points each part is worth; 0 leaves it out."""

    win_chance: Points = 20.0
    peak_pull: Points = 20.0
    accuracy: Points = 25.0
    honesty: Points = 20.0
    verdict: Points = 5.0
    cause: Points = 10.0


class Tolerance(RubricModel):
    """Which error, as a share of the quantity's size, still earns full points, and from which one it earns none.

    Between them points fall along a straight line.
    """

    full_ratio: Ratio = 0.1
    none_ratio: Ratio = 0.5

    @model_validator(mode="after")
    def _fall(self) -> Self:
        if self.none_ratio <= self.full_ratio:
            msg = "none_ratio has to be above full_ratio: points fall from the one error to the other"
            raise ValueError(msg)
        return self


class Tolerances(RubricModel):
    """``[tolerance.peak_pull]`` and ``[tolerance.accuracy]``."""

    peak_pull: Tolerance = Tolerance()
    accuracy: Tolerance = Tolerance()


class Honesty(RubricModel):
    """``[honesty]``: uncertainties that are this factor too small or too large earn no points for honesty."""

    none_factor: Annotated[float, Field(gt=1, allow_inf_nan=False)] = 4.0


class Rubric(RubricModel):
    """A whole rubric; what is left out keeps its default."""

    weights: Weights = Weights()
    tolerance: Tolerances = Tolerances()
    honesty: Honesty = Honesty()

    @model_validator(mode="after")
    def _anything(self) -> Self:
        if not any(getattr(self.weights, part) > 0 for part in PARTS):
            msg = "all weights are 0: nothing would be marked"
            raise ValueError(msg)
        return self
