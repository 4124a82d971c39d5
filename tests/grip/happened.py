"""What truly happened in a made-up run, by the definitions of the event kinds, and what was found of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.filming import Course, Scene
from matchvision.filming.equipment import Hand
from matchvision.filming.hand import bones_at
from matchvision.filming.scene import Machine
from matchvision.filming.truth import events as filmed_events
from matchvision.records.events import Event
from tests.engine.playing import EngineRun

FloatArray = npt.NDArray[np.floating[Any]]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

#: An event is found where one of its kind and machine lies within this of it [s].
WITHIN_S: Final = 0.1
SLIDES: Final = ("slip", "spin", "dragged")
#: What may be missed is decided by what the measures must hold, never by what was found: slip speed to 10 mm/s, dates
#: to 50 ms; a machine's speed is told to 5 mm/s (95 %) by footage such as this.
SLIP_EDGE_M_S: Final = 0.010
STANDS_EDGE_M_S: Final = 0.005
#: A lead is told to 2 mm (95 %), a wheel's turn within a second to 0.03 rad.
LEAD_EDGE_M: Final = 0.002
TURN_EDGE_RAD: Final = 0.03
DATES_S: Final = 0.05
SLIDES_FOR_S: Final = 0.15
#: The one machine that rears up here, 0.17 m from axle to axle and with its mass 0.09 m up, stands on its rear axle so.
TIPS_DEG: Final = float(np.degrees(np.arctan2(0.085, 0.09)))


@dataclass(frozen=True)
class Truth:
    """One thing that truly happened; ``dated`` is False where its beginning is no moment.

    ``needed`` is False where it lies on the edge of its definition: found or not, both are right. From ``from_s`` on it
    may be taken to have begun, where what came before is too short to count. ``any_slide``: its kind of slide is not to
    be told. ``defined`` is False where it is none by the letter of its definition, and finding it is no mistake.
    """

    kind: str
    machine: str
    start_s: float
    dated: bool = True
    needed: bool = True
    from_s: float = float("inf")
    any_slide: bool = False
    defined: bool = True

    def error_s(self, start_s: float) -> float:
        """How far a found date lies from the truth: zero within its span."""
        low = min(self.from_s, self.start_s)
        return start_s - float(np.clip(start_s, low, self.start_s))


@dataclass(frozen=True)
class Score:
    """True events with what was found of each, found ones that are not true, and missed ones on the edge of theirs."""

    pairs: tuple[tuple[Truth, Event | None], ...]
    false: tuple[Event, ...]
    edge: tuple[Truth, ...] = ()


def true_events(
    scene: Scene, course: Course, run: EngineRun | None = None, slips: Mapping[str, FloatArray] | None = None
) -> list[Truth]:
    """What happened by the definitions of the event kinds, from the fine clock; times on the match clock.

    ``run``: what the engine knows beyond the course: bodies that meet, walls that give way, machines that rear up.
    ``slips``: slip speeds (k,) [m/s] of machines' seen wheels against the ground under them; without them ``run``'s,
    and without both those of filming's own motion, `filmed_slips`.
    """
    if slips is None:
        slips = filmed_slips(scene, course) if run is None else seen_slips(scene, run)
    t = np.asarray(course.clip_s - scene.clock.start_s, dtype=np.float64)
    inside = (t > -0.5) & (t <= scene.clock.duration_s)
    shown = (t > -0.5) & (t <= scene.last_s - scene.clock.start_s)
    told = filmed_events(scene, course)
    start = scene.clock.start_s
    tension = np.asarray(course.tension_N, dtype=np.float64)
    found: list[Truth] = []
    for name, machine in scene.machine.items():
        state = course.machines[name]
        found += _of_motion(name, machine, scene, t, inside, state.speed_m_s, state.x_m)
        found += _of_turning(name, t, shown, state.heading_rad)
        if machine.drive is not None:
            middle = state.wheel_rate_rad_s * machine.drive.wheel_radius_m - state.speed_m_s
            found += _of_wheels(name, t, shown, slips.get(name, middle), state.speed_m_s)
            found += _of_standing_wheels(name, t, shown & (state.share > 0.05), state.wheel_rate_rad_s)
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
        elif machine.brake_stated_N is not None:
            found += _of_holding(name, t, inside, np.abs(state.speed_m_s), tension)
    met = told["contact_s"] if run is None else {}
    for name, spans in met.items():
        # A body that bounces off by less than anybody sees has not left.
        joined = _joined(
            [(int(np.searchsorted(t, a - start)), int(np.searchsorted(t, b - start))) for a, b in spans], t, 0.6
        )
        found += [e for a, b in joined for e in _of_contact(name, t, inside, course.machines[name].speed_m_s, a, b)]
    if run is not None:
        found += _of_bodies(run, t, inside)
        found = _until_tipped(found)
    found += _near_misses(scene, course, t, inside)
    if scene.rope.release is not None:
        found.append(Truth("rope-off", scene.rope.release.hitch, scene.rope.release.after_start_s))
    found += [Truth("touch", "", _hand_in_view(scene, hand)) for hand in scene.hand]
    found += _lead_changes(scene, course, t, inside)
    last_s = scene.clock.duration_s
    return [one for one in found if one.start_s <= last_s or (not one.defined and one.from_s <= last_s)]


def seen_slips(scene: Scene, run: EngineRun) -> dict[str, FloatArray]:
    """True slip speeds (k,) [m/s] of the side that carries each machine's rim marks, against the ground under it."""
    return {
        name: (truth.left if scene.machine[name].wheel[0].face_m[1] >= 0 else truth.right).slip_m_s
        for name, truth in run.machines.items()
        if scene.machine[name].wheel
    }


def filmed_slips(scene: Scene, course: Course) -> dict[str, FloatArray]:
    """The same where filming plays a run itself: its machines go along their heading, and turn about their middle.

    A wheel that stands y to the left has a ground speed of its own, v − (dθ/dt) y: 0.12 m aside of a machine that turns
    by 0.25 rad/s that is 30 mm/s off its middle's.
    """
    slips = {}
    for name, machine in scene.machine.items():
        if machine.drive is None or not machine.wheel:
            continue
        state = course.machines[name]
        turning = np.gradient(state.heading_rad, course.clip_s)
        surface = state.wheel_rate_rad_s * machine.drive.wheel_radius_m
        slips[name] = surface - state.speed_m_s + turning * machine.wheel[0].face_m[1]
    return slips


def _of_contact(name: str, t: FloatArray, inside: BoolArray, speed: FloatArray, a: int, b: int) -> list[Truth]:
    """A machine's contact from ``a`` to ``b``, and where it was stopped by it."""
    still = inside & (np.abs(speed) < 0.010)
    still[: max(a, 0)] = still[b + 1 :] = False
    rests = _joined(_runs(still), t, 0.1)
    return [
        Truth("contact", name, float(t[a])),
        *(Truth("blocked", name, float(t[c]), needed=t[d] - t[c] > 0.6) for c, d in rests if t[d] - t[c] > 0.4),
    ]


def _of_bodies(run: EngineRun, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """What only the engine knows: who met whom, walls that were pushed away, machines that reared up and fell."""
    found: list[Truth] = []
    for pair, touches in run.touching.items():
        names = [name for name in pair if name in run.machines]
        for a, b in _joined(_runs(touches & inside), t, 0.6):
            before = max(0, int(np.searchsorted(t, t[a] - 0.2)))
            came = {n: float(np.hypot(np.ptp(run.course.machines[n].x_m[before : a + 1]), 0.0)) for n in names}
            mover = max(came, key=lambda name: came[name])
            events = _of_contact(mover, t, inside, run.course.machines[mover].speed_m_s, a, b)
            # One that only stands where it came to rest is blocked by what it ran into if that is in its way: either.
            found += [replace(one, needed=one.needed and one.kind == "contact") for one in events]
    for owner, places in run.walls.items():
        pushed = np.abs(places[:, 0] - places[0, 0])
        if pushed.max() > 0.010:
            found.append(Truth("dislodged", owner, float(t[int(np.argmax(pushed > 0.001))])))
    for name, machine in run.machines.items():
        pitch = np.degrees(np.abs(machine.pitch_rad))
        found += [Truth("lifted", name, float(t[a])) for a, b in _runs((pitch > 3.0) & inside) if t[b] - t[a] > 0.1]
        over = pitch > TIPS_DEG
        if (over & inside).any():
            found.append(Truth("tipped", name, float(t[int(np.argmax(over))])))
    return found


def _until_tipped(found: list[Truth]) -> list[Truth]:
    """Without what wheels and heading do of a machine that has fallen over."""
    fell = {one.machine: one.start_s for one in found if one.kind == "tipped"}
    of_wheels = {*SLIDES, "stall", "turned", "lifted", "blocked", "drive-loss"}
    # What begins just before has no time to become what it is.
    return [one for one in found if one.kind not in of_wheels or one.start_s < fell.get(one.machine, np.inf) - 0.15]


def _of_motion(
    name: str, machine: Machine, scene: Scene, t: FloatArray, inside: BoolArray, speed: FloatArray, x: FloatArray
) -> list[Truth]:
    found = []
    moving = [(a, b) for a, b in _runs((np.abs(speed) > 0.010) & inside) if t[b] - t[a] >= 0.1]
    surely = [k for k, (a, b) in enumerate(moving) if np.abs(speed[a : b + 1]).max() > 0.010 + STANDS_EDGE_M_S]
    # Where a stretch of hardly 10 mm/s comes before, either is the first.
    for a, _ in moving[: surely[0] + 1 if surely else 1]:
        found.append(Truth("first-motion", name, float(t[a]), needed=surely[:1] == [0]))
    if moving and t[moving[0][0]] < -0.02:
        found.append(Truth("early-start", name, float(t[moving[0][0]])))
    off = (np.abs(x) > scene.table.length_m / 2) & inside & (t > 0)
    return found + [
        # Less than so far beyond is not to be told from not beyond in pictures of this size.
        Truth("off-table", name, float(t[a]), needed=bool(np.abs(x[a : b + 1]).max() > scene.table.length_m / 2 + 0.02))
        for a, b in _runs(off)
        if t[b] - t[a] >= 0.1
    ]


def _of_turning(name: str, t: FloatArray, shown: BoolArray, heading: FloatArray) -> list[Truth]:
    """Headings 10° off that at the start, for a tenth of a second: what begins in the match is followed as shown."""
    first = heading[int(np.searchsorted(t, 0.0))]
    turned = (np.abs(np.degrees(heading - first)) > 10.0) & shown
    return [Truth("turned", name, float(t[a])) for a, b in _runs(turned) if t[b] - t[a] >= 0.1]


def _of_wheels(name: str, t: FloatArray, inside: BoolArray, slip: FloatArray, speed: FloatArray) -> list[Truth]:
    """Slides by their sign, parted by kind; what lies on the edge of a definition by `SLIP_EDGE_M_S` need not be found.

    A slide must be found where it still is one with the limit raised by as much as slip speed may be off, and where it
    is parted from the one before with the limit lowered by that, for at least twice what a date may be off. One that
    need not be found may be found to begin wherever slip is no further from the limit than it may be off. Its kind
    must be told where it is the same with the limit for standing off by `STANDS_EDGE_M_S` either way, and no piece of
    it lasts about as long as a piece must.
    """
    found: list[Truth] = []
    kinds = [_kinds(slip + speed, speed, 0.010 + off) for off in (-STANDS_EDGE_M_S, 0.0, STANDS_EDGE_M_S)]
    for sign in (1.0, -1.0):
        narrow, plain, broad = (
            _slides_above(sign * slip, 0.030 + off, inside, t) for off in (SLIP_EDGE_M_S, 0.0, -SLIP_EDGE_M_S)
        )
        needed_s: list[float] = []
        before: tuple[int, int] | None = None
        for a, b in plain:
            joined = before is not None and (
                t[a] - t[before[1]] < 2 * DATES_S or any(p <= before[0] and b <= q for p, q in broad)
            )
            whole = any(a <= p and q <= b for p, q in narrow) and not joined
            before = (a, b)
            needed_s += [float(t[a])] if whole else []
            told = [_pieces(k, a, b, t) for k in kinds]
            raw = _raw_pieces(kinds[1], a, b)
            clear = all([k for *_, k in pieces] == [k for *_, k in told[1]] for pieces in told)
            clear &= len(raw) == 1 or not any(0.2 < t[q - 1] - t[p] < 0.4 for p, q, _ in raw)
            short = [(p, kind) for p, q, kind in raw if 0.05 < t[q - 1] - t[p] < 0.35]
            for k, (p, _, kind) in enumerate(told[1]):
                begun = [t[s] for s, _ in short if t[p] - 0.35 < t[s] <= t[p]] if k else []
                found.append(
                    Truth(
                        SLIDES[kind], name, float(t[p]), needed=whole and (k == 0 or clear),
                        from_s=float(min(begun, default=t[p])), any_slide=not clear or bool(t[b] - t[a] < 0.3),
                    )
                )  # fmt: skip
            others = short if clear else [(p, kind) for pieces in (raw, *told) for p, _, kind in pieces]
            found += [Truth(SLIDES[kind], name, float(t[p]), needed=False, defined=False) for p, kind in others]
        found += [
            Truth("slip", name, last_s, from_s=first_s, needed=False, any_slide=True, defined=False)
            for first_s, last_s in _hovers(sign * slip, broad, t)
            if not any(first_s <= start_s <= last_s for start_s in needed_s)
        ]
    return found


def _slides_above(slip: FloatArray, limit_m_s: float, inside: BoolArray, t: FloatArray) -> list[tuple[int, int]]:
    """Where slip exceeds a limit for as long as a slide lasts, gaps that chatter makes closed."""
    joined = _joined(_runs((slip > limit_m_s) & inside), t, 0.05)
    return [(a, b) for a, b in joined if t[b] - t[a] >= SLIDES_FOR_S]


def _hovers(slip: FloatArray, slides: list[tuple[int, int]], t: FloatArray) -> list[tuple[float, float]]:
    """From when to when slip is no further from the limit than it may be off, within slides."""
    runs = _runs(np.abs(slip - 0.030) < SLIP_EDGE_M_S)
    return [(float(t[p]), float(t[q])) for p, q in runs if any(a <= p <= b for a, b in slides)]


def _kinds(surface: FloatArray, speed: FloatArray, stands_m_s: float) -> IntArray:
    """Which of `SLIDES` a slide is in each moment."""
    kinds = np.where(np.abs(speed) < stands_m_s, 1, 0)
    kinds[(surface * np.sign(speed) > -0.010) & (np.abs(surface) < np.abs(speed)) & (kinds == 0)] = 2
    return kinds


def _raw_pieces(kinds: IntArray, a: int, b: int) -> list[tuple[int, int, int]]:
    """Pieces of one kind from ``a`` to ``b``: first, one after the last, and the kind."""
    edges = [a, *(np.flatnonzero(np.diff(kinds[a : b + 1])) + a + 1), b + 1]
    return [(int(p), int(q), int(kinds[p])) for p, q in pairwise(edges)]


def _pieces(kinds: IntArray, a: int, b: int, t: FloatArray) -> list[tuple[int, int, int]]:
    """The same, with those below 0.3 s given to their longer neighbour, the shortest first."""
    pieces = _raw_pieces(kinds, a, b)
    while len(pieces) > 1 and min(t[q - 1] - t[p] for p, q, _ in pieces) < 0.3:
        k = int(np.argmin([t[q - 1] - t[p] for p, q, _ in pieces]))
        to = max((j for j in (k - 1, k + 1) if 0 <= j < len(pieces)), key=lambda j: pieces[j][1] - pieces[j][0])
        pieces[k] = (*pieces[k][:2], pieces[to][2])
        pieces = _fused(pieces)
    return pieces


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
    """Driven wheels that slow down to 0.1 rad/s and then turn by less than 0.1 rad in any second, for at least one.

    One that creeps at about that rate may count earlier, or not; where it turns by about so much, or stands for about
    so long, this beginning and the next are both right.
    """
    angle = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])
    found = []
    for a, b in _runs(driven):
        slow = np.flatnonzero(np.abs(rate[a : b + 1]) < 0.1) + a
        starts = [int(k) for k in slow if k == a or abs(rate[k - 1]) >= 0.1]
        after, sure = a - 1, True
        for k in starts:
            if k <= after:
                continue
            lasted = [
                t[_stands_until(angle, t, k, b, 0.1 + off)] - t[k] for off in (-TURN_EDGE_RAD, 0.0, TURN_EDGE_RAD)
            ]
            if lasted[2] < 1.0 - 2 * DATES_S:
                continue
            clear = lasted[0] > 1.0 + 2 * DATES_S
            low = k
            while low > a and abs(rate[low - 1]) < 0.15:
                low -= 1
            found.append(
                Truth("stall", name, float(t[k]), needed=sure and clear, from_s=float(t[low]), defined=lasted[1] >= 1.0)
            )
            sure = clear
            if clear:
                after = _stands_until(angle, t, k, b, 0.1)
    return found


def _stands_until(angle: FloatArray, t: FloatArray, first: int, last: int, most_rad: float) -> int:
    """The last moment until which an angle changed by less than a limit in any second from ``first`` on."""
    per_s = round(1.0 / float(np.median(np.diff(t))))
    for k in range(first + 1, last + 1, max(per_s // 200, 1)):
        before = angle[max(first, k - per_s) : k]
        if max(before.max() - angle[k], angle[k] - before.min()) > most_rad:
            return k - 1
    return last


def _near_misses(scene: Scene, course: Course, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """Machines that come so near a wall that pictures cannot tell it from contact: either is right."""
    found = []
    for wall in scene.wall:
        for name, machine in scene.machine.items():
            state = course.machines[name]
            gap = np.abs(state.x_m - wall.at_m[0]) - (machine.size_m[0] + wall.size_m[0]) / 2
            near = _joined(_runs((gap < 0.006) & inside), t, 0.1)
            found += [
                Truth("contact", name, float(t[a + int(np.argmin(gap[a : b + 1]))]), needed=False, defined=False)
                for a, b in near
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
    # One that goes on after a rest of no more than dates may be off need not be told from what came before.
    ended_s = [-np.inf, *(t[b] for _, b in moves)]
    found = [
        Truth(
            "anchor-creep", name, float(t[a]), needed=bool(t[a] - before_s >= 2 * DATES_S),
            from_s=min(float(t[p]) for p, _ in moves if t[a] - 0.4 < t[p] <= t[a]),
        )
        for (a, b), before_s in zip(moves, ended_s, strict=False)
        if speed[a : b + 1].sum() * step >= 0.003
    ]  # fmt: skip
    loose = [a for a, b in _runs((speed > 0.030) & inside) if speed[a : b + 1].sum() * step >= 0.010]
    if loose:
        found.append(Truth("dislodged", name, float(t[loose[0]])))
    return found + _of_holding(name, t, inside, speed, tension)


def _of_holding(name: str, t: FloatArray, inside: BoolArray, speed: FloatArray, tension: FloatArray) -> list[Truth]:
    """Standing for a second against a pull: both its ends are told to `DATES_S`, and so is the second, no better."""
    holds = (speed < 0.004) & (tension > 0.5) & inside & (t > 0)
    lasted = [(a, float(t[b] - t[a])) for a, b in _runs(holds)]
    return [
        Truth("held", name, float(t[a]), dated=False, needed=s >= 1.0 + 2 * DATES_S, defined=s >= 1.0)
        for a, s in lasted
        if s >= 1.0 - 2 * DATES_S
    ]


def _lead_changes(scene: Scene, course: Course, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """Where the rope's middle passes the centre line, having been 5 mm beyond it before and after."""
    if scene.kind != "match" or scene.rope.release is not None or any(m.arm for m in scene.machine.values()):
        return []
    ends = [course.machines[end] for end in scene.rope.ends]
    hitch = [scene.machine[end].hitch_m for end in scene.rope.ends]
    place = [
        m.x_m + h[0] * np.cos(m.heading_rad) - h[1] * np.sin(m.heading_rad) for m, h in zip(ends, hitch, strict=True)
    ]
    return _changes_of((place[0] + place[1]) / 2, scene, t, inside)


def lead_changes_of_rope(scene: Scene, clip_s: FloatArray, plus_m: FloatArray, total_m: FloatArray) -> list[Truth]:
    """The same from how much rope truly lies on the +x side, taut or slack, of how much in all.

    A lead that creeps past zero does so, as well as a lead is told, while it is within `LEAD_EDGE_M` of it.
    """
    t, lead = clip_s - scene.clock.start_s, plus_m - total_m / 2
    even = [(float(t[a]), float(t[b])) for a, b in _runs(np.abs(lead) < LEAD_EDGE_M)]
    found = []
    for one in _changes_of(lead, scene, t, (t >= 0) & (t <= scene.clock.duration_s)):
        spans = [(a, b) for a, b in even if a <= one.start_s <= b]
        found.append(replace(one, from_s=spans[0][0], start_s=spans[0][1]) if spans else one)
    return found


def _changes_of(lead: FloatArray, scene: Scene, t: FloatArray, inside: BoolArray) -> list[Truth]:
    """Where a lead (n,) passes zero, having been 5 mm beyond it before and after."""
    homes = {m.home: n for n, m in scene.machine.items()}

    def changes(level_m: float) -> dict[int, str]:
        during = np.flatnonzero(inside & (t >= 0) & (np.abs(lead) > level_m))
        return {
            int(a) + int(np.argmin(np.abs(lead[a : b + 1]))): homes["+x" if lead[b] > 0 else "-x"]
            for a, b in pairwise(during)
            if lead[a] * lead[b] < 0
        }

    told, defined = changes(0.005 + LEAD_EDGE_M), changes(0.005)
    return [
        Truth("lead-change", name, float(t[at]), needed=at in told, defined=at in defined)
        for at, name in changes(0.005 - LEAD_EDGE_M).items()
    ]


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

    Of an undated one it is enough that it was found at all. Those that must be found come first.
    """
    left = list(found)
    pairs: list[tuple[Truth, Event | None]] = []
    edge: list[Truth] = []
    for truth in sorted(truths, key=lambda one: (not one.needed, not one.defined)):
        kinds = {truth.kind, *(SLIDES if truth.any_slide else ())}
        near = [
            event for event in left
            if event.kind in kinds and event.machine in {truth.machine, ""}
            and (abs(truth.error_s(event.start_s)) <= WITHIN_S or not truth.dated)
        ]  # fmt: skip
        best = min(near, key=lambda event: abs(event.start_s - truth.start_s), default=None)
        if best is not None:
            left.remove(best)
        if truth.needed or (best is not None and truth.defined):
            pairs.append((truth, best))
        elif truth.defined:
            edge.append(truth)
    return Score(tuple(pairs), tuple(left), tuple(edge))
