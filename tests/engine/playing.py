"""Plays a scene in the physics engine and gives the course in filming's own terms.

MuJoCo (E. Todorov, T. Erez, Y. Tassa, IROS 2012): rigid bodies in space, soft contact with elliptic friction cones.
What is the same as in filming: motor line, throttle, the rope as a damped one-sided spring in series with a link.
"""

import math
from dataclasses import dataclass, field

import mujoco  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt

from matchvision.filming.course import Course, MachineCourse, loose_rope
from matchvision.filming.scene import Scene
from tests.engine.arms import Arm
from tests.engine.building import CORNERS, GRAVITY_M_S2, corner_places, scene_xml, slope_at
from tests.engine.extras import Extras, Points
from tests.engine.hanging import Hung
from tests.engine.truth import BODY_FIELDS, SIDE_FIELDS, MachineTruth, SideTruth

FloatArray = npt.NDArray[np.float64]

ROW_S = 0.001
SETTLE_S = 0.2
HOLD_NM = 5.0  # of each wheel: more than any grip
GRIP_EVERY_S = 0.002
SLIDES_M_S = (0.005, 0.015)


@dataclass(frozen=True, eq=False)
class EngineRun:
    """What happened: ``course`` for filming, the rest is what filming has no room for, all on ``course.clip_s``.

    ``walls``: by owner, (k, 2) place of a loose wall. ``touching``: by two names, a wall's being its owner's and
    ``_wall``, (k,) whether the two bodies touch; pairs that never do are left out.
    """

    course: Course
    machines: dict[str, MachineTruth]
    walls: dict[str, FloatArray] = field(default_factory=dict)
    touching: dict[tuple[str, str], npt.NDArray[np.bool_]] = field(default_factory=dict)


def over_time(points: Points, otherwise: float, t_s: FloatArray) -> FloatArray:
    """Values at match times; ``otherwise`` where no points are given."""
    if not points:
        return np.full(len(t_s), otherwise)
    times, values = np.array(points).T
    return np.asarray(np.interp(t_s, times, values), dtype=np.float64)


class _Side:
    """Drive of one side over time, before the motor's own line: full torque [N m] a wheel and share."""

    def __init__(self, scene: Scene, name: str, side: int, extras: Extras, t_s: FloatArray) -> None:
        drive = scene.machine[name].drive
        assert drive is not None
        points = extras.side_share[name][side] if name in extras.side_share else drive.throttle
        after_s = t_s - drive.start_delay_s
        share = np.where(after_s < 0, 0.0, over_time(points, 0.0, after_s))
        end_s = scene.clock.duration_s
        last = float(over_time(points, 0.0, np.array([end_s - drive.start_delay_s]))[0])
        self.share = np.where(t_s > end_s, last * np.clip(1 - (t_s - end_s) / 0.25, 0, 1), share)
        wheel_Nm = drive.motors * drive.stall_torque_Nm * drive.gear_ratio * drive.drive_efficiency / 4
        self.stall = np.full(len(t_s), wheel_Nm)
        loss = extras.side_loss.get(name)
        if loss is not None and ("left", "right")[side] == loss.side:
            self.stall[t_s >= loss.at_s] *= loss.left
        elif loss is None and drive.loss_s is not None:
            # A scene's one-sided loss turns the machine: to the left where the left side is the lost one.
            turns = drive.loss_turn_deg_per_m
            lost = not turns or (turns > 0) == (side == 0)
            left = drive.loss_ratio if not turns else max(0.0, 2 * drive.loss_ratio - 1)
            self.stall[t_s >= drive.loss_s] *= left if lost else 1.0


class _Played:
    """One machine's handles in the engine and its rows."""

    def __init__(self, model: "mujoco.MjModel", scene: Scene, name: str, extras: Extras, t_s: FloatArray) -> None:
        machine = scene.machine[name]
        self.machine, self.name, self.scene = machine, name, scene
        self.body = model.body(name).id
        self.joint = model.body(name).dofadr[0]
        self.angle = model.body(name).jntadr[0]
        self.geoms = np.array([model.geom(f"{name}_{c}").id for c, _, _ in CORNERS])
        self.corner_of = {int(g): k for k, g in enumerate(self.geoms)}
        self.offsets = np.array([place[1:] for place in corner_places(machine)])
        self.factor = over_time(extras.grip_factor.get(name, ()), 1.0, t_s)
        self.press = over_time(extras.press_N.get(name, ()), 0.0, t_s)
        self.brake = over_time(extras.brake_Nm.get(name, ()), 0.0, t_s)
        if extras.held:
            self.brake[t_s < 0] = HOLD_NM
        self.sliding = extras.sliding_ratio.get(name, 1.0)
        self.grip = np.full(4, machine.grip_ratio)
        self.force = np.zeros((4, 3))
        self.rows: list[list[float]] = []
        self.radius = 0.0
        if machine.drive is not None:
            self.radius = machine.drive.wheel_radius_m
            self.dofs = np.array([model.joint(f"{name}_{c}").dofadr[0] for c, _, _ in CORNERS])
            self.turned = np.array([model.joint(f"{name}_{c}").qposadr[0] for c, _, _ in CORNERS])
            self.motors = np.array([model.actuator(f"{name}_{c}").id for c, _, _ in CORNERS])
            self.sides = [_Side(scene, name, side, extras, t_s) for side in (0, 1)]
            self.no_load = machine.drive.no_load_rev_min * 2 * math.pi / 60 / machine.drive.gear_ratio
            self.friction = machine.drive.drive_friction_Nm / 4
            self.voltage = machine.drive.throttle_acts_on == "voltage"

    def drive(self, model: "mujoco.MjModel", data: "mujoco.MjData", k: int) -> None:
        """Torque of each wheel by its side's motor line."""
        if self.machine.drive is None:
            return
        for corner in range(4):
            side = self.sides[corner % 2]
            share, rate = float(side.share[k]), float(data.qvel[self.dofs[corner]]) / self.no_load
            torque = side.stall[k] * (share - rate if self.voltage else share * (1 - rate))
            data.ctrl[self.motors[corner]] = torque
        model.dof_frictionloss[self.dofs] = self.friction + self.brake[k]

    def stand(self, model: "mujoco.MjModel", data: "mujoco.MjData", k: int, t_s: float, extras: Extras) -> None:
        """Grip under each wheel or foot by its place, the time and whether it slides."""
        turn = data.xmat[self.body].reshape(3, 3)
        origin = data.xpos[self.body]
        places = origin[:2] + self.offsets @ turn[:2, :2].T
        for corner, (x, y) in enumerate(places.tolist()):
            grip = self.machine.grip_ratio
            for patch in self.scene.table.patch:
                if patch.from_m <= x <= patch.to_m:
                    grip = patch.grip_ratio
            for g in extras.ground:
                if g.from_x_m <= x <= g.to_x_m and g.from_y_m <= y <= g.to_y_m and g.from_s <= t_s < g.until_s:
                    grip = g.grip_ratio
            self.grip[corner] = grip
        self.grip *= self.factor[k]
        if self.sliding != 1.0:
            slow, fast = SLIDES_M_S
            part = np.clip((self.slides(data, turn) - slow) / (fast - slow), 0, 1)
            self.grip *= 1 - part * (1 - self.sliding)
        model.geom_friction[self.geoms, 0] = np.maximum(self.grip, 1e-5)
        data.xfrc_applied[self.body, :3] = -self.press[k] * turn[:, 2]

    def push(self, data: "mujoco.MjData", speed_m_s: float) -> None:
        """Let go with a speed, wheels rolling."""
        data.qvel[self.joint : self.joint + 3] = speed_m_s * data.xmat[self.body].reshape(3, 3)[:, 0]
        if self.machine.drive is not None:
            data.qvel[self.dofs] = speed_m_s / self.radius

    def slides(self, data: "mujoco.MjData", turn: FloatArray) -> FloatArray:
        """Speed of each wheel's or foot's lowest point over the table, in its plane, (4,)."""
        local = data.qvel[self.joint : self.joint + 3] @ turn
        spin = data.qvel[self.joint + 5]
        ahead, across = local[0] - spin * self.offsets[:, 1], local[1] + spin * self.offsets[:, 0]
        if self.machine.drive is not None:
            ahead = ahead - self.radius * data.qvel[self.dofs]
        return np.asarray(np.hypot(ahead, across))

    def keep_state(self, data: "mujoco.MjData", k: int) -> None:
        """The row's first part, before the step's forces are known."""
        turn = data.xmat[self.body].reshape(3, 3)
        ahead = turn[:, 0]
        x, y, z = data.xpos[self.body].tolist()
        under = slope_at(self.scene.table, x)[1]
        # Filming's pose has no roll: pitch goes into the tilt of the plane, unless the machine stands across it.
        across = abs(ahead[0]) < 0.2
        tilt = under if across else math.atan(ahead[2] / ahead[0])
        heading = math.atan2(ahead[1], math.copysign(math.hypot(ahead[0], ahead[2]), ahead[0]))
        velocity = data.qvel[self.joint : self.joint + 6]
        speed, spin = float(velocity[:3] @ ahead), float(velocity[5])
        rates, angles, share = np.full(4, np.nan), np.full(4, np.nan), 0.0
        if self.machine.drive is not None:
            rates, angles = data.qvel[self.dofs].copy(), data.qpos[self.turned].copy()
            share = sum(float(side.share[k]) for side in self.sides) / 2
        slips = self.radius * rates - (speed - spin * self.offsets[:, 1])
        normal = np.array([-math.sin(under), 0.0, math.cos(under)])
        pitch, roll = math.asin(float(ahead @ normal)), math.asin(float(turn[:, 1] @ normal))
        self.row = [x, y, z, heading, tilt, math.tan(under), speed, share, *velocity[:2], spin, pitch, roll]
        self.wheels = np.stack([rates, angles, slips])

    def finish_row(self, data: "mujoco.MjData") -> None:
        """The row's second part: what each side's wheels do and carry."""
        turn = data.xmat[self.body].reshape(3, 3)
        up = turn[:, 2]
        forward, left = self.force @ turn[:, 0], self.force @ turn[:, 1]
        load = self.force @ up
        for side in (0, 1):
            both = [side, side + 2]
            self.row += [*self.wheels[:, both].mean(axis=1), forward[both].sum(), left[both].sum()]
            self.row += [load[both].sum(), load[side], self.grip[both].mean()]
        self.rows.append([float(value) for value in self.row])

    def courses(self) -> tuple[MachineCourse, MachineTruth]:
        """Everything kept, in filming's terms and beyond them."""
        rows = np.array(self.rows)
        x, y, z, heading, tilt, climb, speed, share = rows[:, :8].T
        body = dict(zip(BODY_FIELDS, rows[:, 8:13].T, strict=True))
        left, right = (
            SideTruth(**dict(zip(SIDE_FIELDS, rows[:, 13 + 8 * side : 21 + 8 * side].T, strict=True)))
            for side in (0, 1)
        )
        heading = np.unwrap(heading)
        home = math.pi if self.machine.home == "-x" else 0.0
        heading += 2 * math.pi * round((home - heading[0]) / (2 * math.pi))
        marked, other = left, right
        if self.machine.wheel and self.machine.wheel[0].face_m[1] < 0:
            marked, other = right, left
        lead = other.angle_rad - marked.angle_rad
        course = MachineCourse(
            x, y, z, heading, tilt, climb, speed, np.nan_to_num(marked.rate_rad_s),
            np.nan_to_num(marked.angle_rad), left.traction_N + right.traction_N, left.load_N + right.load_N, share,
            (left.grip_ratio + right.grip_ratio) / 2, np.nan_to_num(lead),
        )  # fmt: skip
        return course, MachineTruth(**body, left=left, right=right)


class _Cord:
    """The rope's pull from its length: a damped one-sided spring, with a link in series where there is one."""

    def __init__(self, scene: Scene, step_s: float) -> None:
        self.rope, self.step_s, self.cord_m = scene.rope, step_s, 0.0

    def pull(self, length_m: float, rate_m_s: float) -> float:
        """Of a rope that is so long, what is wound in added, and grows so fast."""
        rope, link = self.rope, self.rope.link
        stretch = length_m - rope.length_m
        if stretch <= 0:
            self.cord_m = 0.0
            return 0.0
        if link is None:
            return max(0.0, rope.stiffness_N_per_m * stretch + rope.damping_N_s_per_m * rate_m_s)
        # c dx/dt + k_cord x = k_link (stretch - x), one implicit step of the cord's stretch x.
        per_s = self.step_s / max(rope.damping_N_s_per_m, 1e-9)
        both = link.stiffness_N_per_m + rope.stiffness_N_per_m
        self.cord_m = (self.cord_m + per_s * link.stiffness_N_per_m * stretch) / (1 + per_s * both)
        self.cord_m = min(self.cord_m, stretch)
        return link.stiffness_N_per_m * (stretch - self.cord_m)


def play_in_engine(scene: Scene, extras: Extras | None = None) -> EngineRun:
    """Let the engine play a scene, from 0.2 s before the first picture (to settle) to 0.1 s after the last.

    Wander of the scene's headings has no meaning here and is left out; a machine's heading is what its wheels make it.
    """
    extras = extras or Extras()
    step_s = extras.contact.step_s
    model = mujoco.MjModel.from_xml_string(scene_xml(scene, extras))
    data = mujoco.MjData(model)
    first_s = scene.clock.from_s
    settle = round(SETTLE_S / step_s)
    count = settle + math.ceil((scene.last_s - first_s + 0.1) / step_s) + 1
    every, look_every = round(ROW_S / step_s), max(1, round(GRIP_EVERY_S / step_s))
    clip_s = first_s + (np.arange(count, dtype=np.float64) - settle) * step_s
    t_s = clip_s - scene.clock.start_s
    tilt_rad = np.deg2rad(over_time(extras.tilt_deg, 0.0, t_s))
    standing = [name for name, machine in scene.machine.items() if not machine.hangs]
    played = {name: _Played(model, scene, name, extras, t_s) for name in standing}
    hung = {name: Hung(model, scene, name) for name in scene.machine if name not in played}
    for weight in hung.values():
        weight.hang(model, data, scene)
    owner = {int(g): p for p in played.values() for g in p.geoms}
    cord = _Cord(scene, step_s)
    arms = [Arm(model, name, reach, t_s) for name, reach in extras.reach.items()]
    wound_m = np.zeros(count) + sum(over_time(points, 0.0, t_s) for points in extras.winding.values())
    winding_m_s = np.gradient(wound_m, step_s)
    pull_at, rope_at = (model.actuator("pull").id, model.tendon("rope").id) if scene.roped else (0, 0)
    release_s = math.inf if scene.release_s is None else scene.release_s
    hitches = [model.site(f"{end}_hitch").id for end in scene.rope.ends] if scene.roped else []
    kept: list[list[float]] = []
    loose = {wall.owner: model.body(f"{wall.owner}_wall").id for wall in scene.wall if wall.owner in extras.loose}
    pushed: dict[str, list[list[float]]] = {whose: [] for whose in loose}
    boxes = {
        model.geom(g).id: model.geom(g).name.removesuffix("_box")
        for g in range(model.ngeom)
        if model.geom(g).name.endswith(("_box", "_wall"))
    }
    met: list[set[tuple[str, str]]] = []
    force = np.zeros(6)
    for k in range(count):
        model.opt.gravity[0] = -GRAVITY_M_S2 * math.sin(tilt_rad[k])
        model.opt.gravity[2] = -GRAVITY_M_S2 * math.cos(tilt_rad[k])
        if k and t_s[k - 1] < 0 <= t_s[k]:
            for name, speed_m_s in extras.push_m_s.items():
                played[name].push(data, speed_m_s)
        mujoco.mj_step1(model, data)
        length = tension = 0.0
        if scene.roped:
            length = float(data.ten_length[rope_at])
            tension = cord.pull(length + wound_m[k], float(data.ten_velocity[rope_at]) + winding_m_s[k])
            if not extras.rope or clip_s[k] >= release_s:
                tension = 0.0
            data.ctrl[pull_at] = -tension
        for arm in arms:
            arm.move(data, k)
        for weight in hung.values():
            weight.lose(data, tension, extras.rope_loss_ratio)
        row = k >= settle and (k - settle) % every == 0
        for p in played.values():
            p.drive(model, data, k)
            if k % look_every == 0:
                p.stand(model, data, k, float(t_s[k]), extras)
            if row:
                p.keep_state(data, k)
        hitched = data.site_xpos[hitches].ravel().tolist() if row else []
        mujoco.mj_step2(model, data)
        if not row:
            continue
        _read_contacts(model, data, owner, played, force)
        met.append(_meetings(data, boxes))
        for whose, body in loose.items():
            pushed[whose].append(data.xpos[body][:2].tolist())
        for p in played.values():
            p.finish_row(data)
        for weight in hung.values():
            weight.keep(data)
        kept.append([clip_s[k], tension, length, *hitched])
    columns = np.array(kept)
    link = scene.rope.link
    tension_N = columns[:, 1]
    link_m = np.full(len(columns), np.nan) if link is None else link.rest_m + tension_N / link.stiffness_N_per_m
    both = {name: p.courses() for name, p in played.items()} | {name: w.courses() for name, w in hung.items()}
    places = np.moveaxis(columns[:, 3:].reshape(len(columns), -1, 3), 1, 0)
    course = Course(
        columns[:, 0], {name: pair[0] for name, pair in both.items()}, tension_N, columns[:, 2], link_m,
        loose_rope(scene, columns[:, 0], places), {whose: np.array(at)[:, 0] for whose, at in pushed.items()},
    )  # fmt: skip
    return EngineRun(
        course,
        {name: pair[1] for name, pair in both.items()},
        {whose: np.array(at) for whose, at in pushed.items()},
        {pair: np.array([pair in one for one in met]) for pair in sorted(set().union(*met))},
    )


def _meetings(data: "mujoco.MjData", boxes: dict[int, str]) -> set[tuple[str, str]]:
    """Bodies and walls that touch each other now."""
    found = set()
    for i in range(data.ncon):
        one, two = (boxes.get(int(g)) for g in data.contact[i].geom)
        if one is not None and two is not None:
            found.add((min(one, two), max(one, two)))
    return found


def _read_contacts(
    model: "mujoco.MjModel", data: "mujoco.MjData", owner: dict[int, _Played], played: dict[str, _Played],
    force: FloatArray,
) -> None:  # fmt: skip
    """Force of the ground on every wheel and foot, in the table frame."""
    for p in played.values():
        p.force[:] = 0.0
    for i in range(data.ncon):
        contact = data.contact[i]
        one, two = (int(g) for g in contact.geom)
        mujoco.mj_contactForce(model, data, i, force)
        world = contact.frame.reshape(3, 3).T @ force[:3]
        for geom, sign in ((one, -1.0), (two, 1.0)):
            if geom in owner:
                owner[geom].force[owner[geom].corner_of[geom]] += sign * world
