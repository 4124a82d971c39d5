"""Coasting down: rolling resistance from how a machine slows that nothing drives."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.profile import surface_slope
from matchvision.practice.budgets import Known, Numbers, Part, parts_of, weigh
from matchvision.practice.facts import (
    drive_facts,
    gravity,
    in_run,
    mass_of,
    radius_of,
    span_of,
    speed_along,
    turning_mass,
)
from matchvision.practice.series import fit_curve, longest_run
from matchvision.practice.travel import follow
from matchvision.records.camera import Cameras
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter
from matchvision.records.sheet import Run

#: Slower than this a machine is about to stop, where friction at rest begins to count [m/s].
SLOWEST_M_S: Final = 0.03
#: A hand that lets go gives its last push within this time [s].
LET_GO_S: Final = 0.1
#: Shorter coasting leaves the slowing down too unsure [s].
SHORTEST_S: Final = 0.5


def measure_coast(run: Run, name: str, motion: Motion, cameras: Cameras, clock: MatchClock) -> PracticeParameter:
    """Rolling resistance, force over weight, with everything that slows the freely turning wheels in it.

    Raises
    ------
    CannotMeasure
        Where it did not coast for half a second, or facts are missing.

    Notes
    -----
    ``c = ((m + I/r²) d / (m g) − sin θ) / cos θ``: d is how it slows, from a parabola through its markers' way; θ the
    climb along its way.
    """
    machine, moved = run.sheet.machine[name], motion.machines[name]
    mass, facts = mass_of(name, machine), drive_facts(run, name).drive
    t_s = clock.match_time(motion.clip_s)
    going = speed_along(moved) > np.maximum(SLOWEST_M_S, 3 * moved.u_speed_m_s)
    frames = longest_run(in_run(clock, motion) & (t_s > LET_GO_S) & going, motion.real_s)
    if not frames.any() or np.ptp(motion.real_s[frames]) < SHORTEST_S:
        raise CannotMeasure(
            f"{name} did not coast for {SHORTEST_S:g} s after the start",
            do="push it, let it go when the clock starts ([clock] start_s), and film until it stands",
        )
    trail = follow(name, motion, cameras, run.sheet.table.profile_m, frames)
    since_s = trail.real_s - trail.real_s.mean()
    design = np.stack([np.ones_like(since_s), since_s, -(since_s**2) / 2], axis=1)
    curve = fit_curve(design, trail.way(), trail.real_s)
    slowing = float(curve.coefficients[2])
    profile = run.sheet.table.profile_m
    climb = float(np.median(surface_slope(profile, moved.x_m[frames]))) * np.sign(trail.forward[0]) if profile else 0.0
    radius = radius_of(machine)
    wheels = Known("wheels", 0.0, 0.0, "kg") if radius is None else turning_mass(machine, facts, float(radius.value))
    inputs = [gravity(), mass, wheels]

    def resistance(values: Mapping[str, Numbers], slowing_m_s2: float = slowing) -> float:
        heavier = 1 + values[wheels.name] / values[mass.name]
        level = 1 / np.hypot(climb, 1.0)
        return float((heavier * slowing_m_s2 / values["local gravity"] - climb * level) / level)

    values: dict[str, Numbers] = {i.name: i.value for i in inputs}
    by_slowing = resistance(values, slowing + curve.u(2)) - resistance(values)

    def along(way: FloatArray) -> float:
        return resistance(values, float(np.linalg.lstsq(design, way, rcond=None)[0][2]))

    parts = [
        Part(
            "way in the picture", abs(by_slowing), curve.degrees, slowing, curve.u(2), "m/s²", by_slowing / curve.u(2)
        ),
        *trail.parts(along),
        *parts_of(resistance, inputs),
    ]
    span_s = span_of(trail.frames, clock, motion)
    how = (
        f"{name} coasted for {span_s[1] - span_s[0]:.2f} s and slowed by {1000 * slowing:.0f} mm/s²; friction of axles "
        "and gears that turned with the wheels is in it."
    )
    return weigh(
        ("machine", name, "drive", "rolling_resistance"), f"rolling resistance of {name}", resistance(values), "1",
        parts, how, span_s,
    )  # fmt: skip
