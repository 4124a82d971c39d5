"""An invented match in an invented workshop, different for every seed."""

import secrets

import numpy as np

from matchvision.filming.equipment import Camera, Light
from matchvision.filming.ground import GRAVITY_M_S2
from matchvision.filming.scene import (
    Clock,
    Disc,
    Drive,
    Forecast,
    Link,
    Machine,
    RimMark,
    Rope,
    Scene,
    Stated,
    Table,
    Tag,
    Thing,
    Wheel,
)

DURATION_S = 5.5  # long enough for a lead to change, short enough to be filmed while somebody waits


def demo_scene(seed: int | None = None) -> Scene:
    """Heron against plover: who wins, by how much and why depends on the seed.

    Parameters
    ----------
    seed : int or None
        The same seed gives the same scene; None draws one.

    Returns
    -------
    Scene
        One machine pulls harder than the other can hold on the table; in most seeds that one slips. Teams'
        forecasts are near the truth, with an error now and then.
    """
    if seed is None:
        seed = secrets.randbelow(1_000_000)
    draw = np.random.default_rng([seed, 77])
    heron_strong = bool(draw.random() < 0.5)
    friction = draw.uniform(0.72, 0.80, 2)
    masses = draw.uniform(2.4, 2.6, 2)
    strong = 0 if heron_strong else 1
    masses[strong] += draw.uniform(0.2, 0.6)
    wait = float(draw.uniform(1.2, 2.5))
    start_y = draw.uniform(-0.03, 0.03, 2)
    offsets = draw.uniform(-2.5, 2.5, 2)
    machines = {}
    for index, (name, home) in enumerate((("heron", "-x"), ("plover", "+x"))):
        is_strong = index == strong
        pull_N = friction[index] * masses[index] * GRAVITY_M_S2
        # The strong one is slow at first; the weak one could pull more than its wheels can bring to the table.
        stall_Nm = 0.045 * pull_N * draw.uniform(1.32, 1.5) + 0.09
        gear = int(draw.integers(225, 285))
        no_load_rev_min = draw.uniform(0.20, 0.24) / 0.045 * gear * 60 / (2 * np.pi)
        if is_strong:
            throttle = ((0.0, 0.0), (0.5, 0.24), (wait, 0.34), (wait + 1.0, 1.0), (DURATION_S, 1.0))
        else:
            early = float(draw.uniform(0.6, 0.8))
            throttle = ((0.0, 0.0), (0.3, early), (wait + 0.4, early), (wait + 1.0, 1.0), (DURATION_S, 1.0))
        drive = Drive(
            motors=2,
            stall_torque_Nm=round(stall_Nm / (2 * gear * 0.72), 6),
            no_load_rev_min=round(no_load_rev_min, 1),
            gear_ratio=gear,
            throttle=tuple((round(t, 3), round(s, 3)) for t, s in throttle),
        )
        machines[name] = _machine(
            name, home, round(masses[index], 2), round(friction[index], 3), drive, draw,
            y_m=round(start_y[index], 3), offset_deg=round(offsets[index], 2),
        )  # fmt: skip
    link = Link(from_m=0.22, rest_m=0.06, stiffness_N_per_m=round(draw.uniform(430, 560), 1), colour="yellow")
    lamp_deg = draw.uniform(-150, -100) if draw.random() < 0.5 else draw.uniform(-80, -30)
    return Scene(
        name="demo",
        kind="match",
        story="An invented match between heron and plover on the long bench.",
        seed=seed,
        clock=Clock(start_s=0.8, duration_s=DURATION_S, after_s=0.4),
        table=Table(length_m=2.2, width_m=1.1, tag=tuple(
            Tag(id=i, side_m=0.11, centre_m=c)
            for i, c in enumerate(((-1.0, 0.45), (1.0, 0.45), (1.0, -0.45), (-1.0, -0.45)))
        )),
        camera=_camera(draw),
        light=Light(azimuth_deg=round(lamp_deg, 1), elevation_deg=round(draw.uniform(56, 68), 1)),
        rope=Rope(
            length_m=0.94, ends=("heron", "plover"), first_bead_m=0.07, bead_spacing_m=0.06,
            bead_colours=("red", "cyan"), link=link,
        ),
        machine=machines,
        thing=WORKSHOP,
    )  # fmt: skip


def _machine(
    name: str, home: str, mass_kg: float, grip: float, drive: Drive, draw: np.random.Generator,
    *, y_m: float, offset_deg: float,
) -> Machine:  # fmt: skip
    heron = name == "heron"
    top, rim = (("green", "magenta"), ("orange", "blue")) if heron else (("blue", "orange"), ("green", "magenta"))
    side = 0.117 if heron else -0.117
    angle = float(draw.integers(0, 360))
    wheel = Wheel(
        name="front, camera side",
        face_m=(0.085, side, 0.045),
        rim=(
            RimMark(name="wheel_1", colour=rim[0], radius_m=0.0085, circle_m=0.029, angle_deg=angle),
            RimMark(name="wheel_2", colour=rim[1], radius_m=0.0085, circle_m=0.029, angle_deg=(angle + 90) % 360),
        ),
    )
    return Machine(
        home="-x" if heron else "+x",
        mass_kg=mass_kg,
        grip_ratio=grip,
        hitch_m=(-0.145, 0.0, 0.052 if heron else 0.056),
        hitch_x_m=-0.46 if heron else 0.46,
        y_m=y_m,
        heading_offset_deg=offset_deg,
        wander_deg=round(float(draw.uniform(-1.5, 1.5)), 2),
        size_m=(0.28, 0.234, 0.12),
        centre_of_mass_m=(0.0, 0.0, 0.06),
        colour="#343942" if heron else "#4a4a44",
        marker=(
            Disc(name="front", colour=top[0], radius_m=0.014, at_m=(0.09, 0.0, 0.12)),
            Disc(name="rear", colour=top[1], radius_m=0.014, at_m=(-0.09, 0.0, 0.12)),
        ),
        drive=drive,
        wheel=(wheel,),
        forecast=_forecast(drive, grip, draw),
    )


def _forecast(drive: Drive, grip: float, draw: np.random.Generator) -> Forecast:
    """What a team would state: scattered about the truth by about its own uncertainty, grip sometimes too hopeful."""
    hopeful = 0.07 if draw.random() < 0.35 else 0.0
    stated_grip = Stated(value=round(grip + hopeful + draw.normal(0, 0.015), 2), u=0.05)
    return Forecast(
        motors=drive.motors,
        stall_torque_Nm=_near(drive.stall_torque_Nm, 0.03, 6, draw),
        no_load_rev_min=_near(drive.no_load_rev_min, 0.02, 0, draw),
        gear_ratio=drive.gear_ratio,
        drive_efficiency=Stated(value=drive.drive_efficiency, u=0.03),
        drive_friction_Nm=Stated(value=drive.drive_friction_Nm, u=0.02),
        grip_static=stated_grip,
        grip_sliding=stated_grip,
        throttle=drive.throttle,
        throttle_acts_on=drive.throttle_acts_on,
    )


def _near(value: float, u_ratio: float, digits: int, draw: np.random.Generator) -> Stated:
    stated = round(value * (1 + u_ratio * float(draw.normal())), digits)
    return Stated(value=stated, u=float(f"{u_ratio * value:.2g}"))


def _camera(draw: np.random.Generator) -> Camera:
    x = round(float(draw.uniform(-0.25, 0.25)), 3)
    return Camera(
        position_m=(x, round(float(draw.uniform(-1.74, -1.62)), 3), round(float(draw.uniform(1.38, 1.5)), 3)),
        look_at_m=(0.02, -0.03, -0.02),
        f_px=(992.0, 993.5),
        centre_px=(643.8, 356.4),
        distortion=(-0.045, 0.012, 0.0004, -0.0003, 0.0),
        roll_deg=round(float(draw.uniform(-1.2, 1.2)), 2),
    )


# Stands about on the floor behind and beside the bench; the balls and the box share the markers' colours.
WORKSHOP = (
    Thing(shape="box", at_m=(-1.05, 1.75, 0.25), size_m=(0.8, 0.55, 0.5), colour="#7a5a3c", turn_deg=12),
    Thing(shape="box", at_m=(-0.95, 1.7, 0.62), size_m=(0.42, 0.3, 0.24), colour="#2350d7", turn_deg=-8),
    Thing(shape="box", at_m=(0.55, 2.2, 0.4), size_m=(0.95, 0.5, 0.8), colour="#50575e", turn_deg=-4),
    Thing(shape="ball", at_m=(1.55, 1.3, 0.12), size_m=(0.24, 0.24, 0.24), colour="#d71e8c"),
    Thing(shape="ball", at_m=(-0.2, 1.55, 0.09), size_m=(0.18, 0.18, 0.18), colour="#fa780a"),
    Thing(shape="box", at_m=(1.75, 0.35, 0.22), size_m=(0.3, 0.5, 0.44), colour="#8d3b32", turn_deg=20),
)
