"""A machine or load on a slope: grip at rest from the tilt at which it slides, sliding grip from how it speeds up."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.camera import rotation_matrix
from matchvision.geometry.profile import surface_slope
from matchvision.practice.budgets import Known, Numbers, Part, parts_of, weigh
from matchvision.practice.facts import gravity, in_run, span_of, speed_along
from matchvision.practice.series import fit_curve, longest_run
from matchvision.practice.travel import Trail, follow
from matchvision.records.camera import Cameras
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter
from matchvision.records.sheet import Run

#: It slides once it goes this fast [m/s]; up to then it may creep.
SLIDES_M_S: Final = 0.02
#: A machine that stood for so long after the start was held by its grip, not by a hand [s].
STOOD_S: Final = 0.3
#: Sliding that lasts less long leaves the acceleration too unsure [s].
SHORTEST_S: Final = 0.25
#: Tilt from a camera that watches the table tip: how well tags lie flat and the table stays plane [deg].
U_SEEN_TILT_DEG: Final = 0.1


def measure_slope(
    run: Run, name: str, motion: Motion, cameras: Cameras, clock: MatchClock, missing: list[str]
) -> list[PracticeParameter]:
    """Grip at rest and while sliding; what the run does not show is left out.

    Raises
    ------
    CannotMeasure
        Where no tilt is known, it never slid, or it slid uphill.

    Notes
    -----
    At the tilt θ at which it begins to slide, having stood until then, ``μ_static = tan θ``; while it slides down with
    acceleration a, ``μ_sliding = tan θ − a / (g cos θ)``. All wheels must be held.
    """
    practice, moved = run.sheet.practice, motion.machines[name]
    slides = in_run(clock, motion) & (speed_along(moved) > np.maximum(SLIDES_M_S, 3 * moved.u_speed_m_s))
    frames = longest_run(slides, motion.real_s)
    if not frames.any():
        raise CannotMeasure(
            f"{name} did not slide", do="raise one end of the table until it does; hold its wheels with the brake"
        )
    tilt, tilts_deg = _tilt(run, name, motion, cameras, frames)
    trail = follow(name, motion, cameras, run.sheet.table.profile_m, frames)
    downhill = _check_downhill(run, name, trail, motion, frames)
    found = []
    stood = float(clock.match_time(motion.clip_s)[frames][0]) >= STOOD_S
    raised = practice.tilt_deg is not None or tilts_deg is not None
    if not practice.let_go and not (stood and raised):
        missing.append(
            f"{name} slid at once, or on a slope that nobody raised: nothing is said about its grip at rest. Raise the "
            "table slowly until it slides, and give that tilt: [practice] tilt_deg."
        )
    if not practice.let_go and stood and raised:
        found.append(_at_rest(name, run, tilt, tilts_deg, frames, clock, motion, downhill))
    if np.ptp(trail.real_s) >= SHORTEST_S:
        found.append(_sliding(name, run, tilt, trail, clock, motion, tilts_deg))
    if not found:
        raise CannotMeasure(
            f"{name} was let go and slid for less than {SHORTEST_S:g} s", do="give it more way to slide before it stops"
        )
    return found


def _tilt(run: Run, name: str, motion: Motion, cameras: Cameras, frames: BoolArray) -> tuple[Known, FloatArray | None]:
    """Tilt [deg] while it slid: as read off, by the table's profile, or as the camera saw the table tip."""
    practice, profile = run.sheet.practice, run.sheet.table.profile_m
    if practice.tilt_deg is not None:
        return Known("tilt of the table", practice.tilt_deg.value, practice.tilt_deg.u, "deg"), None
    if practice.level_s is not None and cameras.moves:
        seen = tilt_over_time(cameras, motion, practice.level_s)
        at = int(np.flatnonzero(frames)[0])
        return Known("tilt of the table, as seen", float(seen[at]), U_SEEN_TILT_DEG, "deg"), seen
    if profile:
        slope = float(np.median(surface_slope(profile, motion.machines[name].x_m[frames])))
        if slope != 0:
            return Known("tilt of the table", math.degrees(abs(math.atan(slope))), U_SEEN_TILT_DEG, "deg"), None
    raise CannotMeasure(
        "the table's tilt is not known",
        do="add [practice] tilt_deg = { value = 31.5, u = 0.3 } and high_end, read off when it slid; or level_s, where "
        "the camera stood still and watched the table being raised ([camera] moves = true)",
    )


def tilt_over_time(cameras: Cameras, motion: Motion, level_clip_s: float) -> FloatArray:
    """How far the table is tilted from where it lay at a clip time (n,) [deg], as a camera that stands still sees it.

    Notes
    -----
    The table's pose in the camera turns with it: with R its rotation, ``R_level^T R`` is the table's own turn, and its
    angle about y the tilt along x (the part about z, a turn of the whole table, is left out).
    """
    index = np.minimum(np.searchsorted(cameras.frame, motion.frame), len(cameras.parameters) - 1)
    turned = rotation_matrix(cameras.parameters[index, 9:12])
    near = np.abs(motion.clip_s - level_clip_s) <= 0.2
    level = turned[near if near.any() else [0]].mean(axis=0)
    first, _, last = np.linalg.svd(level)
    own = np.swapaxes(first @ last, -1, -2) @ turned
    # Up of the level table, seen in the tilted one: its lean along x.
    return np.asarray(np.rad2deg(np.arctan2(np.abs(own[:, 2, 0]), np.hypot(own[:, 2, 1], own[:, 2, 2]))))


def _check_downhill(run: Run, name: str, trail: Trail, motion: Motion, frames: BoolArray) -> float:
    """Sign of the slide along x; raises where it went towards the end that was high."""
    way = float(np.sign(trail.forward[0]))
    high = run.sheet.practice.high_end
    if high is not None and way == (1.0 if high == "+x" else -1.0):
        raise CannotMeasure(
            f"{name} slid towards {high}, which the sheet says was the high end", do="correct [practice] high_end"
        )
    return way


def _at_rest(
    name: str, run: Run, tilt: Known, tilts_deg: FloatArray | None, frames: BoolArray, clock: MatchClock,
    motion: Motion, downhill: float,
) -> PracticeParameter:  # fmt: skip
    onset_s = float(clock.match_time(motion.clip_s)[frames][0])

    def grip(values: Mapping[str, Numbers]) -> float:
        return math.tan(math.radians(float(np.asarray(values[tilt.name]))))

    parts = parts_of(grip, [tilt])
    if tilts_deg is not None:
        # Raised on while it began to slide: the tilt's change over the frames that the onset may lie in.
        at = int(np.flatnonzero(frames)[0])
        before = max(at - 6, 0)
        rise_deg = float(abs(tilts_deg[at] - tilts_deg[before])) / math.sqrt(3)
        parts.append(
            Part(
                "moment at which it began to slide",
                grip({tilt.name: tilt.value + rise_deg}) - grip({tilt.name: tilt.value}),
                value=0.0,
                u_value=rise_deg,
                value_unit="deg",
            )
        )
    end = "+x" if downhill > 0 else "-x"
    how = f"{name} began to slide towards {end} at {onset_s:.2f} s, at a tilt of {tilt.value:.1f}°."
    return weigh(
        _key(run, name, "grip_static"),
        f"grip at rest of {name}",
        grip({tilt.name: tilt.value}),
        "1",
        parts,
        how,
        (onset_s, onset_s),
    )


def _sliding(
    name: str, run: Run, tilt: Known, trail: Trail, clock: MatchClock, motion: Motion, tilts_deg: FloatArray | None
) -> PracticeParameter:
    since_s = trail.real_s - trail.real_s.mean()
    design = np.stack([np.ones_like(since_s), since_s, since_s**2 / 2], axis=1)
    curve = fit_curve(design, trail.way(), trail.real_s)
    accel = float(curve.coefficients[2])
    if tilts_deg is not None:
        tilt = Known(
            tilt.name,
            float(np.mean(tilts_deg[trail.frames])),
            float(np.hypot(tilt.u, np.ptp(tilts_deg[trail.frames]) / math.sqrt(12))),
            "deg",
        )

    def grip(values: Mapping[str, Numbers], accel_m_s2: float = accel) -> float:
        angle = math.radians(float(np.asarray(values[tilt.name])))
        return math.tan(angle) - accel_m_s2 / (float(np.asarray(values["local gravity"])) * math.cos(angle))

    inputs = [tilt, gravity()]
    values: dict[str, Numbers] = {i.name: i.value for i in inputs}
    change = grip(values, accel + curve.u(2)) - grip(values)
    parts = [
        Part("way in the picture", abs(change), curve.degrees, accel, curve.u(2), "m/s²", change / curve.u(2)),
        *trail.parts(lambda way: grip(values, float(np.linalg.lstsq(design, way, rcond=None)[0][2]))),
        *parts_of(grip, inputs),
    ]
    span_s = span_of(trail.frames, clock, motion)
    how = (
        f"{name} slid for {span_s[1] - span_s[0]:.2f} s at a tilt of {tilt.value:.1f}° and sped up by {accel:.2f} m/s²."
    )
    return weigh(_key(run, name, "grip_sliding"), f"sliding grip of {name}", grip(values), "1", parts, how, span_s)


def _key(run: Run, name: str, key: str) -> tuple[str, ...]:
    """A load's friction stands in its own block, a machine's grip with its drive."""
    if key == "grip_sliding" and run.sheet.machine[name].load is not None:
        return "machine", name, "load", key
    return "machine", name, "drive", key
