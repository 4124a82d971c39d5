"""Matches that MuJoCo and our own model both play, from the same numbers.

The engine is that of ``tests/engine``: rigid bodies in space, soft contact with elliptic friction cones, a tendon that
wraps the crest of a ridge. Its settings are the same for every case and were chosen by what the engine itself shows:

- Each wheel stands on a tyre, a spring of 20 N/mm with a damper, which gives by 0.3 mm under its load, as hard rubber
  does. How four wheels share load across the diagonal is told by no balance. On rigid wheels the engine's contact
  decides it, which is convex: a sliding contact carries more at the same depth, by friction × damping × speed. Where
  wheels of one machine slide at different speeds that moved 1.6 N from wheels that carry 6 N each to the other
  diagonal's, and more with more damping. On tyres the springs decide it.
- Contacts sink by less than 0.1 mm, little beside a tyre, with an impedance that grows with it; then sliding wheels
  carry their load steadily, to within 0.5 % of its mean.
- The friction's impedance ratio makes gripping wheels creep by no more than 0.5 mm/s.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.filming.demo import demo_scene
from matchvision.filming.scene import Drive, Machine, Release, Rope, Scene, Table
from matchvision.mechanics.machine import Arm, Changes, MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import SLIP_LASTS_S, SLIP_SPEED_M_S, MatchCourse, play_match
from matchvision.mechanics.rope import RopeModel
from tests.engine.arms import Reach
from tests.engine.building import FOOT_M, GRAVITY_M_S2, WHEEL_MASS_KG, track_m
from tests.engine.extras import Contact, Extras, Ground, SideLoss
from tests.engine.playing import EngineRun, play_in_engine

FloatArray = npt.NDArray[np.float64]

ROPE_M: Final = 1.05
RADIUS_M: Final = 0.045
GEAR, MOTORS, EFFICIENCY = 250.0, 2, 0.72
ROW_S: Final = 0.005
CONTACT: Final = Contact(
    solref_s=0.004, solimp=(0.1, 0.95, 0.0002), impratio=250.0, tyre_N_per_m=20_000.0, tyre_N_s_per_m=70.0
)
SLOPE: Final = float(np.tan(np.radians(6.0)))


@dataclass(frozen=True)
class Case:
    """One match: what the engine plays, and what of it our model is told: changes in mid-run, parts beyond wheels."""

    name: str
    scene: Scene
    extras: Extras = field(default_factory=Extras)
    changes: Mapping[str, Changes] = field(default_factory=dict)
    told: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def drive(stall_Nm: float, free_m_s: float = 0.22, throttle: tuple[tuple[float, float], ...] = ((0.0, 1.0),)) -> Drive:
    """A drive by its stall torque over all wheels and the speed at which its wheels run free."""
    return Drive(
        stall_torque_Nm=stall_Nm / (MOTORS * GEAR * EFFICIENCY),
        no_load_rev_min=free_m_s / RADIUS_M * GEAR * 60 / (2 * np.pi), gear_ratio=GEAR, throttle=throttle,
        motors=MOTORS, drive_efficiency=EFFICIENCY, drive_friction_Nm=0.06,
    )  # fmt: skip


def machine(home: str, mass_kg: float, grip: float, by: Drive | None, **more: object) -> Machine:
    """A machine with its hitch half a rope from the middle; without a drive a sled on four feet."""
    sign = 1.0 if home == "+x" else -1.0
    base: dict[str, object] = {
        "home": home, "mass_kg": mass_kg, "grip_ratio": grip, "hitch_m": (-0.145, 0.0, 0.052), "marker": (),
        "hitch_x_m": sign * ROPE_M / 2, "size_m": (0.28, 0.234, 0.12), "centre_of_mass_m": (0.0, 0.0, 0.06),
        "drive": by,
    }  # fmt: skip
    return Machine(**(base | more))  # type: ignore[arg-type]


def scene(heron: Machine, other: Machine, duration_s: float, *, profile: tuple[tuple[float, float], ...] = (),
          release_s: float | None = None) -> Scene:  # fmt: skip
    """Two machines on one rope without a link."""
    base = demo_scene(1)
    rope = Rope(
        length_m=ROPE_M, ends=("heron", "other"), first_bead_m=0.1, bead_spacing_m=0.1, bead_colours=("red",),
        release=None if release_s is None else Release(hitch="heron", after_start_s=release_s),
    )  # fmt: skip
    clock = replace(base.clock, start_s=0.3, duration_s=duration_s, after_s=0.0)
    table = Table(length_m=2.4, width_m=1.1, profile_m=profile)
    return replace(
        base, clock=clock, table=table, machine={"heron": heron, "other": other}, rope=rope, sound=None, lamp=None
    )


def ramped(*shares: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """A throttle plan that starts from nothing."""
    return ((0.0, 0.0), *shares)


def two_pull() -> Case:
    """Both pull and grip; the stronger one draws the other, whose wheels turn backwards."""
    heron = machine("-x", 2.6, 1.0, drive(1.0, throttle=ramped((0.4, 1.0))))
    other = machine("+x", 2.9, 1.0, drive(0.6, throttle=ramped((0.3, 1.0))), y_m=0.02)
    return Case("two-machine pull", scene(heron, other, 3.0))


def stall() -> Case:
    """A strong drive on poor grip against a sled that does not move: its wheels spin on the spot."""
    heron = machine("-x", 2.5, 0.6, drive(1.4, throttle=ramped((1.0, 1.0))))
    return Case("grip-limited stall", scene(heron, machine("+x", 12.0, 0.6, None), 2.0))


def spinning_start() -> Case:
    """Full drive at once on poor grip: wheels spin until the machine and its sled have come up to speed."""
    heron = machine("-x", 2.5, 0.45, drive(1.6, 0.5))
    return Case("spinning start", scene(heron, machine("+x", 2.0, 0.3, None), 2.5))


def drag_back() -> Case:
    """A weak machine on poor grip is drawn back over the table, its wheels against it."""
    heron = machine("-x", 2.4, 0.45, drive(1.2, throttle=ramped((0.4, 0.5), (1.5, 1.0))))
    other = machine("+x", 3.3, 0.85, drive(1.5, throttle=ramped((0.5, 0.3), (1.5, 1.0))), y_m=0.01)
    return Case("drag back", scene(heron, other, 3.0))


def ridge() -> Case:
    """Over a ridge: the one that slips is drawn up its slope, over the crest and down the other side."""
    profile = ((-2.4, -2.4 * SLOPE), (0.0, 0.0), (2.4, -2.4 * SLOPE))
    # Taut over the crest, the hitches are nearer in x than the rope is long.
    heron = machine("-x", 2.4, 0.4, drive(1.2, throttle=ramped((0.4, 0.5), (1.5, 1.0))), hitch_x_m=-0.42)
    other = machine("+x", 3.3, 0.85, drive(1.5, throttle=ramped((0.5, 0.3), (1.5, 1.0))), y_m=0.01, hitch_x_m=0.62)
    return Case("ridge", scene(heron, other, 6.0, profile=profile))


def ramp() -> Case:
    """Up a slope with a sled behind."""
    profile = ((-1.2, 1.2 * SLOPE), (0.0, 0.0), (1.2, -1.2 * SLOPE))
    heron = machine("-x", 2.6, 0.9, drive(1.2, throttle=ramped((0.5, 1.0))), hitch_x_m=-0.52)
    return Case("up a slope", scene(heron, machine("+x", 2.0, 0.35, None, hitch_x_m=0.52), 2.5, profile=profile))


def release() -> Case:
    """The hitch lets go while both pull."""
    heron = machine("-x", 2.6, 0.8, drive(1.0, throttle=ramped((0.4, 1.0))))
    other = machine("+x", 2.9, 0.8, drive(0.8, throttle=ramped((0.3, 1.0))))
    return Case("release", scene(heron, other, 2.5, release_s=1.5))


def side_gone(wheelbase_m: float = 0.12) -> Case:
    """The left drive of a short machine dies at 1 s; it slips and is pulled round."""
    heron = machine("-x", 2.5, 0.6, drive(1.6, throttle=ramped((0.3, 1.0))), y_m=0.02, wheelbase_m=wheelbase_m)
    other = machine("+x", 3.2, 0.8, drive(1.5, throttle=ramped((0.3, 0.5), (1.5, 1.0))))
    extras = Extras(side_loss={"heron": SideLoss("left", 1.0)})
    return Case(
        "one side's drive gone", scene(heron, other, 4.0), extras, {"heron": Changes(loss_s=1.0, lost_left=1.0)}
    )


def oblique() -> Case:
    """Both start askew to the rope; the one that spins is drawn into it. Sideways the rope is just taut."""
    heron = machine(
        "-x",
        2.5,
        0.6,
        drive(1.6, throttle=ramped((0.3, 1.0))),
        y_m=0.06,
        heading_offset_deg=-8.0,
        hitch_x_m=-0.5235,
    )
    other = machine("+x", 3.2, 0.8, drive(1.3, throttle=ramped((0.3, 0.6), (1.5, 1.0))), y_m=-0.05,
                    heading_offset_deg=-5.0, hitch_x_m=0.5235)  # fmt: skip
    return Case("oblique start", scene(heron, other, 3.0))


def grip_gone() -> Case:
    """Something falls under one machine's wheels at 1.5 s, on its half of the table."""
    heron = machine("-x", 2.5, 0.8, drive(0.9, throttle=ramped((0.3, 1.0))))
    other = machine("+x", 3.0, 0.85, drive(0.8, throttle=ramped((0.3, 1.0))))
    extras = Extras(ground=(Ground(0.4, to_x_m=0.0, from_s=1.5),))
    changes = {"heron": Changes(grip_since_s=1.5, grip_ratio=0.5)}
    return Case("grip gone in mid-run", scene(heron, other, 3.0), extras, changes)


def base_gives_way() -> Case:
    """A base whose suction leaks holds a machine's pull until it gives way, and is then drawn along."""
    heron = machine("-x", 2.6, 0.9, drive(1.1, throttle=ramped((0.6, 1.0))))
    grip, press = 0.5, ((0.0, 40.0), (0.5, 40.0), (2.5, 8.0))
    extras = Extras(press_N={"other": press})
    told = {
        "holding_N": grip * press[0][1],
        "holding_plan": tuple((time_s, force_N / press[0][1]) for time_s, force_N in press),
    }
    return Case("base giving way", scene(heron, machine("+x", 1.5, grip, None), 3.0), extras, told={"other": told})


def winch() -> Case:
    """A winch on a heavy block winds rope in and draws a sled up to it."""
    winding = ((0.3, 0.0), (2.3, 0.25))
    block = machine("-x", 9.0, 0.8, None)
    return Case(
        "winch", scene(block, machine("+x", 2.0, 0.35, None), 3.0), Extras(winding={"heron": winding}),
        told={"heron": {"winding": winding}},
    )  # fmt: skip


def arm() -> Case:
    """An arm with the hitch on it goes out and stops while its machine drives; what it draws makes the wheels slip."""
    reach = Reach(stroke_m=0.2, mass_kg=0.4, lasts_s=0.6, from_s=1.0)
    heron = machine("-x", 2.8, 0.6, drive(1.1, throttle=ramped((0.5, 1.0))), hitch_m=(0.05, 0.0, 0.052))
    out = Arm(reach.stroke_m, reach.mass_kg, reach.lasts_s, reach.from_s, forwards=True)
    return Case(
        "arm going out", scene(heron, machine("+x", 2.6, 0.5, None), 2.5), Extras(reach={"heron": reach}),
        told={"heron": {"arm": out}},
    )  # fmt: skip


CASES: Final[tuple[Callable[[], Case], ...]] = (
    two_pull, stall, spinning_start, drag_back, ridge, ramp, release, side_gone, oblique, grip_gone,
    base_gives_way, winch, arm,
)  # fmt: skip


def model_of(case: Case, run: EngineRun) -> MatchModel:
    """The same match in our own terms, the machines where the engine's stand at the start signal."""
    models, poses = [], []
    for name, entry in case.scene.machine.items():
        course, start_s = run.course.machines[name], case.scene.clock.start_s
        x_m, y_m, within, tilt = (
            float(np.interp(start_s, run.course.clip_s, values))
            for values in (course.x_m, course.y_m, course.heading_rad, course.tilt_rad)
        )
        poses.append(Pose(x_m, y_m, float(np.arctan2(np.sin(within), np.cos(within) * np.cos(tilt)))))
        own = _machine_model(name, entry, case.changes.get(name, Changes()))
        models.append(replace(own, **case.told.get(name, {})))
    rope = case.scene.rope
    release_s = float("inf") if rope.release is None else rope.release.after_start_s
    laid = RopeModel(rope.length_m, rope.stiffness_N_per_m, rope.damping_N_s_per_m, release_s, rope.bead_radius_m)
    return MatchModel(tuple(models), tuple(poses), laid, GRAVITY_M_S2, case.scene.table.profile_m)


def _machine_model(name: str, entry: Machine, changes: Changes) -> MachineModel:
    length, width, height = entry.size_m
    middle = entry.centre_of_mass_m or (0.0, 0.0, height / 2)
    if entry.drive is None:
        return MachineModel(
            name, entry.mass_kg, entry.size_m, middle, entry.hitch_m, entry.grip_ratio, entry.grip_ratio,
            wheelbase_m=length - 2 * FOOT_M, track_m=width - 2 * FOOT_M,
        )  # fmt: skip
    # The engine's yaw inertia is that of its box and four wheels; ours is that of a box: one as hard to turn.
    chassis_kg = entry.mass_kg - 4 * WHEEL_MASS_KG
    yaw = chassis_kg * (length**2 + width**2) / 12
    yaw += 4 * WHEEL_MASS_KG * ((entry.wheelbase_m / 2) ** 2 + (track_m(entry) / 2) ** 2) + 4 * 0.6e-4
    size = (float(np.sqrt(12 * yaw / entry.mass_kg - width**2)), width, height)
    by = entry.drive
    stall_Nm = by.motors * by.stall_torque_Nm * by.gear_ratio * by.drive_efficiency
    free_rad_s = by.no_load_rev_min * 2 * np.pi / 60 / by.gear_ratio
    side = SideDrive(stall_Nm / 2, free_rad_s, by.drive_friction_Nm / 2, by.wheel_inertia_kg_m2 / 2, by.throttle)
    return MachineModel(
        name, entry.mass_kg, size, middle, entry.hitch_m, entry.grip_ratio, entry.grip_ratio,
        wheelbase_m=entry.wheelbase_m, track_m=track_m(entry), wheel_radius_m=by.wheel_radius_m, left=side, right=side,
        changes=changes,
    )  # fmt: skip


def slip_phases(t_s: FloatArray, slip_m_s: FloatArray) -> list[tuple[float, float]]:
    """Begin and end [s] of every time for which wheels slip (30 mm/s) for at least 0.15 s; the last end may be NaN."""
    above = np.abs(slip_m_s) > SLIP_SPEED_M_S
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    phases = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if t_s[end - 1] - t_s[begin] >= SLIP_LASTS_S:
            phases.append((float(t_s[begin]), float(t_s[end]) if end < len(t_s) else float("nan")))
    return phases


def ends_apart_s(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> list[float]:
    """How far apart [s] begins and ends of paired times of slip lie; infinite where only one side has it.

    What lasts to the last row on both sides has no end to compare.
    """
    if len(one) != len(other):
        return [float("inf")]
    apart = []
    for ours, theirs in zip(np.ravel(one), np.ravel(other), strict=True):
        if np.isnan(ours) != np.isnan(theirs):
            apart.append(float("inf"))
        elif not np.isnan(ours):
            apart.append(float(abs(ours - theirs)))
    return apart


@dataclass(frozen=True)
class Agreement:
    """How far apart both are.

    ``place_ratio``: the worse machine's distance in end position over the longer way of both machines; ``place_mm`` the
    same in millimetres and ``travel_mm`` that way. ``tension_ratio``: rms difference of the tension over its peak,
    ``pull_ratio`` that of its mean over the mean. ``slip_ms``: the largest difference of a begin or an end of slip
    (NaN without any, infinite where only one side has it), ``ends`` how many of them were compared, ``phases`` how many
    times of slip there are in ours and in the engine's. ``turned_deg``: by how much the machine turned that turned
    most, in ours and in the engine's.
    """

    case: str
    travel_mm: float
    place_mm: float
    place_ratio: float
    tension_ratio: float
    pull_ratio: float
    phases: tuple[int, int]
    slip_ms: float
    ends: int
    turned_deg: tuple[float, float]


def play_both(case: Case, contact: Contact = CONTACT) -> tuple[FloatArray, EngineRun, MatchCourse]:
    """Match times, the engine's run and ours."""
    run = play_in_engine(case.scene, replace(case.extras, contact=contact))
    times = np.arange(0.0, case.scene.clock.duration_s - ROW_S / 2, ROW_S)
    return times, run, play_match(model_of(case, run), times)


def compare(case: Case, contact: Contact = CONTACT) -> Agreement:
    """Play a case on both sides and hold them together."""
    t_s, run, ours = play_both(case, contact)
    clip_s = t_s + case.scene.clock.start_s

    def engine(values: npt.ArrayLike) -> FloatArray:
        return np.interp(clip_s, run.course.clip_s, np.asarray(values, dtype=np.float64))

    apart, ways, starts_ends, counts, turns = [], [], [], [0, 0], []
    for (name, entry), course in zip(case.scene.machine.items(), ours.machines, strict=True):
        theirs = run.course.machines[name]
        x, y = engine(theirs.x_m), engine(theirs.y_m)
        ways.append(float(np.hypot(np.diff(x), np.diff(y)).sum()))
        apart.append(float(np.hypot(course.x_m[-1] - x[-1], course.y_m[-1] - y[-1])))
        heading = np.unwrap(engine(theirs.heading_rad))
        turns.append((float(np.rad2deg(np.ptp(heading))), float(np.rad2deg(np.ptp(course.heading_rad)))))
        if entry.drive is not None:
            sides = run.machines[name]
            slip = (engine(sides.left.slip_m_s) + engine(sides.right.slip_m_s)) / 2
            one, other = slip_phases(t_s, course.slip_speed_m_s), slip_phases(t_s, slip)
            counts[0] += len(one)
            counts[1] += len(other)
            starts_ends += ends_apart_s(one, other)
    tension = engine(run.course.tension_N)
    peak_N, way_m = float(tension.max()), max(ways)
    theirs_deg, ours_deg = max(turns)
    return Agreement(
        case.name, 1e3 * way_m, 1e3 * max(apart), max(apart) / way_m,
        float(np.sqrt(np.mean((ours.tension_N - tension) ** 2))) / peak_N,
        float(ours.tension_N.mean() / tension.mean() - 1.0), (counts[0], counts[1]),
        1e3 * max(starts_ends, default=float("nan")), len(starts_ends), (ours_deg, theirs_deg),
    )  # fmt: skip
