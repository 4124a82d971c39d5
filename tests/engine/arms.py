"""An arm on a machine and a winch, in the engine: a body that slides on its machine, rope that grows shorter."""

from dataclasses import dataclass
from typing import Final

import mujoco  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt

from matchvision.filming.scene import Machine

FloatArray = npt.NDArray[np.float64]

#: What drives an arm along its course: a spring and its damper, which follow it to 0.1 mm under 20 N.
SPRING_N_PER_M, DAMPER_N_S_PER_M = 2e5, 5e2
ARM_INERTIA_KG_M2: Final = 1e-5


@dataclass(frozen=True)
class Reach:
    """An arm that goes out along its machine and stops: gathers speed, goes steadily and stops, a third of it each.

    The rope's hitch rides on it. Drawn in, its mass lies at the machine's centre of mass.
    """

    stroke_m: float
    mass_kg: float
    lasts_s: float
    from_s: float
    forwards: bool = True


def arm_xml(name: str, machine: Machine, middle: tuple[float, float, float], reach: Reach) -> str:
    """The arm's body with the hitch on it, inside its machine's."""
    way = 1 if reach.forwards else -1
    place, hitch = " ".join(map(str, middle)), [h - m for h, m in zip(machine.hitch_m, middle, strict=True)]
    return f"""<body name="{name}_arm" pos="{place}"><joint name="{name}_arm" type="slide" axis="{way} 0 0"/>
      <inertial pos="0 0 0" mass="{reach.mass_kg}" diaginertia="{" ".join([str(ARM_INERTIA_KG_M2)] * 3)}"/>
      <site name="{name}_hitch" pos="{" ".join(map(str, hitch))}"/></body>"""


def arm_motor_xml(name: str) -> str:
    """What moves the arm."""
    return f'<position name="{name}_arm" joint="{name}_arm" kp="{SPRING_N_PER_M}" kv="{DAMPER_N_S_PER_M}"/>'


class Arm:
    """One arm's handle in the engine and its course over time."""

    def __init__(self, model: "mujoco.MjModel", name: str, reach: Reach, t_s: FloatArray) -> None:
        self.motor = model.actuator(f"{name}_arm").id
        third = reach.lasts_s / 3
        speed = np.interp(t_s - reach.from_s, [0.0, third, 2 * third, reach.lasts_s], [0.0, 1.0, 1.0, 0.0])
        speed *= 1.5 * reach.stroke_m / reach.lasts_s
        out = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(t_s))])
        # The damper works against all speed, also against the wanted one.
        self.wanted_m = out + DAMPER_N_S_PER_M / SPRING_N_PER_M * speed

    def move(self, data: "mujoco.MjData", k: int) -> None:
        """Ask for where it ought to be."""
        data.ctrl[self.motor] = self.wanted_m[k]
