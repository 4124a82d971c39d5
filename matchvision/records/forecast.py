"""The predicted run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from matchvision.arrays import FloatArray

#: What can limit a machine's pull at an instant.
LIMITS: Final = ("grip", "torque", "held", "off")


@dataclass(frozen=True, eq=False)
class ForecastMachine:
    """One machine's predicted motion, (k,) arrays on the forecast's own time grid, NaN where not predicted.

    Same meanings and signs as `MachineMotion`; ``slip_speed_m_s`` = wheel surface − ground speed.
    ``first_slip_s`` is NaN where no slip (30 mm/s for 0.15 s) is predicted. ``limits`` holds by word of `LIMITS` the
    share of samples in which it limits the pull; empty where a table stands in for the machine's numbers.
    ``first_slip_95_s`` holds 95 % of those samples' first slips, which often lie far to one side.
    """

    machine: str
    x_m: FloatArray
    y_m: FloatArray
    heading_deg: FloatArray
    speed_m_s: FloatArray
    slip_speed_m_s: FloatArray
    traction_N: FloatArray
    u_x_m: FloatArray
    u_y_m: FloatArray
    u_heading_deg: FloatArray
    u_speed_m_s: FloatArray
    u_slip_speed_m_s: FloatArray
    u_traction_N: FloatArray
    first_slip_s: float
    u_first_slip_s: float
    slip_chance: float
    limits: Mapping[str, FloatArray] = field(default_factory=dict)
    first_slip_95_s: tuple[float, float] = (float("nan"), float("nan"))


@dataclass(frozen=True, eq=False)
class ForecastRun:
    """The predicted run on match time ``t_s`` (k,), medians with standard uncertainties from the stated ones.

    Attributes
    ----------
    tension_N : rope tension; u_tension_N its uncertainty.
    on_plus_x_m : rope on the +x side.
    winner : name of the likelier one, or "" for a load run.
    win_chance : by machine, empty for a load run; what is missing to 1 is the chance that nobody wins by the rules.
    margin_m, u_margin_m : the winner's rope beyond the share to win at the end; NaN for a load run.
    samples, seed : size and seed of the Monte Carlo behind the uncertainties.
    left_out : sentences about what could not be predicted and what would give it.
    assumed : sentences about what no sheet states.
    """

    t_s: FloatArray
    machines: Mapping[str, ForecastMachine]
    tension_N: FloatArray
    u_tension_N: FloatArray
    on_plus_x_m: FloatArray
    u_on_plus_x_m: FloatArray
    winner: str
    win_chance: Mapping[str, float]
    margin_m: float
    u_margin_m: float
    samples: int
    seed: int
    left_out: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
