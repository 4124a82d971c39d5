"""By how much machines turned, found beside true, for `benchmarks.events`."""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from matchvision.filming import Course, Scene
from matchvision.records.motion import MatchClock, Motion

#: A turn of this much counts, and is to be found to this.
TURNED_DEG: Final = 10.0
WITHIN_DEG: Final = 1.0


def turn_errors(scene: Scene, course: Course, motion: Motion) -> Iterator[tuple[float, float]]:
    """Error and u [deg] of each machine's greatest turn from where it stood at the start, where it is one."""
    clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
    match_s = clock.match_time(motion.clip_s)
    for name, moved in motion.machines.items():
        heading = np.degrees(np.interp(motion.clip_s, course.clip_s, course.machines[name].heading_rad))
        true = heading - np.interp(clock.start_clip_s, motion.clip_s, heading)
        standing = np.isfinite(moved.heading_deg) & (match_s > -0.5) & (match_s <= 0.0)
        inside = np.isfinite(moved.heading_deg) & (match_s >= 0.0) & (match_s <= clock.duration_s)
        if not (standing.any() and inside.any()):
            continue
        most = int(np.argmax(np.where(inside, np.abs(true), -np.inf)))
        if np.abs(true[most]) < TURNED_DEG:
            continue
        found = float(moved.heading_deg[most] - np.median(moved.heading_deg[standing]))
        u = np.hypot(moved.u_heading_deg[most], np.median(moved.u_heading_deg[standing]))
        yield (found - float(true[most]) + 180.0) % 360.0 - 180.0, float(u)


def turn_row(source: str, errors: Sequence[tuple[float, float]]) -> dict[str, object]:
    """Turns of one source as a row: how many there were, how many were found to 1°, and their errors."""
    off, u = np.array(errors, dtype=np.float64).reshape(-1, 2).T
    return {
        "source": source, "kind": "turned by", "true": len(off), "found": int((np.abs(off) <= WITHIN_DEG).sum()),
        "false": 0, "inside_U95_ratio": float(np.mean(np.abs(off) < 1.96 * u)) if len(off) else np.nan,
        "turn_rms_deg": float(np.sqrt(np.mean(off**2))) if len(off) else np.nan,
        "turn_rms_error_over_rms_u": float(np.sqrt(np.mean(off**2) / np.mean(u**2))) if len(off) else np.nan,
        "turn_max_deg": float(np.abs(off).max()) if len(off) else np.nan,
    }  # fmt: skip
