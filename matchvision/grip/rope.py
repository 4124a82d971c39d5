"""Events of the rope: who leads, and an end that has left its hitch."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.profile import surface_height
from matchvision.grip.bends import noise_of
from matchvision.grip.hidden import tied_frames
from matchvision.grip.intervals import best_mean, chance_above, keep_long, typical_step_s
from matchvision.grip.onset import LEAST_PLACES, date_start, unseen_way
from matchvision.records.events import Event
from matchvision.records.motion import ArmMotion, MachineMotion, MatchClock, Motion, RopeMotion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import RunSheet
from matchvision.uncertainty import K_95, beyond_share, format_interval

#: A lead counts once it exceeds this and its own U95.
LEAD_M: Final = 0.005
#: A change is told where both leads are so surely none of noise's making.
LEADS_CHANCE: Final = 0.95
#: A rope end is off once its last bead lies this much further from the hitch than the cord between them is long.
OFF_M: Final = 0.020
OFF_FOR_S: Final = 0.1
#: How well the distance from a hitch to a bead near it is known: the sheet's place of the hitch, and what the camera's
#: error and the bead's height leave of a few centimetres.
U_NEAR_M: Final = 0.003
#: An end that leaves its hitch does so from rest; the moment is that at which it passes this speed.
LEAVES_M_S: Final = 0.010
#: Its machine leaps as the pull is gone, and its smoothed place does so within this time (rectangular).
LEAPS_S: Final = 0.06
#: Its way is looked at from so long before to so long after it is found beyond reach.
LEFT_WITHIN_S: Final = 1.0
#: Where it was before it left is where it was for most of this time.
HELD_S: Final = 0.3
#: What pulled and shook the hitch is looked at over this time before.
BEFORE_S: Final = 0.1
SHOOK_S: Final = 0.5
#: Beads this near an end tell about its hitch; a further one may lie on rope that bends away.
NEAR_BEADS: Final = 2


def find_lead_changes(
    sheet: RunSheet, rope: RopeMotion, real_s: FloatArray, clock: MatchClock, told: BoolArray | None = None
) -> list[Event]:
    """Moments at which the larger share of the rope passed from one side to the other, for good or for a while.

    A side leads once its lead exceeds 5 mm and its U95; the change is dated where the shares were last equal before.

    Parameters
    ----------
    told : (n,) bool array, optional
        Frames in which the places of both hitches are known; elsewhere nothing is said.

    Notes
    -----
    Noise has many looks: of n independent ones with nothing in them, the greatest stays below z standard uncertainties
    with probability Φ(z)ⁿ (order statistics; e.g. H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed., 2003, ch. 2).
    So much is the greatest lead of each side worth. Frames that a smoother ties count once.
    Checked by: tests/grip/test_rope.py::test_noise_has_many_looks_and_still_changes_no_lead
    """
    homes = {machine.home: name for name, machine in sheet.machine.items()}
    if sheet.run.kind != "match" or set(homes) != {"-x", "+x"}:
        return []
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    sides = (rope.on_plus_x_m, rope.u_on_plus_x_m, rope.on_minus_x_m, rope.u_on_minus_x_m)
    lead_m, u_m = beyond_share(*sides, u_whole=rope.u_total_m)
    band_m = np.fmax(LEAD_M, K_95 * u_m)
    during = np.isfinite(lead_m) & (match_s >= 0) & (match_s <= clock.duration_s)
    if told is not None:
        during &= told
    frames = np.flatnonzero(during & (np.abs(lead_m) > band_m))
    passes = np.flatnonzero(np.diff(np.sign(lead_m[frames])) != 0) if len(frames) else np.zeros(0, dtype=np.int64)
    if len(passes) == 0:
        return []
    looks = max(during.sum() / tied_frames(lead_m[during], u_m[during], real_s[during]), 1.0)
    # Each side leads from one change to the next; what it is worth is its greatest lead.
    leads = np.split(frames, passes + 1)
    greatest = [int(part[np.argmax(np.abs(lead_m[part]) / u_m[part])]) for part in leads]
    chances = [chance_above(abs(float(lead_m[k])), float(u_m[k]), 0.0) ** looks for k in greatest]
    events = []
    for k, (earlier, later) in enumerate(pairwise(leads)):
        chance = chances[k] * chances[k + 1]
        if chance < LEADS_CHANCE:
            continue
        before, after = int(earlier[-1]), int(later[0])
        between = np.arange(before, after + 1)
        between = between[np.isfinite(lead_m[between])]
        # Straight through the change: single frames cross zero many times where the lead changes slowly.
        slope, at_zero = np.polyfit(real_s[between] - real_s[before], lead_m[between], 1)
        span_s = float(real_s[after] - real_s[before])
        at_s = float(real_s[before]) + (float(np.clip(-at_zero / slope, 0.0, span_s)) if slope != 0 else span_s / 2)
        u_s = float(min(np.median(u_m[between]) / max(abs(float(slope)), 1e-6), span_s + typical_step_s(real_s)))
        leader = homes["+x" if lead_m[after] > 0 else "-x"]
        had, has = (
            format_interval(1000 * float(lead_m[at]), 1000 * float(u_m[at])) for at in (greatest[k], greatest[k + 1])
        )
        evidence = (
            f"The larger share of the rope passed to the side of {leader}: lead of the +x side up to {had} mm before, "
            f"up to {has} mm after (95 %)."
        )
        events.append(Event("lead-change", leader, at_s - zero_s, float("nan"), u_s, chance, evidence))
    return events


def hitch_places(
    moved: MachineMotion, at_m: tuple[float, float, float], arm: ArmMotion | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where a hitch on body or arm stands (x, y) and its standard uncertainty, (n,) arrays [m].

    A machine whose nose is up has its hitch further back; one whose tilt is not known is taken as level.
    """
    heading = np.deg2rad(moved.heading_deg)
    pitch, roll = (np.deg2rad(np.nan_to_num(tilt)) for tilt in (moved.pitch_deg, moved.roll_deg))
    out_m = at_m[0] + (0.0 if arm is None else arm.outwards * arm.reach_m)
    along_m = out_m * np.cos(pitch) - at_m[2] * np.sin(pitch)
    across_m = at_m[1] * np.cos(roll) - at_m[2] * np.sin(roll)
    x_m = moved.x_m + np.cos(heading) * along_m - np.sin(heading) * across_m
    y_m = moved.y_m + np.sin(heading) * along_m + np.cos(heading) * across_m
    u_m = np.sqrt(
        (moved.u_x_m**2 + moved.u_y_m**2) / 2 + (np.hypot(at_m[0], at_m[1]) * np.deg2rad(moved.u_heading_deg)) ** 2
    )
    return x_m, y_m, u_m


def find_rope_off(sheet: RunSheet, motion: Motion, pull: PullSource | None, clock: MatchClock) -> list[Event]:
    """Rope ends that left their hitch: their last bead ran further from the hitch than the cord between is long.

    Looked for at every end whose machine, arm and last beads are tracked, and not claimed where a sprung link in the
    rope stays drawn out. A cord that was seen to be longer than stated counts as long as it was seen,
    `RopeMotion.longer_m`. The moment is dated where the growing distance, drawn back, left the cord's length. The pull
    and its direction just before, a rope that snapped taut and an arm that stopped are said beside it.

    Notes
    -----
    Checked by: tests/grip/test_rope.py::test_hitch_that_lets_go_is_dated
    """
    if sheet.rope is None or motion.rope is None:
        return []
    events, match_s = [], clock.match_time(motion.clip_s)
    for end, name in enumerate(sheet.rope.ends):
        machine, moved = sheet.machine.get(name), motion.machines.get(name)
        arm = next((a for a in motion.arms if a.machine == name), None)
        if machine is None or moved is None or machine.hitch is None or (machine.hitch.on == "reach" and arm is None):
            continue
        hitch = hitch_places(moved, machine.hitch.at_m, arm if machine.hitch.on == "reach" else None)
        longer_m = motion.rope.longer_m[end]
        for column, stated_m in beads_near(sheet, motion.tracks.names, end):
            bead = column, stated_m + longer_m
            found = _watch_bead(motion, clock, name, bead, hitch, unseen_way(motion))
            if found is not None and not _still_pulls(motion, match_s, found.start_s):
                which = f"The rope's {('first', 'second')[end]} end, hitched to {name}, came off. "
                why = _what_went_before(motion, moved, arm, pull, end, found.start_s, clock)
                events.append(replace(found, evidence=which + found.evidence + why))
                break
    return events


def _still_pulls(motion: Motion, match_s: FloatArray, at_s: float) -> bool:
    """Whether a sprung link stays drawn out after an end is thought to have come off: a loose rope pulls nothing.

    Seen from above, a taut rope on a longer cord than the sheet's looks like one that lies on the table.
    """
    rope = motion.rope
    arcs = [plan.arc_m for plan in motion.tracks.plans if plan.kind == "link"]
    if rope is None or len(arcs) != 2:
        return False
    drawn_m = rope.link_length_m - abs(arcs[1] - arcs[0])
    u_m = np.hypot(rope.u_link_length_m, rope.u_link_common_ratio * rope.link_length_m)
    # What swings on in the first tenth of a second is over by then.
    after = (match_s > at_s + BEFORE_S) & (match_s < at_s + BEFORE_S + SHOOK_S) & np.isfinite(drawn_m) & (u_m > 0)
    return bool(after.sum() > LEAST_PLACES and np.median(drawn_m[after] / u_m[after]) > 2 * K_95)


def describe_longer_cords(sheet: RunSheet, motion: Motion) -> list[str]:
    """What to say of ends whose cord was seen to be longer than the sheet says: how long it is, with its uncertainty.

    The distance from the last bead to the hitch while the rope is taut, in space.

    Notes
    -----
    Checked by: tests/grip/test_rope.py::test_longer_cord_is_said_with_its_length
    """
    rope, said = motion.rope, []
    if sheet.rope is None or rope is None:
        return []
    for end, longer_m in enumerate(rope.longer_m):
        name = sheet.rope.ends[end]
        machine, moved, near = (
            sheet.machine.get(name),
            motion.machines.get(name),
            beads_near(sheet, motion.tracks.names, end),
        )
        if longer_m == 0 or machine is None or moved is None or machine.hitch is None or not near:
            continue
        arm = next((a for a in motion.arms if a.machine == name), None) if machine.hitch.on == "reach" else None
        x_m, y_m, _ = hitch_places(moved, machine.hitch.at_m, arm)
        places, (column, stated_m) = motion.places, near[0]
        rise_m = places.z_m[:, column] - surface_height(sheet.table.profile_m, x_m) - machine.hitch.at_m[2]
        apart_m = np.sqrt((places.x_m[:, column] - x_m) ** 2 + (places.y_m[:, column] - y_m) ** 2 + rise_m**2)
        taut = (rope.slack == 0) & (np.abs(apart_m - stated_m - longer_m) < OFF_M)
        length_m = float(np.median(apart_m[taut])) if taut.any() else stated_m + longer_m
        stated = f"the sheet's {1000 * stated_m:.0f} mm" if stated_m > 0 else "nothing, as the sheet's length_m has it"
        measured = format_interval(1000 * length_m, 1000 * U_NEAR_M)
        said.append(
            f"The rope is longer than stated: from bead {motion.tracks.names[column]} to the hitch of {name}, which "
            f"held on to it, it measures {measured} mm (95 %), not {stated}. That is not "
            "taken for a rope that came off. Measure it again, and correct length_m and at_m of its beads."
        )
    return said


def _what_went_before(
    motion: Motion,
    moved: MachineMotion,
    arm: ArmMotion | None,
    pull: PullSource | None,
    end: int,
    at_s: float,
    clock: MatchClock,
) -> str:
    """Pull and direction in the tenth of a second before an end came off, and what shook it then."""
    match_s = clock.match_time(motion.clip_s)
    just = (match_s > at_s - BEFORE_S) & (match_s <= at_s - typical_step_s(match_s) / 2)
    said, rope = "", motion.rope
    if pull is not None and np.isfinite(pull.tension_N[just]).any():
        most = int(np.nanargmax(np.where(just, pull.tension_N, np.nan)))
        load = format_interval(float(pull.tension_N[most]), float(pull.u_tension_N[most]), "N")
        said += f" In the tenth of a second before, it pulled with up to {load} (95 %)."
    if rope is not None and np.isfinite(rope.pull_dir_x[just, end]).any():
        x, y, z = (float(np.nanmean(d[just, end])) for d in (rope.pull_dir_x, rope.pull_dir_y, rope.pull_dir_z))
        heading = np.deg2rad(moved.heading_deg[just])
        back = float(np.nanmean(heading)) + np.pi if np.isfinite(heading).any() else np.arctan2(y, x)
        side = abs(float(np.degrees(np.angle(np.exp(1j * (np.arctan2(y, x) - back))))))
        rise = float(np.degrees(np.arctan2(z, np.hypot(x, y))))
        said += f" It ran {side:.0f}° off straight back and {abs(rise):.0f}° {'up' if rise > 0 else 'down'}wards."
    if rope is not None:
        snaps = (rope.slack[1:] == 0) & (rope.slack[:-1] == 1) & (match_s[1:] > at_s - SHOOK_S) & (match_s[1:] < at_s)
        if snaps.any():
            said += f" The rope had snapped taut {at_s - float(match_s[1:][snaps][-1]):.2f} s before."
    if arm is not None:
        near = (match_s > at_s - SHOOK_S) & (match_s < at_s + BEFORE_S)
        hard = np.where(near, arm.accel_m_s2, np.nan)
        if np.isfinite(hard).any() and np.nanmin(hard) < -K_95 * float(np.nanmedian(arm.u_accel_m_s2)):
            stop = int(np.nanargmin(hard))
            stopped = format_interval(-float(hard[stop]), float(arm.u_accel_m_s2[stop]))
            said += f" Its arm stopped at {stopped} m/s² (95 %) {abs(float(match_s[stop]) - at_s):.2f} s from then."
    return said


def beads_near(sheet: RunSheet, names: Sequence[str], end: int) -> list[tuple[int, float]]:
    """Columns of the tracked beads nearest an end, with the cord's length [m] from there to the hitch."""
    rope = sheet.rope
    if rope is None:
        return []
    arcs = sorted(((b.at_m if end == 0 else rope.length_m - b.at_m), b.name) for b in rope.beads if b.name in names)
    return [(list(names).index(name), arc) for arc, name in arcs[:NEAR_BEADS]]


def _watch_bead(
    motion: Motion,
    clock: MatchClock,
    machine: str,
    bead: tuple[int, float],
    hitch: tuple[FloatArray, FloatArray, FloatArray],
    unseen_m: float,
) -> Event | None:
    column, cord_m = bead
    real_s, places = motion.real_s, motion.places
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    apart_m = np.hypot(places.x_m[:, column] - hitch[0], places.y_m[:, column] - hitch[1])
    u_m = np.sqrt((places.u_x_m[:, column] ** 2 + places.u_y_m[:, column] ** 2) / 2 + hitch[2] ** 2)
    attached = np.isfinite(apart_m) & (match_s <= 0.5)
    # A knot or a misread sheet makes the cord longer than it says, the same before the pull as later.
    usual_m = float(np.median(apart_m[attached])) if attached.any() else 0.0
    reach_m = max(cord_m, usual_m)
    excess_m = apart_m - reach_m
    looked_at = (match_s > 0) & (match_s <= clock.duration_s) & np.isfinite(excess_m)
    for stretch in keep_long(looked_at & (excess_m > OFF_M + 3 * u_m), real_s, OFF_FOR_S):
        part = stretch.frames
        best, u_best = best_mean(excess_m[part], u_m[part], real_s[part], OFF_FOR_S)
        at_s, u_at_s = _date_leaving(excess_m, u_m, real_s, stretch.first)
        near = np.isfinite(excess_m) & (np.abs(real_s - at_s) < LEFT_WITHIN_S)
        noise = noise_of(excess_m[near & (real_s < at_s)]) if (near & (real_s < at_s)).sum() > LEAST_PLACES else 0.0
        fitted = date_start(real_s[near], excess_m[near], noise, LEAVES_M_S, at_s, unseen_m)
        at_s, u_at_s = fitted or (at_s, u_at_s)
        u_at_s = float(np.hypot(u_at_s, LEAPS_S / np.sqrt(12)))
        evidence = (
            f"Bead {motion.tracks.names[column]} ran {format_interval(1000 * best, 1000 * u_best)} mm (95 %) further "
            f"from the hitch of {machine} than the {1000 * reach_m:.0f} mm of cord between them allow."
        )
        chance = chance_above(best, u_best, OFF_M / 2)
        return Event("rope-off", machine, at_s - zero_s, float("nan"), u_at_s, chance, evidence)
    return None


def _date_leaving(excess_m: FloatArray, u_m: FloatArray, real_s: FloatArray, frame: int) -> tuple[float, float]:
    """When the excess began to grow: the middle of the last frame surely held and the first surely on its way.

    Held is what lies no further out than shortly before, `HELD_S`: a cord a little longer than known is taut beyond it.
    """
    step_s = typical_step_s(real_s)
    back = frame
    while back > 0 and not excess_m[back] < _held_until(excess_m, u_m, real_s, back):
        back -= 1
    first, level_m = back, _held_until(excess_m, u_m, real_s, back)
    while first < frame and not excess_m[first] > level_m:
        first += 1
    # Between them the end ran away: it was still there in the last frame within reach, or it would lie further off.
    at_s = 0.5 * float(real_s[back] + real_s[first])
    return at_s, float(max(real_s[first] - real_s[back], step_s) / np.sqrt(12))


def _held_until(excess_m: FloatArray, u_m: FloatArray, real_s: FloatArray, frame: int) -> float:
    """Up to which excess an end is held for all that is known at a frame: its cord's, or what it was shortly before."""
    before = excess_m[int(np.searchsorted(real_s, real_s[frame] - HELD_S)) : frame]
    before = before[np.isfinite(before)]
    usual_m = float(np.median(before)) if len(before) > LEAST_PLACES else 0.0
    return max(usual_m, 0.0) + 2 * float(u_m[frame])
