"""Which markers to look for, in the order that all tables keep."""

import numpy as np

from matchvision.records.sheet import HangTest, Machine, Run
from matchvision.records.tracks import MarkerPlan


def plan_markers(run: Run) -> tuple[MarkerPlan, ...]:
    """All markers of a run: rope by arc length, then each machine's own markers, then its wheels' rim marks.

    Returns
    -------
    tuple of MarkerPlan
        Empty where the sheet names no markers.
    """
    plans = [*_plan_rope(run)]
    for name, machine in run.sheet.machine.items():
        plans += _plan_machine(name, machine)
    return tuple(plans)


def _plan_rope(run: Run) -> list[MarkerPlan]:
    rope = run.sheet.rope
    if rope is None:
        return []
    radius = rope.bead_radius_m
    plans = [MarkerPlan(b.name, "bead", b.colour, radius, arc_m=b.at_m, sphere=True) for b in rope.beads]
    if rope.link is not None:
        first, second = rope.link.markers
        at_m = rope.link.from_m
        length_m = _length_under_no_load(run.hang_test)
        plans += [
            MarkerPlan(first.name, "link", first.colour, radius, arc_m=at_m, sphere=True),
            MarkerPlan(second.name, "link", second.colour, radius, arc_m=at_m + length_m, sphere=True),
        ]
    return sorted(plans, key=lambda p: p.arc_m if np.isfinite(p.arc_m) else rope.length_m)


def _length_under_no_load(test: HangTest | None) -> float:
    """Length of the link under no load [m], from the straight part of its hang test; NaN without one."""
    if test is None:
        return float("nan")
    if len(test.mass_kg) < 2 or np.ptp(test.mass_kg) == 0:
        return float(test.length_m[0])
    unloaded = test.mass_kg <= 0
    if unloaded.any():
        return float(np.mean(test.length_m[unloaded]))
    slope, start = np.polyfit(test.mass_kg, test.length_m, 1)
    return float(start) if slope > 0 else float(np.min(test.length_m))


def _plan_machine(name: str, machine: Machine) -> list[MarkerPlan]:
    plans = [
        MarkerPlan(
            f"{name}.{m.name}",
            "body",
            m.colour,
            m.radius_m,
            machine=name,
            at_m=m.at_m,
            sphere=m.shape == "sphere",
            on_reach=m.on == "reach",
            thickness_m=np.nan if m.thickness_m is None else m.thickness_m,
        )
        for m in machine.marker
    ]
    plans += [
        MarkerPlan(
            f"{name}.{mark.name}",
            "rim",
            mark.colour,
            mark.radius_m,
            machine=name,
            wheel=wheel.name,
            at_m=wheel.face_m,
            circle_m=mark.circle_m,
            angle_deg=mark.angle_deg,
            thickness_m=np.nan if mark.thickness_m is None else mark.thickness_m,
        )
        for wheel in machine.wheel
        for mark in wheel.rim
    ]
    return plans
