"""A weight that hangs from the rope beyond its pulley, in the engine."""

import math

import mujoco  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt

from matchvision.filming.course import MachineCourse
from matchvision.filming.scene import Scene
from tests.engine.building import GRAVITY_M_S2
from tests.engine.truth import BODY_FIELDS, SIDE_FIELDS, MachineTruth, SideTruth

FloatArray = npt.NDArray[np.float64]


class Hung:
    """The weight's handles in the engine and its rows; it goes up and down only."""

    geoms: tuple[int, ...] = ()

    def __init__(self, model: "mujoco.MjModel", scene: Scene, name: str) -> None:
        self.machine = scene.machine[name]
        self.body = model.body(name).id
        self.height = model.jnt_qposadr[model.body(name).jntadr[0]]
        self.dof = model.body(name).dofadr[0]
        self.rows: list[list[float]] = []

    def hang(self, model: "mujoco.MjModel", data: "mujoco.MjData", scene: Scene) -> None:
        """Let it down until the rope carries it."""
        mujoco.mj_forward(model, data)
        rope = scene.rope
        per_N = 1 / rope.stiffness_N_per_m + (0.0 if rope.link is None else 1 / rope.link.stiffness_N_per_m)
        length_m = rope.length_m + self.machine.mass_kg * GRAVITY_M_S2 * per_N
        pulley_z = 0.0 if rope.pulley_m is None else rope.pulley_m[1]
        data.qpos[self.height] = pulley_z
        for _ in range(5):
            mujoco.mj_forward(model, data)
            data.qpos[self.height] -= length_m - float(data.ten_length[model.tendon("rope").id])

    def lose(self, data: "mujoco.MjData", tension_N: float, loss_ratio: float) -> None:
        """What the pulley's friction keeps from it, against the way it goes."""
        way = math.tanh(float(data.qvel[self.dof]) / 0.001)
        data.xfrc_applied[self.body, 2] = -(tension_N - tension_N / (1 + loss_ratio * way))

    def keep(self, data: "mujoco.MjData") -> None:
        """One row."""
        x, y, z = data.xpos[self.body].tolist()
        self.rows.append([x, y, z, float(data.qvel[self.dof])])

    def courses(self) -> tuple[MachineCourse, MachineTruth]:
        """Its way in filming's terms: speed is that downwards, which draws the rope to its home."""
        x, y, z, up = np.array(self.rows).T
        none, unknown = np.zeros_like(x), np.full_like(x, np.nan)
        heading = none if self.machine.home == "+x" else none + math.pi
        side = SideTruth(**dict.fromkeys(SIDE_FIELDS, unknown))
        course = MachineCourse(x, y, z, heading, none, none, -up, none, none, none, none, none, none, none)
        return course, MachineTruth(**dict.fromkeys(BODY_FIELDS, none), left=side, right=side)
