"""What the engine can do that a scene sheet has no word for; times count from the start signal."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Final, Literal

from tests.engine.arms import Reach

Points = tuple[tuple[float, float], ...]
"""Values over match time [s], joined by straight lines; the first and last go on for ever."""


@dataclass(frozen=True)
class Ground:
    """A part of the table that grips differently from a moment on; the last one that covers a wheel or foot counts."""

    grip_ratio: float
    from_x_m: float = -inf
    to_x_m: float = inf
    from_y_m: float = -inf
    to_y_m: float = inf
    from_s: float = -inf
    until_s: float = inf


@dataclass(frozen=True)
class SideLoss:
    """One side's drive falls to ``left`` of itself at a moment."""

    side: Literal["left", "right"]
    at_s: float
    left: float = 0.0


@dataclass(frozen=True)
class Contact:
    """How the engine solves contact, in its own names.

    The default lets a wheel sink in by 0.2 mm with an impedance that grows with it: then sliding wheels carry their
    load steadily. With a hard impedance (0.95, 0.99) they hop, which takes 2 to 3 % off a sliding machine's friction.
    Over a match of 5 s softer and stiffer settings (those of the test) move tension by 0.05 % of its peak (rms), places
    by 0.2 mm, heading by 0.01 degrees and the onset of slip by 1 ms; half the step, by 0.01 %, 0.01 mm and nothing.

    ``tyre_N_per_m`` (0: rigid) and ``tyre_N_s_per_m``: spring and damper on which each wheel moves up and down under
    its machine, as a tyre gives way. On rigid wheels the contact's own law shares the load across the diagonal.
    """

    solref_s: float = 0.015
    damping_ratio: float = 1.0
    solimp: tuple[float, float, float] = (0.1, 0.95, 0.0004)
    impratio: float = 50.0
    step_s: float = 0.0005
    tyre_N_per_m: float = 0.0
    tyre_N_s_per_m: float = 0.0


@dataclass(frozen=True)
class Loose:
    """A wall that stands on its own friction instead of being fixed: mass and grip on the table."""

    mass_kg: float
    grip_ratio: float


NO_POINTS: Final[Mapping[str, Points]] = {}


@dataclass(frozen=True)
class Extras:
    """Beyond the scene; every mapping goes by the machine's name and may leave machines out.

    - ``side_share``: left and right throttle, instead of the scene's.
    - ``side_loss``: a side's drive falls off.
    - ``ground``: grip by place and time, over the scene's patches.
    - ``grip_factor``: over time, times the grip of whatever the machine stands on (a tread that cuts through).
    - ``sliding_ratio``: grip while sliding (above 15 mm/s) over grip at rest.
    - ``rolling_resistance``: force over load.
    - ``brake_Nm``: extra friction of each wheel over time.
    - ``press_N``: a force over time that presses the machine to the table (a suction anchor, leaking down).
    - ``tilt_deg``: the whole table tilted as one board over time, the +x end high where positive.
    - ``rope``: False leaves the rope without pull.
    - ``push_m_s``: speed along its heading with which a machine is let go at the start.
    - ``rope_loss_ratio``: share of the pull that a pulley's friction takes.
    - ``solid``: machines are boxes as large as the scene says, and its walls stand in their way; without it they pass
      through each other.
    - ``loose``: by the owner's name, walls that give way when pushed.
    - ``reach``: an arm that goes out with the hitch on it.
    - ``winding``: rope [m] that a winch has wound in over time.
    - ``held``: wheels are held until the start, so that machines stand on a slope.
    """

    side_share: Mapping[str, tuple[Points, Points]] = field(default_factory=dict)
    side_loss: Mapping[str, SideLoss] = field(default_factory=dict)
    ground: tuple[Ground, ...] = ()
    grip_factor: Mapping[str, Points] = field(default_factory=dict)
    sliding_ratio: Mapping[str, float] = field(default_factory=dict)
    rolling_resistance: Mapping[str, float] = field(default_factory=dict)
    brake_Nm: Mapping[str, Points] = field(default_factory=dict)
    press_N: Mapping[str, Points] = field(default_factory=dict)
    tilt_deg: Points = ()
    push_m_s: Mapping[str, float] = field(default_factory=dict)
    rope_loss_ratio: float = 0.0
    rope: bool = True
    solid: bool = False
    loose: Mapping[str, Loose] = field(default_factory=dict)
    reach: Mapping[str, Reach] = field(default_factory=dict)
    winding: Mapping[str, Points] = field(default_factory=dict)
    held: bool = True
    contact: Contact = Contact()
