"""The predicted match against a physics engine that shares nothing with it.

Source: MuJoCo (E. Todorov, T. Erez, Y. Tassa, "MuJoCo: A physics engine for model-based control", IROS 2012), package
``mujoco``: rigid bodies in space, soft contact with elliptic friction cones, a tendon as one-sided spring. Ours is
planar, with loads from balance and a smooth friction law. What is the same is only what a team would state: masses,
sizes, motor line, throttle, coefficient of friction, rope stiffness. No values are printed; both are computed here.
Checks: tension over time, onset of slip, places, heading, load on the wheels.
Tolerances: tension 4 % of its peak (rms), onset of slip 60 ms, places 3 % of the travel, heading 35 % of the turning:
the engine's sliding wheels chatter (rate of a side's wheels by 50 mm/s, friction by 1 %), ours slide smoothly; with the
engine's contact made softer or stiffer its own results move by 2 % in tension, 5 % in place and 40 ms in onset.
"""

from dataclasses import dataclass
from typing import Final

import mujoco  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.mechanics.machine import MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import MatchCourse, first_slip_s, play_match
from matchvision.mechanics.rope import RopeModel

FloatArray = npt.NDArray[np.float64]

GRAVITY_M_S2: Final = 9.81
RADIUS_M, WHEELBASE_M, TRACK_M = 0.045, 0.17, 0.21
SIZE_M: Final = (0.28, 0.234, 0.12)
CENTRE_HEIGHT_M: Final = 0.06
WHEEL_MASS_KG, WHEEL_INERTIA_KG_M2 = 0.1, 2.5e-4
ROPE_M, ROPE_N_PER_M = 1.09, 5000.0
DURATION_S, STEP_S, ROW_S = 5.0, 0.0002, 0.01


@dataclass(frozen=True)
class Entrant:
    """One machine's numbers; stall torque and friction for all four wheels together."""

    name: str
    mass_kg: float
    hitch_height_m: float
    stall_Nm: float
    free_rad_s: float
    friction_Nm: float
    grip: float
    throttle: tuple[tuple[float, float], ...]
    pose: Pose


HERON = Entrant(
    "heron", 2.5, 0.052, 1.215, 5.3333, 0.09, 0.78, ((0.0, 0.0), (0.25, 0.72), (1.2, 0.72), (1.8, 1.0)),
    Pose(-0.685, -0.030, np.deg2rad(177.5)),
)  # fmt: skip
PLOVER = Entrant(
    "plover", 3.1, 0.056, 1.395, 4.8889, 0.09, 0.82, ((0.0, 0.0), (0.6, 0.22), (1.2, 0.34), (2.2, 1.0)),
    Pose(0.685, 0.025, np.deg2rad(2.0)),
)  # fmt: skip
CORNERS: Final = (("fl", 1, 1), ("fr", 1, -1), ("rl", -1, 1), ("rr", -1, -1))


def scene_of(entrants: tuple[Entrant, Entrant]) -> str:
    """The engine's scene: two boxes on four wheels each, the wheels of a side geared together, one tendon."""
    bodies, gears, drives = "", "", ""
    for e in entrants:
        chassis_kg = e.mass_kg - 4 * WHEEL_MASS_KG
        height_m = (CENTRE_HEIGHT_M * e.mass_kg - 4 * WHEEL_MASS_KG * RADIUS_M) / chassis_kg
        yaw = e.mass_kg * (SIZE_M[0] ** 2 + SIZE_M[1] ** 2) / 12
        yaw -= 4 * WHEEL_MASS_KG * ((WHEELBASE_M / 2) ** 2 + (TRACK_M / 2) ** 2) + 4 * 0.6e-4
        heading = np.rad2deg(e.pose.heading_rad)
        wheels = "".join(
            f"""<body name="{e.name}_{w}" pos="{fore * WHEELBASE_M / 2} {side * TRACK_M / 2} {RADIUS_M}">
              <joint name="{e.name}_{w}" type="hinge" axis="0 1 0" armature="{WHEEL_INERTIA_KG_M2 - 1e-4}"
                     frictionloss="{e.friction_Nm / 4}"/>
              <inertial pos="0 0 0" mass="{WHEEL_MASS_KG}" diaginertia="0.6e-4 1e-4 0.6e-4"/>
              <geom name="{e.name}_{w}" type="ellipsoid" size="{RADIUS_M} 0.012 {RADIUS_M}"
                    friction="{e.grip} 0 0" priority="1"/></body>"""
            for w, fore, side in CORNERS
        )
        bodies += f"""<body name="{e.name}" pos="{e.pose.x_m} {e.pose.y_m} 0" euler="0 0 {heading}"><freejoint/>
          <inertial pos="0 0 {height_m}" mass="{chassis_kg}" diaginertia="0.012 0.016 {yaw}"/>
          <site name="{e.name}_hitch" pos="-0.145 0 {e.hitch_height_m}"/>{wheels}</body>"""
        gears += "".join(
            f'<joint joint1="{e.name}_f{s}" joint2="{e.name}_r{s}" polycoef="0 1 0 0 0" solref="0.005 1"/>'
            for s in "lr"
        )
        drives += "".join(f'<motor name="{e.name}_{w}" joint="{e.name}_{w}"/>' for w, _, _ in CORNERS)
    return f"""<mujoco><compiler angle="degree"/>
      <option timestep="{STEP_S}" gravity="0 0 -{GRAVITY_M_S2}" cone="elliptic" impratio="5" integrator="implicitfast"/>
      <default><geom solref="0.01 1" solimp="0.95 0.99 0.001" condim="3"/></default>
      <worldbody><geom type="plane" size="3 3 0.1"/>{bodies}</worldbody>
      <tendon><spatial name="rope" stiffness="{ROPE_N_PER_M}" springlength="0 {ROPE_M}">
        <site site="{entrants[0].name}_hitch"/><site site="{entrants[1].name}_hitch"/></spatial></tendon>
      <equality>{gears}</equality><actuator>{drives}</actuator></mujoco>"""


@dataclass(frozen=True)
class Simulated:
    """What the engine gives, (k,) on the rows; ``x_m``, ``y_m``, ``heading_rad``, ``slip_m_s`` by machine."""

    t_s: FloatArray
    tension_N: FloatArray
    x_m: dict[str, FloatArray]
    y_m: dict[str, FloatArray]
    heading_rad: dict[str, FloatArray]
    slip_m_s: dict[str, FloatArray]
    front_load_N: dict[str, FloatArray]


def simulate(entrants: tuple[Entrant, Entrant]) -> Simulated:
    """Run the engine, with each wheel's quarter of the drive's torque set anew in every step."""
    model = mujoco.MjModel.from_xml_string(scene_of(entrants))
    data = mujoco.MjData(model)
    every, rows = round(ROW_S / STEP_S), round(DURATION_S / ROW_S) + 1
    kept: dict[str, list[FloatArray]] = {e.name: [] for e in entrants}
    tension, force = [], np.zeros(6)
    dofs = {e.name: [model.joint(f"{e.name}_{w}").dofadr[0] for w, _, _ in CORNERS] for e in entrants}
    for step in range((rows - 1) * every + 1):
        for e in entrants:
            share = np.interp(data.time, [t for t, _ in e.throttle], [v for _, v in e.throttle])
            for (w, _, _), dof in zip(CORNERS, dofs[e.name], strict=True):
                torque = share * e.stall_Nm / 4 * (1 - data.qvel[dof] / e.free_rad_s)
                data.actuator(f"{e.name}_{w}").ctrl[0] = torque
        if step % every == 0:
            mujoco.mj_forward(model, data)
            tension.append(max(0.0, ROPE_N_PER_M * (float(data.tendon("rope").length[0]) - ROPE_M)))
            for e in entrants:
                body = data.body(e.name)
                ahead = body.xmat.reshape(3, 3)[:, 0]
                speed = data.qvel[model.body(e.name).dofadr[0] :][:3] @ ahead
                front = 0.0
                for i in range(data.ncon):
                    geoms = {model.geom(int(g)).name for g in data.contact[i].geom}
                    if geoms & {f"{e.name}_fl", f"{e.name}_fr"}:
                        mujoco.mj_contactForce(model, data, i, force)
                        front += float(force[0])
                surface = RADIUS_M * float(np.mean(data.qvel[dofs[e.name]]))
                row = [*body.xpos[:2], np.arctan2(ahead[1], ahead[0]), surface - speed, front]
                kept[e.name].append(np.array(row, dtype=np.float64))
        mujoco.mj_step(model, data)
    columns = {name: np.array(values).T for name, values in kept.items()}
    return Simulated(
        t_s=np.arange(rows, dtype=np.float64) * ROW_S,
        tension_N=np.array(tension),
        x_m={name: c[0] for name, c in columns.items()},
        y_m={name: c[1] for name, c in columns.items()},
        heading_rad={name: np.unwrap(c[2]) for name, c in columns.items()},
        slip_m_s={name: c[3] for name, c in columns.items()},
        front_load_N={name: c[4] for name, c in columns.items()},
    )


def model_of(entrants: tuple[Entrant, Entrant]) -> MatchModel:
    """The same match in our own terms."""
    machines = []
    for e in entrants:
        side = SideDrive(e.stall_Nm / 2, e.free_rad_s, e.friction_Nm / 2, 2 * WHEEL_INERTIA_KG_M2, e.throttle)
        hitch = (-0.145, 0.0, e.hitch_height_m)
        machines.append(
            MachineModel(
                e.name,
                e.mass_kg,
                SIZE_M,
                (0.0, 0.0, CENTRE_HEIGHT_M),
                hitch,
                e.grip,
                e.grip,
                wheelbase_m=WHEELBASE_M,
                track_m=TRACK_M,
                wheel_radius_m=RADIUS_M,
                left=side,
                right=side,
            )
        )
    starts = tuple(e.pose for e in entrants)
    return MatchModel(tuple(machines), starts, RopeModel(ROPE_M, ROPE_N_PER_M, 0.0), GRAVITY_M_S2)


@pytest.fixture(scope="module")
def both() -> tuple[Simulated, MatchCourse]:
    entrants = (HERON, PLOVER)
    simulated = simulate(entrants)
    return simulated, play_match(model_of(entrants), simulated.t_s)


def test_tension_over_time(both: tuple[Simulated, MatchCourse]) -> None:
    simulated, course = both
    apart_N = np.sqrt(np.mean((course.tension_N - simulated.tension_N) ** 2))
    assert simulated.tension_N.max() > 18
    assert apart_N <= 0.04 * simulated.tension_N.max()


def test_onset_of_slip(both: tuple[Simulated, MatchCourse]) -> None:
    simulated, course = both
    slips = [first_slip_s(simulated.t_s, simulated.slip_m_s[e.name]) for e in (HERON, PLOVER)]
    predicted = [first_slip_s(course.t_s, machine.slip_speed_m_s) for machine in course.machines]
    assert slips[0] == pytest.approx(predicted[0], abs=0.060)
    assert np.isnan(slips[1])
    assert np.isnan(predicted[1])


def test_places(both: tuple[Simulated, MatchCourse]) -> None:
    simulated, course = both
    for entrant, machine in zip((HERON, PLOVER), course.machines, strict=True):
        travel_m = np.abs(np.diff(simulated.x_m[entrant.name])).sum()
        assert travel_m > 0.2
        assert np.abs(machine.x_m - simulated.x_m[entrant.name]).max() <= 0.03 * travel_m


def test_slipping_machine_is_pulled_round_alike(both: tuple[Simulated, MatchCourse]) -> None:
    simulated, course = both
    turned_rad = np.ptp(simulated.heading_rad["heron"])
    assert np.rad2deg(turned_rad) > 2
    apart_rad = course.machines[0].heading_rad - simulated.heading_rad["heron"]
    assert np.abs(apart_rad).max() <= 0.35 * turned_rad


def test_pull_at_the_hitch_loads_the_rear_wheels_alike(both: tuple[Simulated, MatchCourse]) -> None:
    # Front wheels of a four-wheel drive: half the weight less what pull and hitch height shift to the rear.
    simulated, course = both
    steady = (course.t_s > 0.8) & (course.t_s < 1.2)
    weight_N = HERON.mass_kg * GRAVITY_M_S2
    shift_N = weight_N / 2 - simulated.front_load_N["heron"][steady].mean()
    assert shift_N == pytest.approx(course.tension_N[steady].mean() * HERON.hitch_height_m / WHEELBASE_M, rel=0.05)
