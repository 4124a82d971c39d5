"""Short made-up runs in which one thing or another happens, what truly happened when, and what was found of it."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.errors import CannotMeasure
from matchvision.filming import Course, Scene, demo_scene, film, play
from matchvision.filming.equipment import Camera, Hand
from matchvision.filming.hand import bones_at
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.filming.scene import Disc, Drive, Machine, Release, Table, Tag
from matchvision.filming.truth import events as filmed_events
from matchvision.grip import find_events
from matchvision.motion import measure_motion
from matchvision.pipeline import analyze
from matchvision.pull import measure_pull
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from matchvision.records.tracks import Tracks
from matchvision.sheets import load_run
from tests.engine.extras import Extras
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points

FloatArray = npt.NDArray[np.floating[Any]]
BoolArray = npt.NDArray[np.bool_]
Noise = Callable[[Tracks, np.random.Generator], Tracks]

#: An event is found where one of its kind and machine lies within this of it [s].
WITHIN_S: Final = 0.1
SLIDES: Final = ("slip", "spin", "dragged")


@dataclass(frozen=True)
class Story:
    """A scene and, if the physics engine plays it, what else it is told; filming plays what the engine cannot."""

    name: str
    scene: Scene
    extras: Extras | None = None

    def course(self) -> Course:
        """What happens, on a fine clock."""
        return play(self.scene) if self.extras is None else play_in_engine(self.scene, self.extras).course


@dataclass(frozen=True)
class Truth:
    """One thing that truly happened; ``dated`` is False where its beginning is no moment.

    ``needed`` is False where it lies on the edge of its definition: found or not, both are right. From ``from_s`` on it
    may be taken to have begun, where what came before is too short to count. ``any_slide``: too short for its kind of
    slide to be told.
    """

    kind: str
    machine: str
    start_s: float
    dated: bool = True
    needed: bool = True
    from_s: float = float("inf")
    any_slide: bool = False

    def error_s(self, start_s: float) -> float:
        """How far a found date lies from the truth: zero within its span."""
        low = min(self.from_s, self.start_s)
        return start_s - float(np.clip(start_s, low, self.start_s))


@dataclass(frozen=True)
class Score:
    """True events with what was found of each, and found ones that are not true."""

    pairs: tuple[tuple[Truth, Event | None], ...]
    false: tuple[Event, ...]


def short_match(seed: int, duration_s: float = 2.6) -> Scene:
    """The demo match with its action brought forward; sizes of small pictures."""
    scene = demo_scene(seed)
    camera = scene.camera
    assert camera.centre_px is not None
    small: Camera = replace(
        camera, size_px=(960, 540), f_px=(0.75 * camera.f_px[0], 0.75 * camera.f_px[1]),
        centre_px=(0.75 * camera.centre_px[0] - 0.125, 0.75 * camera.centre_px[1] - 0.125), bitrate=3_000_000,
    )  # fmt: skip
    clock = replace(scene.clock, start_s=0.6, duration_s=duration_s, after_s=0.15)
    plan = {
        True: ((0.0, 0.0), (0.2, 0.35), (0.8, 0.35), (1.1, 1.0)),
        False: ((0.0, 0.0), (0.2, 0.7), (0.8, 0.7), (1.1, 1.0)),
    }
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    machines = {name: driven(m, plan[name == strong]) for name, m in scene.machine.items()}
    return replace(scene, camera=small, clock=clock, machine=machines, thing=())


def driven(machine: Machine, throttle: tuple[tuple[float, float], ...]) -> Machine:
    assert machine.drive is not None
    drive: Drive = replace(machine.drive, throttle=throttle)
    stated = None if machine.forecast is None else replace(machine.forecast, throttle=throttle)
    return replace(machine, drive=drive, forecast=stated)


def _with(scene: Scene, **machines: Machine) -> Scene:
    return replace(scene, machine={**scene.machine, **machines})


def anchored_base(scene: Scene, anchor: Anchor, arm: Arm | None = None) -> Machine:
    """Plover as an anchored base."""
    wheeled = scene.machine["plover"]
    on_arm = () if arm is None else (Disc("arm", "green", 0.012, (-0.15, 0.0, 0.1), "reach"),)
    return replace(
        wheeled, drive=None, wheel=(), forecast=None, anchor=anchor, arm=arm, grip_ratio=0.35, heading_offset_deg=0.0,
        wander_deg=0.0, marker=(*wheeled.marker, *on_arm),
    )  # fmt: skip


def stories(seed: int) -> list[Story]:
    """One of each kind; masses, grips, camera and light are the seed's."""
    draw = np.random.default_rng([seed, 5])
    scene = short_match(seed)
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    weak = "heron" if strong == "plover" else "plover"
    at_s = float(draw.uniform(1.3, 1.7))
    full, low = ((0.0, 0.0), (0.2, 0.5), (0.6, 1.0)), ((0.0, 0.0), (0.2, 0.3))
    firm = _with(scene, heron=driven(heron, full), plover=anchored_base(scene, Anchor(holding_N=200.0)))
    pressed = Extras(press_N={"plover": ((0.0, 80.0), (9.0, 80.0))})
    leak = Anchor(holding_N=float(draw.uniform(17, 19)), leak_N_per_s=3.0, creeps_at_ratio=0.8, creep_m_s=0.03)
    arm = Arm(stroke_m=float(draw.uniform(0.1, 0.2)), mass_kg=0.15, at_s=0.5, lasts_s=float(draw.uniform(0.3, 0.5)))
    weakened = scene.machine[weak]
    assert weakened.drive is not None
    half = replace(weakened, drive=replace(weakened.drive, loss_s=at_s, loss_ratio=0.5))
    none_left = replace(weakened, drive=replace(weakened.drive, loss_s=at_s, loss_ratio=0.0))
    calm = _with(scene, heron=driven(heron, low), plover=driven(plover, low))
    side = (((0.0, 0.0), (0.2, 1.0)), ((0.0, 0.0), (0.2, 0.1)))
    off_m = 0.6 + 0.14 + 0.02 + float(draw.uniform(0.02, 0.04))
    side_x = -off_m if strong == "heron" else off_m
    wall = Wall(owner=weak, at_m=(side_x, scene.machine[strong].y_m), size_m=(0.04, 0.3, 0.08))
    hand = Hand(
        from_s=scene.clock.start_s + at_s - 0.4, until_s=scene.clock.start_s + at_s + 0.4,
        from_x_m=float(draw.uniform(-0.3, 0.0)), to_x_m=0.05, reach_m=0.45,
    )  # fmt: skip
    narrow = Table(
        length_m=1.30, width_m=1.1, tag=tuple(
            Tag(id=i, side_m=0.11, centre_m=c)
            for i, c in enumerate(((-0.56, 0.45), (0.56, 0.45), (0.56, -0.45), (-0.56, -0.45)))
        ),
    )  # fmt: skip
    pulling = scene.machine[strong]
    assert pulling.drive is not None
    turning = replace(
        pulling,
        drive=replace(pulling.drive, loss_s=0.1, loss_ratio=1.0, loss_turn_deg_per_m=150 * float(draw.choice([-1, 1]))),
    )
    side_mark = Disc("side", "cyan", 0.014, (0.0, -0.085, 0.12))
    lifted = replace(
        calm.machine["heron"], marker=(*heron.marker, side_mark), lift=((0.6, 0.0), (0.8, 9.0), (1.4, 9.0), (1.6, 0.0))
    )
    release = Release(hitch=weak, after_start_s=at_s)
    return [
        Story("slips", scene, Extras()),
        Story("spins", firm, pressed),
        Story("stalls", _with(firm, heron=driven(heron, low)), pressed),
        Story("dragged", _with(scene, **{weak: none_left}), Extras(brake_Nm={weak: ((at_s, 0.0), (at_s + 0.03, 2.0))})),
        Story("half-drive", _with(scene, **{weak: half}), Extras()),
        Story("pulled-round", scene, Extras(side_share={weak: side})),
        Story("lets-go", replace(calm, rope=replace(scene.rope, release=release)), Extras()),
        Story("off-table", replace(scene, table=narrow), Extras()),
        Story("breaks-away", _with(firm, plover=anchored_base(scene, Anchor(holding_N=200.0))), Extras(
            press_N={"plover": ((0.0, 40.0), (0.6, 40.0), (2.2, 0.0))})),
        Story("creeps", _with(firm, plover=anchored_base(scene, leak))),
        Story("reaches", _with(firm, plover=anchored_base(scene, Anchor(holding_N=200.0), arm))),
        Story("early", _with(calm, heron=replace(calm.machine["heron"], let_go_s=-float(draw.uniform(0.12, 0.35))))),
        Story("wall", replace(scene, wall=(wall,))),
        Story("hand", replace(calm, hand=(hand,)), Extras()),
        Story("turns", _with(scene, **{strong: turning})),
        Story("lifts", _with(calm, heron=lifted)),
    ]  # fmt: skip


def found_in_pixels(story: Story, course: Course) -> Sequence[Event]:
    """Events of the whole pipeline, from a rendered and compressed clip."""
    with tempfile.TemporaryDirectory() as scratch:
        film(story.scene, Path(scratch), course=course)
        grip = analyze(load_run(Path(scratch))).grip
    return () if grip is None else grip.events


def found_in_points(
    story: Story, course: Course, generator: np.random.Generator, noise: Noise | None = None
) -> Sequence[Event]:
    """Events from where the camera would see the markers, with white noise of 0.17 px or what ``noise`` puts on."""
    filmed = film_points(story.scene, generator, 0.17 if noise is None else 0.0, course=course)
    if noise is not None:
        filmed = replace(filmed, tracks=noise(filmed.tracks, generator))
    clock = MatchClock(story.scene.clock.start_s, story.scene.clock.duration_s)
    motion, _ = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
    try:
        pull = measure_pull(filmed.run, motion, clock)[0]
    except CannotMeasure:
        pull = None
    return find_events(filmed.run, motion, pull, clock)[0].events


def true_events(story: Story, course: Course) -> list[Truth]:
    """What happened by the definitions of the event kinds, from the fine clock; times on the match clock."""
    scene = story.scene
    t = np.asarray(course.clip_s - scene.clock.start_s, dtype=np.float64)
    inside = (t > -0.5) & (t <= scene.clock.duration_s)
    shown = (t > -0.5) & (t <= scene.last_s - scene.clock.start_s)
    told = filmed_events(scene, course)
    start = scene.clock.start_s
    tension = np.asarray(course.tension_N, dtype=np.float64)
    found: list[Truth] = []
    for name, machine in scene.machine.items():
        state = course.machines[name]
        found += _of_motion(name, machine, scene, t, inside, state.speed_m_s, state.x_m, state.heading_rad)
        if machine.drive is not None:
            slip = state.wheel_rate_rad_s * machine.drive.wheel_radius_m - state.speed_m_s
            found += _of_wheels(name, t, shown, slip, state.speed_m_s)
            found += _of_standing_wheels(name, t, inside & (state.share > 0.05), state.wheel_rate_rad_s)
            if machine.drive.loss_s is not None and machine.drive.loss_ratio < 0.8:
                found.append(Truth("drive-loss", name, machine.drive.loss_s))
        if machine.lift:
            times, degrees = np.array(machine.lift).T
            up = np.abs(np.interp(t, times, degrees)) > 3.0
            found += [Truth("lifted", name, float(t[a])) for a, _ in _runs(up)]
        if machine.anchor is not None:
            found += _of_anchor(name, t, inside, state.speed_m_s, tension)
        if machine.arm is not None:
            out = machine.arm.out_m(t)
            found.append(Truth("reach-out", name, float(t[int(np.argmax(out > 0.005))])))
    for name, spans in told["contact_s"].items():
        # A body that bounces off by less than anybody sees has not left.
        met = _joined(
            [(int(np.searchsorted(t, a - start)), int(np.searchsorted(t, b - start))) for a, b in spans], t, 0.6
        )
        for a, b in met:
            found.append(Truth("contact", name, float(t[a])))
            still = inside & (np.abs(course.machines[name].speed_m_s) < 0.010)
            still[: max(a, 0)] = still[b + 1 :] = False
            rests = _joined(_runs(still), t, 0.1)
            found += [
                Truth("blocked", name, float(t[c]), needed=t[d] - t[c] > 0.6) for c, d in rests if t[d] - t[c] > 0.4
            ]
    found += _near_misses(scene, course, t, inside)
    if scene.rope.release is not None:
        found.append(Truth("rope-off", scene.rope.release.hitch, scene.rope.release.after_start_s))
    found += [Truth("touch", "", _hand_in_view(scene, hand)) for hand in scene.hand]
    found += _lead_changes(scene, course, t, inside)
    return [event for event in found if event.start_s <= scene.clock.duration_s]


def _of_motion(
    name: str, machine: Machine, scene: Scene, t: FloatArray, inside: BoolArray, speed: FloatArray, x: FloatArray,
    heading: FloatArray,
) -> list[Truth]:  # fmt: skip
    found = []
    moving = [a for a, b in _runs((np.abs(speed) > 0.010) & inside) if t[b] - t[a] >= 0.1]
    if moving:
        found.append(Truth("first-motion", name, float(t[moving[0]])))
        if t[moving[0]] < -0.02:
            found.append(Truth("early-start", name, float(t[moving[0]])))
    first = heading[int(np.searchsorted(t, 0.0))]
    turned = np.abs(np.degrees(heading - first)) > 10.0
    found += [Truth("turned", name, float(t[a])) for a, b in _runs(turned & inside) if t[b] - t[a] >= 0.1]
    off = (np.abs(x) > scene.table.length_m / 2) & inside & (t > 0)
    return found + [
        # Less than so far beyond is not to be told from not beyond in pictures of this size.
        Truth("off-table", name, float(t[a]), needed=bool(np.abs(x[a : b + 1]).max() > scene.table.length_m / 2 + 0.02))
        for a, b in _runs(off)
        if t[b] - t[a] >= 0.1
    ]


def _of_wheels(name: str, t: FloatArray, inside: BoolArray, slip: FloatArray, speed: FloatArray) -> list[Truth]:
    """Slides by their sign, gaps below 0.05 s closed, parted by kind; pieces below 0.3 s go to what was before."""
    found: list[Truth] = []
    surface = slip + speed
    kinds = np.where(np.abs(speed) < 0.010, 1, 0)
    kinds[(surface * np.sign(speed) > -0.010) & (np.abs(surface) < np.abs(speed)) & (kinds == 0)] = 2
    for sign in (1.0, -1.0):
        before = -1
        for a, b in _joined(_runs((sign * slip > 0.030) & inside), t, 0.05):
            if t[b] - t[a] < 0.13:
                continue
            # Hardly parted from the slide before: by a shallow or a short dip.
            shallow = before >= 0 and (t[a] - t[before] < 0.1 or float((sign * slip[before:a]).min()) > 0.015)
            before = b
            edges = [a, *(np.flatnonzero(np.diff(kinds[a : b + 1])) + a + 1), b + 1]
            pieces = [(p, q, int(kinds[p])) for p, q in pairwise(edges)]
            short = [(p, kind) for p, q, kind in pieces if 0.05 < t[q - 1] - t[p] < 0.35]
            # A piece of about 0.3 s may count or not, and with it what its neighbours are.
            unclear = len(pieces) > 1 and any(0.2 < t[q - 1] - t[p] < 0.4 for p, q, _ in pieces)
            while len(pieces) > 1 and min(t[q - 1] - t[p] for p, q, _ in pieces) < 0.3:
                k = int(np.argmin([t[q - 1] - t[p] for p, q, _ in pieces]))
                to = max((j for j in (k - 1, k + 1) if 0 <= j < len(pieces)), key=lambda j: pieces[j][1] - pieces[j][0])
                pieces[k] = (*pieces[k][:2], pieces[to][2])
                pieces = _fused(pieces)
            last = -1
            for k, (p, _, kind) in enumerate(pieces):
                if kind == last:
                    continue
                whole = t[b] - t[a] > 0.17 and not (shallow and k == 0) and (k == 0 or not unclear)
                begun = [t[s] for s, _ in short if t[p] - 0.35 < t[s] <= t[p]] if k else []
                found.append(
                    Truth(
                        SLIDES[kind],
                        name,
                        float(t[p]),
                        needed=whole,
                        from_s=float(min(begun, default=t[p])),
                        any_slide=bool(unclear or t[b] - t[a] < 0.3),
                    )
                )
                last = kind
            found += [Truth(SLIDES[kind], name, float(t[p]), needed=False) for p, kind in short]
    return found


def _fused(pieces: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Neighbours of one kind as one."""
    fused: list[tuple[int, int, int]] = []
    for first, after, kind in pieces:
        if fused and fused[-1][2] == kind:
            fused[-1] = (fused[-1][0], after, kind)
        else:
            fused.append((first, after, kind))
    return fused


def _of_standing_wheels(name: str, t: FloatArray, driven: BoolArray, rate: FloatArray) -> list[Truth]:
    """Wheels below 0.1 rad/s for at least a second; one that creeps at about that rate may count earlier, or not."""
    slow = _runs((np.abs(rate) < 0.15) & driven)
    found = []
    for low, high in slow:
        if t[high] - t[low] < 0.9:
            continue
        surely = [(a, b) for a, b in _runs((np.abs(rate) < 0.1) & driven) if low <= a <= high and t[b] - t[a] > 1.1]
        for a, _ in surely:
            found.append(Truth("stall", name, float(t[a]), from_s=float(t[low])))
        if not surely:
            found.append(Truth("stall", name, float(t[high]), needed=False, from_s=float(t[low])))
    return found


def _near_misses(scene: Scene, course: Course, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """Machines that come so near a wall that pictures cannot tell it from contact: either is right."""
    found = []
    for wall in scene.wall:
        for name, machine in scene.machine.items():
            state = course.machines[name]
            gap = np.abs(state.x_m - wall.at_m[0]) - (machine.size_m[0] + wall.size_m[0]) / 2
            near = _joined(_runs((gap < 0.006) & inside), t, 0.1)
            found += [
                Truth("contact", name, float(t[a + int(np.argmin(gap[a : b + 1]))]), needed=False) for a, b in near
            ]
    return found


def _hand_in_view(scene: Scene, hand: Hand) -> float:
    """When the hand first hides some of the table from the camera; its fingertips cross the edge a little later [s]."""
    eye = np.array(scene.camera.position_m)
    for moment in np.arange(hand.from_s - 0.6, hand.until_s, 0.002):
        for bone in bones_at(hand, scene.table, float(moment)):
            tip = np.asarray(bone.start)
            seen = tip + (tip - eye) * tip[2] / (eye[2] - tip[2])
            if abs(seen[0]) < scene.table.length_m / 2 and abs(seen[1]) < scene.table.width_m / 2:
                return float(moment) - scene.clock.start_s
    return hand.from_s - scene.clock.start_s


def _of_anchor(name: str, t: FloatArray, inside: BoolArray, speed: FloatArray, tension: FloatArray) -> list[Truth]:
    step = float(np.median(np.diff(t)))
    speed = np.abs(speed)
    moves = _joined(_runs((speed > 0.004) & inside & (t > 0)), t, 0.05)
    # A jerk of a millimetre or two shortly before may be taken for its beginning.
    found = [
        Truth("anchor-creep", name, float(t[a]), from_s=min(float(t[p]) for p, _ in moves if t[a] - 0.4 < t[p] <= t[a]))
        for a, b in moves
        if speed[a : b + 1].sum() * step >= 0.003
    ]
    loose = [a for a, b in _runs((speed > 0.030) & inside) if speed[a : b + 1].sum() * step >= 0.010]
    if loose:
        found.append(Truth("dislodged", name, float(t[loose[0]])))
    holds = (speed < 0.004) & (tension > 0.5) & inside & (t > 0)
    return found + [Truth("held", name, float(t[a]), dated=False) for a, b in _runs(holds) if t[b] - t[a] >= 1.1]


def _lead_changes(scene: Scene, course: Course, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """Where the rope's middle passes the centre line, having been 5 mm beyond it before and after."""
    if scene.kind != "match" or scene.rope.release is not None or any(m.arm for m in scene.machine.values()):
        return []
    ends = [course.machines[end] for end in scene.rope.ends]
    hitch = [scene.machine[end].hitch_m for end in scene.rope.ends]
    place = [
        m.x_m + h[0] * np.cos(m.heading_rad) - h[1] * np.sin(m.heading_rad) for m, h in zip(ends, hitch, strict=True)
    ]
    lead = place[0] + place[1]
    during = np.flatnonzero(inside & (t >= 0) & (np.abs(lead) > 0.010))
    homes = {m.home: n for n, m in scene.machine.items()}
    found = []
    for a, b in pairwise(during):
        if lead[a] * lead[b] < 0:
            at = a + int(np.argmin(np.abs(lead[a : b + 1])))
            found.append(Truth("lead-change", homes["+x" if lead[b] > 0 else "-x"], float(t[at])))
    return found


def _runs(holds: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _joined(runs: list[tuple[int, int]], t: FloatArray, gap_s: float) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for a, b in runs:
        if joined and t[a] - t[joined[-1][1]] <= gap_s:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    return joined


def score(truths: Sequence[Truth], found: Sequence[Event]) -> Score:
    """Each true event with the nearest found one of its kind and machine within `WITHIN_S`; what is left is false.

    Of an undated one it is enough that it was found at all.
    """
    left = list(found)
    pairs: list[tuple[Truth, Event | None]] = []
    for truth in truths:
        kinds = {truth.kind, *(SLIDES if truth.any_slide else ())}
        near = [
            event for event in left
            if event.kind in kinds and event.machine in {truth.machine, ""}
            and (abs(truth.error_s(event.start_s)) <= WITHIN_S or not truth.dated)
        ]  # fmt: skip
        best = min(near, key=lambda event: abs(event.start_s - truth.start_s), default=None)
        if best is not None:
            left.remove(best)
        if best is not None or truth.needed:
            pairs.append((truth, best))
    return Score(tuple(pairs), tuple(left))
