"""Hands over the table: something large that comes in from its edge and is neither machine nor rope."""

from typing import Final

import numpy as np
from scipy.ndimage import binary_closing, label

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.lifting import leaned_when_told
from matchvision.records.events import Event
from matchvision.records.foreign import ForeignLook
from matchvision.records.motion import MachineMotion, MatchClock, Motion
from matchvision.records.sheet import Machine, Run

#: A hand hides at least this much of the table: four fingers' worth [m²].
LEAST_M2: Final = 0.004
#: It is there in at least so many looks in a row.
LEAST_LOOKS: Final = 3
#: Space left about machines and rope, for what the sheet does not say of their shape [m].
CLEAR_M: Final = 0.03
ROPE_CLEAR_M: Final = 0.04
#: A machine whose size nobody gave may be this large [m].
UNKNOWN_SIZE_M: Final = (0.35, 0.35, 0.20)
#: Two looks within this time show the same hand.
SAME_HAND_S: Final = 0.3


def find_touches(run: Run, motion: Motion, foreign: ForeignLook, clock: MatchClock) -> list[Event]:
    """Stretches in which a hand was in view over the table, before, during and after the match.

    What a machine or the rope may hide is left out wherever either of them ever was.

    Notes
    -----
    Checked by: tests/grip/test_touch.py::test_hand_from_the_edge_is_found
    """
    free = free_places(run, motion, foreign)
    cell_m2 = float(np.median(np.diff(foreign.x_m)) * np.median(np.diff(foreign.y_m)))
    areas = np.array(
        [hand_area(foreign.covered(k) & free, foreign.changed(k), cell_m2) for k in range(len(foreign.clip_s))]
    )
    match_s = clock.match_time(foreign.clip_s)
    step_s = float(np.median(np.diff(match_s)))
    events = []
    for first, last in reaches(areas, match_s):
        most = first + int(np.argmax(areas[first : last + 1]))
        place = _middle(foreign, foreign.covered(most) & free)
        when = (
            "before the start"
            if match_s[last] < 0
            else "while the clock ran"
            if match_s[first] < clock.duration_s
            else ("after the end")
        )
        evidence = (
            f"Something that is neither machine nor rope reached in over the table's edge {when}: up to "
            f"{1e4 * areas[most]:.0f} cm² of the table hidden about x = {place[0]:.2f} m, y = {place[1]:.2f} m."
        )
        chance = float(1 - np.exp(-areas[most] / LEAST_M2 * (last - first + 1) / LEAST_LOOKS))
        start_s = float(match_s[first]) - step_s / 2 if first > 0 else float(match_s[0])
        u_start_s = float(np.hypot(step_s / np.sqrt(3), clock.u_start_s))
        events.append(Event("touch", "", start_s, float(match_s[last]), u_start_s, chance, evidence))
    return events


def reaches(areas_m2: FloatArray, match_s: FloatArray) -> list[tuple[int, int]]:
    """First and last look of each reach over the table; one that between was hidden in part is one still.

    Notes
    -----
    Checked by: tests/grip/test_touch.py::test_a_hand_that_is_hidden_in_part_between_is_told_once
    """
    step_s = float(np.median(np.diff(match_s)))
    found: list[tuple[int, int]] = []
    for first, last in _stretches(areas_m2 >= LEAST_M2, match_s):
        if last - first + 1 < LEAST_LOOKS:
            continue
        # It came in from the edge with less than that to be seen.
        while first > 0 and areas_m2[first - 1] > 0 and match_s[first] - match_s[first - 1] < 2 * step_s:
            first -= 1
        while last < len(areas_m2) - 1 and areas_m2[last + 1] > 0 and match_s[last + 1] - match_s[last] < 2 * step_s:
            last += 1
        if found and first <= found[-1][1]:
            found[-1] = (found[-1][0], max(last, found[-1][1]))
        else:
            found.append((first, last))
    return found


def hand_area(covered: BoolArray, changed: BoolArray, cell_m2: float) -> float:
    """Area [m²] hidden in the largest piece that comes in from the grid's edge; 0 without one.

    A grey sleeve may pass for a shadow, so a piece may hang together by places that are only shaded.
    """
    if not covered.any():
        return 0.0
    whole = covered | changed
    joined = binary_closing(np.pad(whole, 1), np.ones((3, 3), dtype=np.bool_))[1:-1, 1:-1] | whole
    pieces, count = label(joined, np.ones((3, 3)))
    if count == 0:
        return 0.0
    edge = np.concatenate([pieces[:2].ravel(), pieces[-2:].ravel(), pieces[:, :2].ravel(), pieces[:, -2:].ravel()])
    sizes = np.bincount(pieces.ravel(), weights=covered.ravel())
    from_edge = np.unique(edge[edge > 0])
    return float(sizes[from_edge].max() * cell_m2) if len(from_edge) else 0.0


def free_places(run: Run, motion: Motion, foreign: ForeignLook) -> BoolArray:
    """Places (r, c) of the grid that neither machine nor rope ever hid from the camera."""
    grid_x, grid_y = np.meshgrid(foreign.x_m, foreign.y_m)
    places = np.stack([grid_x.ravel(), grid_y.ravel(), np.zeros(grid_x.size)], axis=-1)
    hidden = np.zeros(len(places), dtype=np.bool_)
    moments = np.clip(np.searchsorted(motion.clip_s, foreign.clip_s), 0, len(motion.clip_s) - 1)
    for name, moved in motion.machines.items():
        for k, moment in enumerate(moments):
            hidden |= _behind(run.sheet.machine[name], moved, int(moment), places, foreign.eye_m[k])
    for machine in run.sheet.machine.values():
        wall = machine.blocker
        if wall is not None and wall.at_m is not None:
            reach = float(np.hypot(*wall.size_m[:2])) / 2 + CLEAR_M
            hidden |= np.hypot(places[:, 0] - wall.at_m[0], places[:, 1] - wall.at_m[1]) < reach + wall.size_m[2]
    on_rope = [k for k, p in enumerate(motion.tracks.plans) if p.kind in {"bead", "link", "end"}]
    if on_rope:
        x, y = motion.places.x_m[moments][:, on_rope], motion.places.y_m[moments][:, on_rope]
        known = np.isfinite(x) & np.isfinite(y)
        cells = np.unique(np.rint(np.stack([x[known], y[known]], axis=-1) / 0.01).astype(np.int64), axis=0) * 0.01
        for at in cells:
            hidden |= (np.abs(places[:, 0] - at[0]) < ROPE_CLEAR_M) & (np.abs(places[:, 1] - at[1]) < ROPE_CLEAR_M)
    return np.asarray(~hidden.reshape(grid_x.shape), dtype=np.bool_)


def _behind(machine: Machine, moved: MachineMotion, moment: int, places: FloatArray, eye_m: FloatArray) -> BoolArray:
    """Places (k,) whose line of sight to the camera passes through a machine's box, with some room about it.

    One that leans, or leaned when it was lost from sight, may lie anyhow about where it was last known to stand: a body
    that turns over about one of its edges stays within its own diagonal of there.
    Slabs: T. L. Kay, J. T. Kajiya, "Ray tracing complex scenes", Proc. SIGGRAPH 86, p. 269.
    """
    lies = _lies_about(moved, moment)
    known = moment if lies is None else lies
    x_m, y_m, heading = float(moved.x_m[known]), float(moved.y_m[known]), float(moved.heading_deg[known])
    if not (np.isfinite(x_m) and np.isfinite(y_m)):
        return np.zeros(len(places), dtype=np.bool_)
    turn = np.deg2rad(heading if np.isfinite(heading) else 0.0 if machine.home == "+x" else 180.0)
    length, width, height = machine.size_m or UNKNOWN_SIZE_M
    if lies is not None:
        length = width = 2 * float(np.sqrt(length**2 + width**2 + height**2))
        height = length / 2
    out = machine.reach.stroke_m if machine.reach is not None else 0.0
    hitch = max(abs(machine.hitch.at_m[0]) - length / 2, 0.0) if machine.hitch is not None else 0.0
    low = np.array([-length / 2 - CLEAR_M - max(out, 0.0) - hitch, -width / 2 - CLEAR_M, -0.01])
    high = np.array([length / 2 + CLEAR_M, width / 2 + CLEAR_M, height + CLEAR_M])
    c, s = np.cos(turn), np.sin(turn)
    into = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    start = (places - [x_m, y_m, 0.0]) @ into.T
    step = (eye_m - [x_m, y_m, 0.0]) @ into.T - start
    step = np.where(np.abs(step) < 1e-9, 1e-9, step)
    near, far = (low - start) / step, (high - start) / step
    enters, leaves = np.minimum(near, far).max(axis=1), np.maximum(near, far).min(axis=1)
    return np.asarray((enters <= leaves) & (leaves > 0) & (enters < 1), dtype=np.bool_)


def _lies_about(moved: MachineMotion, moment: int) -> int | None:
    """The frame in which a machine that now leans, or leaned when it was lost, last stood; None for one that stands."""
    leaned = leaned_when_told(moved)[: moment + 1]
    if not leaned[-1]:
        return None
    stood = np.flatnonzero(np.isfinite(moved.x_m + moved.y_m)[: moment + 1] & ~leaned)
    return int(stood[-1]) if len(stood) else None


def _middle(foreign: ForeignLook, covered: BoolArray) -> tuple[float, float]:
    row, col = np.nonzero(covered)
    return float(foreign.x_m[col].mean()), float(foreign.y_m[row].mean())


def _stretches(holds: BoolArray, match_s: FloatArray) -> list[tuple[int, int]]:
    """First and last of neighbouring looks in which something holds; short gaps between them are closed."""
    found: list[tuple[int, int]] = []
    for k in np.flatnonzero(holds):
        if found and match_s[k] - match_s[found[-1][1]] <= SAME_HAND_S:
            found[-1] = (found[-1][0], int(k))
        else:
            found.append((int(k), int(k)))
    return found
