"""A scene as the engine's own model file: boxes on wheels or feet, plane or boxes under them, one tendon."""

import math
from itertools import pairwise
from typing import Final

import numpy as np

from matchvision.filming.scene import Machine, Scene, Table
from tests.engine.arms import arm_motor_xml, arm_xml
from tests.engine.extras import Extras

GRAVITY_M_S2: Final = 9.81
WHEEL_MASS_KG, WHEEL_OWN_KG_M2 = 0.1, 1.0e-4
FOOT_M: Final = 0.004
#: A solid machine's box begins so far above the table: its wheels stand on it, and its belly rests on it once it tips.
BELLY_M: Final = 0.02
#: Who meets whom: boxes and walls meet each other and the table; wheels and feet meet the table.
SOLID: Final = 'contype="2" conaffinity="3"'
CORNERS: Final = (("fl", 1, 1), ("fr", 1, -1), ("rl", -1, 1), ("rr", -1, -1))
"""Wheels or feet: name, fore or aft, left or right."""


def slope_at(table: Table, x_m: float) -> tuple[float, float]:
    """Height [m] and tilt [rad] of the table at a place along x."""
    if not table.profile_m:
        return 0.0, 0.0
    places, heights = np.array(table.profile_m).T
    k = int(np.clip(np.searchsorted(places, x_m) - 1, 0, len(places) - 2))
    slope = (heights[k + 1] - heights[k]) / (places[k + 1] - places[k])
    return float(heights[k] + slope * (x_m - places[k])), math.atan(slope)


def track_m(machine: Machine) -> float:
    """Between the middles of the left and the right wheels."""
    return machine.size_m[1] - 0.024


def corner_places(machine: Machine) -> list[tuple[str, float, float]]:
    """Name, x and y in the machine frame of each wheel or foot."""
    if machine.drive is None:
        half_x, half_y = machine.size_m[0] / 2 - FOOT_M, machine.size_m[1] / 2 - FOOT_M
    else:
        half_x, half_y = machine.wheelbase_m / 2, track_m(machine) / 2
    return [(name, fore * half_x, side * half_y) for name, fore, side in CORNERS]


def start_pose(machine: Machine, table: Table) -> tuple[tuple[float, float, float], float, float]:
    """Place of the origin, heading and tilt such that the hitch stands where the scene says."""
    heading = (math.pi if machine.home == "-x" else 0.0) + math.radians(machine.heading_offset_deg)
    arm_x, arm_y, arm_z = machine.hitch_m
    x_m = machine.hitch_x_m
    for _ in range(30):
        _, tilt = slope_at(table, x_m)
        along = arm_x * math.cos(heading) - arm_y * math.sin(heading)
        x_m = machine.hitch_x_m - along * math.cos(tilt) + arm_z * math.sin(tilt)
    height, tilt = slope_at(table, x_m)
    return (x_m, machine.y_m, height), heading, tilt


def machine_xml(name: str, machine: Machine, table: Table, extras: Extras) -> str:
    """One machine with a free joint: chassis, four wheels with joints or four feet."""
    if machine.hangs:
        return f"""<body name="{name}" pos="{machine.hitch_x_m} {machine.y_m} 0"><joint type="slide" axis="0 0 1"/>
          <inertial pos="0 0 0" mass="{machine.mass_kg}" diaginertia="0.01 0.01 0.01"/>
          <site name="{name}_hitch"/></body>"""
    (x, y, z), heading, tilt = start_pose(machine, table)
    length, width, height = machine.size_m
    middle = machine.centre_of_mass_m or (0.0, 0.0, height / 2)
    driven = machine.drive is not None
    corners_kg = 4 * WHEEL_MASS_KG if driven else 0.0
    radius = machine.drive.wheel_radius_m if machine.drive else FOOT_M
    reach = extras.reach.get(name)
    arm_kg = 0.0 if reach is None else reach.mass_kg
    chassis_kg = machine.mass_kg - corners_kg - arm_kg
    place = [(machine.mass_kg - arm_kg) * m / chassis_kg for m in middle]
    place[2] -= corners_kg * radius / chassis_kg
    roll = chassis_kg * (width**2 + height**2) / 12
    pitch = chassis_kg * (length**2 + height**2) / 12
    yaw = chassis_kg * (length**2 + width**2) / 12
    rolling = extras.rolling_resistance.get(name, 0.0) * radius
    friction = f'friction="{machine.grip_ratio} 0 {rolling}" priority="1" condim="{6 if rolling else 3}"'
    parts = []
    for corner, cx, cy in corner_places(machine):
        label = f"{name}_{corner}"
        if machine.drive is None:
            parts.append(f'<geom name="{label}" type="sphere" pos="{cx} {cy} {FOOT_M}" size="{FOOT_M}" {friction}/>')
            continue
        inertia = machine.drive.wheel_inertia_kg_m2 / 4
        own = min(WHEEL_OWN_KG_M2, 0.8 * inertia)
        parts.append(
            f"""<body pos="{cx} {cy} {radius}">{tyre_xml(label, extras)}<joint name="{label}" type="hinge" axis="0 1 0"
              armature="{inertia - own}" frictionloss="{machine.drive.drive_friction_Nm / 4 + 1e-9}"
              solreffriction="0.004 1" solimpfriction="0.98 0.999 0.001"/>
              <inertial pos="0 0 0" mass="{WHEEL_MASS_KG}" diaginertia="{0.6 * own} {own} {0.6 * own}"/>
              <geom name="{label}" type="ellipsoid" size="{radius} 0.012 {radius}" {friction}/></body>"""
        )
    if extras.solid:
        half_z = (height - BELLY_M) / 2
        parts.append(
            f"""<geom name="{name}_box" type="box" pos="0 0 {BELLY_M + half_z}" size="{length / 2} {width / 2} {half_z}"
              friction="0.3" {SOLID}/>"""
        )
    turn = quaternion(heading, tilt)
    hitch = f'<site name="{name}_hitch" pos="{" ".join(map(str, machine.hitch_m))}"/>'
    if reach is not None:
        hitch = arm_xml(name, machine, middle, reach)
    return f"""<body name="{name}" pos="{x} {y} {z}" quat="{turn}"><freejoint/>
      <inertial pos="{place[0]} {place[1]} {place[2]}" mass="{chassis_kg}" diaginertia="{roll} {pitch} {yaw}"/>
      {hitch}{"".join(parts)}</body>"""


def tyre_xml(label: str, extras: Extras) -> str:
    """The spring on which a wheel moves up and down; nothing where wheels are rigid."""
    contact = extras.contact
    if contact.tyre_N_per_m == 0.0:
        return ""
    return f"""<joint name="{label}_tyre" type="slide" axis="0 0 1" stiffness="{contact.tyre_N_per_m}"
              damping="{contact.tyre_N_s_per_m}"/>"""


def walls_xml(scene: Scene, extras: Extras) -> str:
    """The scene's walls, fixed or on their own friction."""
    parts = ""
    for wall in scene.wall if extras.solid else ():
        x, y = wall.at_m
        length, width, height = wall.size_m
        box = f'type="box" size="{length / 2} {width / 2} {height / 2}" {SOLID}'
        loose = extras.loose.get(wall.owner)
        if loose is None:
            parts += f'<geom name="{wall.owner}_wall" pos="{x} {y} {height / 2}" {box} friction="0.3"/>'
            continue
        parts += f"""<body name="{wall.owner}_wall" pos="{x} {y} 0"><freejoint/>
          <geom name="{wall.owner}_wall" pos="0 0 {height / 2}" mass="{loose.mass_kg}" {box}
            friction="{loose.grip_ratio}" priority="1"/></body>"""
    return parts


def quaternion(heading_rad: float, tilt_rad: float) -> str:
    """Turn by the tilt about -y after turning by the heading about z, as w x y z."""
    ch, sh = math.cos(heading_rad / 2), math.sin(heading_rad / 2)
    ct, st = math.cos(tilt_rad / 2), math.sin(tilt_rad / 2)
    return f"{ct * ch} {-st * sh} {-st * ch} {ct * sh}"


def ground_xml(table: Table) -> str:
    """A plane where the table is one; a thick board for each straight piece of a bent one."""
    if len(table.profile_m) <= 2:
        _, tilt = slope_at(table, 0.0)
        return f'<geom type="plane" size="4 4 0.1" quat="{quaternion(0.0, tilt)}"/>'
    boards = ""
    places = np.array(table.profile_m)
    for (x0, z0), (x1, z1) in pairwise(places.tolist()):
        tilt, half = math.atan2(z1 - z0, x1 - x0), math.hypot(x1 - x0, z1 - z0) / 2
        down = 0.2
        x, z = (x0 + x1) / 2 + down * math.sin(tilt), (z0 + z1) / 2 - down * math.cos(tilt)
        boards += f'<geom type="box" size="{half} 2 {down}" pos="{x} 0 {z}" quat="{quaternion(0.0, tilt)}"/>'
    return boards


def crests_xml(table: Table, radius_m: float) -> tuple[str, str]:
    """A round edge at each crest for the tendon to lie on, and the words by which the tendon names them."""
    rods, wraps = "", ""
    for k in range(1, len(table.profile_m) - 1):
        (x0, z0), (x1, z1), (x2, z2) = table.profile_m[k - 1 : k + 2]
        if (z1 - z0) / (x1 - x0) > (z2 - z1) / (x2 - x1):
            rods += f"""<geom name="crest_{k}" type="cylinder" size="{radius_m} 2" pos="{x1} 0 {z1}"
              quat="0.70710678 0.70710678 0 0" contype="0" conaffinity="0"/>
              <site name="above_{k}" pos="{x1} 0 {z1 + 1}"/>"""
            wraps += f'<geom geom="crest_{k}" sidesite="above_{k}"/>'
    return rods, wraps


def rope_xml(scene: Scene) -> tuple[str, str, str]:
    """What the rope lies on, the tendon from hitch to hitch, and the actuator that gives it its pull."""
    if not scene.roped:
        return "", "", ""
    rods, wraps = crests_xml(scene.table, scene.rope.bead_radius_m)
    if scene.rope.pulley_m is not None:
        x, z = scene.rope.pulley_m
        rods += f'<site name="pulley" pos="{x} {next(m.y_m for m in scene.machine.values() if m.hangs)} {z}"/>'
        wraps += '<site site="pulley"/>'
    first, second = scene.rope.ends
    hitches = f'<site site="{first}_hitch"/>{wraps}<site site="{second}_hitch"/>'
    tendon = f'<tendon><spatial name="rope">{hitches}</spatial></tendon>'
    return rods, tendon, '<motor name="pull" tendon="rope"/>'


def scene_xml(scene: Scene, extras: Extras) -> str:
    """The engine's model of a scene."""
    machines = "".join(machine_xml(name, machine, scene.table, extras) for name, machine in scene.machine.items())
    wheeled = [name for name, machine in scene.machine.items() if machine.drive is not None]
    gears = "".join(
        f'<joint joint1="{name}_f{s}" joint2="{name}_r{s}" polycoef="0 1 0 0 0" solref="0.005 1"/>'
        for name in wheeled for s in "lr"
    )  # fmt: skip
    drives = "".join(f'<motor name="{name}_{c}" joint="{name}_{c}"/>' for name in wheeled for c, _, _ in CORNERS)
    rods, tendon, pull = rope_xml(scene)
    contact = extras.contact
    solimp = " ".join(map(str, contact.solimp))
    return f"""<mujoco><compiler angle="radian"/>
      <option timestep="{contact.step_s}" gravity="0 0 -{GRAVITY_M_S2}" cone="elliptic" impratio="{contact.impratio}"
        integrator="implicitfast"/>
      <default><geom solref="{contact.solref_s} {contact.damping_ratio:g}" solimp="{solimp}" condim="3"/></default>
      <worldbody>{ground_xml(scene.table)}{rods}{walls_xml(scene, extras)}{machines}</worldbody>
      {tendon}
      <equality>{gears}</equality>
      <actuator>{pull}{drives}{"".join(map(arm_motor_xml, extras.reach))}</actuator></mujoco>"""
