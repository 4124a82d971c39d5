"""Each machine's map of grip, over the place on the table and over time, and the sentence that it comes to."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.grip.drive import motor_line
from matchvision.grip.evidence import EVERYWHERE
from matchvision.grip.sides import tell_sides_apart
from matchvision.grip.tales import weigh_tales
from matchvision.grip.using import GRIPS, LOOK_S, SLIDES, UNSURE, GripUse, look_at_use
from matchvision.grip.wheels import WatchedWheel
from matchvision.records.gripmap import GripCell, GripMap, GripTale
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run
from matchvision.uncertainty import format_interval

#: Sides of a cell: a wheel's footprint and what it passes in half a second of a usual match.
CELL_M: Final = 0.05
CELL_S: Final = 0.5
#: A tale is told as what happened where it is at least this probable; else what is left is listed.
TOLD: Final = 0.9
#: Tales less probable than this are not listed.
LISTED: Final = 0.05


def map_grip(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, watched: Sequence[WatchedWheel]
) -> list[GripMap]:
    """A map for every machine with a watched driven wheel and a known traction.

    Notes
    -----
    Checked by: tests/grip/test_tales.py::test_place_time_and_matter_are_told_apart
    """
    maps = []
    for traction in pull.traction if pull is not None else ():
        mine = [w for w in watched if w.motion.machine == traction.machine]
        moved = motion.machines.get(traction.machine)
        if moved is None or not mine:
            continue
        use = look_at_use(run.sheet.machine[traction.machine], moved, mine, traction, motion.real_s, clock)
        if use is None:
            continue
        line = motor_line(run, traction.machine, clock.match_time(motion.clip_s))
        seen = next(w for w in mine if w.motion.driven)
        logged = run.commands.get(traction.machine)
        if line is not None and (logged is None or logged.shape[1] == 2):
            # Sides that are driven apart have no common line.
            half_track_m = abs(seen.sheet.face_m[1])
            use = tell_sides_apart(use, seen.motion, moved, traction, line, half_track_m, motion.real_s, clock)
        tales = tuple(weigh_tales(use))
        maps.append(GripMap(traction.machine, use.sides, tuple(cells_of(use)), tales, state_grip(use, tales)))
    return maps


def cells_of(use: GripUse) -> list[GripCell]:
    """The map's cells, by side, place and time; a side's place is the middle of its driven wheels."""
    cells = []
    for s, side in enumerate(use.sides):
        used, u_used = (use.own[s], use.u_own[s]) if use.apart else (use.used, use.u_used)
        alone = use.one_slides & (use.state[s] == SLIDES) & (not use.apart)
        kinds = np.where(use.state[s] == GRIPS, "at least", np.where(alone, "at most", "available"))
        known = np.isfinite(used) & (use.state[s] != UNSURE)
        column = np.floor(use.x_m[s].mean(axis=0) / CELL_M).astype(int)
        row = np.floor(use.t_s / CELL_S).astype(int)
        keys = sorted({(int(column[k]), int(row[k]), str(kinds[k])) for k in np.flatnonzero(known)})
        for c, r, kind in keys:
            at = (column == c) & (row == r) & (kinds == kind) & known
            values, u = used[at], float(np.median(u_used[at]))
            if kind == "available":
                value = float(values.mean())
                if len(values) > 1:
                    u = float(np.hypot(u, values.std(ddof=1) / np.sqrt(len(values))))
            else:
                value = float(values.max() if kind == "at least" else values.min())
            cells.append(
                GripCell(
                    use.machine, side, CELL_M * c, CELL_M * (c + 1), CELL_S * r, CELL_S * (r + 1), kind, value, u,
                    LOOK_S * float(at.sum()),
                )
            )  # fmt: skip
    return cells


def state_grip(use: GripUse, tales: Sequence[GripTale]) -> str:
    """What the map comes to, as sentences."""
    grips = use.all_grip
    most = int(np.argmax(np.where(grips, use.used, -np.inf))) if grips.any() else None
    if not tales:
        if most is None:
            return ""
        said = format_interval(float(use.used[most]), float(use.u_used[most]))
        slid = "hardly slid" if (~grips).any() else "never slid"
        return f"The wheels of {use.machine} {slid}; they used up to {said} of grip (95 %)."
    best = tales[0]
    wheels = f"the wheels of {use.machine}"
    if use.apart:
        wheels += f" (its {use.sides[0]} side seen, the other told by its drive, if that did what was set or planned)"
    elif len(use.sides) == 1:
        wheels += f" (its {use.sides[0]} side is watched)"
    if best.probability >= TOLD and best.kind != "other":
        return f"Where {wheels} slid: {tell(best)} ({_chance(best)})."
    listed = [t for t in tales if t.probability >= LISTED]
    return (
        f"Why {wheels} slid cannot be told surely from grip over place and time: "
        + "; or ".join(f"{tell(t)} ({_chance(t)})" for t in listed)
        + "."
        + _told_side(tales)
        + _why_open(listed)
    )


def _why_open(listed: Sequence[GripTale]) -> str:
    """Why a stretch of table cannot be told from what else changed, where no wheel came over its far edge; else ""."""
    stretches = [tale for tale in listed if tale.kind in {"place", "matter"}]
    if not stretches or any(np.isfinite(tale.from_x_m) and np.isfinite(tale.to_x_m) for tale in stretches):
        return ""
    return (
        " No wheel came over that stretch's far edge and gripped again: a slippery place, grip that was lost at that "
        "moment and more asked of the wheels from there on look alike. A run that passes over it, or comes back, tells."
    )


def _told_side(tales: Sequence[GripTale]) -> str:
    """The side under which grip is less, where that is told whatever else is not; else ""."""
    for side in ("left", "right"):
        chance = sum(t.probability for t in tales if t.side == side)
        if chance >= TOLD:
            return f" That it was under its {side} side is told ({_percent(chance)})."
    return ""


def belonging(tales: Sequence[GripTale]) -> str:
    """What lost grip belongs to, as a sentence for a slide's evidence; "" where it is not told or nothing was lost."""
    if not tales or tales[0].probability < TOLD or tales[0].kind in EVERYWHERE:
        return ""
    return f" Over place and time: {tell(tales[0])} ({_chance(tales[0])})."


def tell(tale: GripTale) -> str:
    """One tale in words, with its numbers."""
    grip, less = (
        format_interval(value, u)
        for value, u in ((tale.grip_ratio, tale.u_grip_ratio), (tale.less_grip_ratio, tale.u_less_grip_ratio))
    )
    side = "" if tale.side == "both" else f" under its {tale.side} side"
    where = _where(tale)
    if tale.kind == "other":
        return "something else"
    if tale.kind == "even":
        return f"one grip of {grip} throughout, and more was asked of it"
    if tale.kind == "place":
        return f"less grip at one place{side}, {less} instead of {grip} {where}, at any time"
    since = f"{format_interval(tale.from_s, tale.u_from_s)} s on" if np.isfinite(tale.from_s) else ""
    until = f"until {tale.until_s:.1f} s" if np.isfinite(tale.until_s) else ""
    when = f"from {since}" + (f" {until}" if until else "") if since else until
    if tale.kind == "time":
        return f"less grip {when}{side}, {less} instead of {grip}, wherever it was"
    return f"less grip {when}{side} at one place, {less} instead of {grip} {where}, where there was more before"


def _where(tale: GripTale) -> str:
    """A tale's stretch of table; an end that no wheel passed is none."""
    begin, end = (
        f"{format_interval(value, u)} m" if np.isfinite(value) else ""
        for value, u in ((tale.from_x_m, tale.u_from_x_m), (tale.to_x_m, tale.u_to_x_m))
    )
    if begin and end:
        return f"for x from {begin} to {end}"
    return f"for x beyond {begin}" if begin else f"for x below {end}"


def _chance(tale: GripTale) -> str:
    return _percent(tale.probability)


def _percent(chance: float) -> str:
    percent = 100 * chance
    return "over 99 %" if percent > 99 else f"{percent:.0f} %"
