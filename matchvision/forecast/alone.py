"""One machine on a rope whose other end moves as it was measured, where nothing is known of who moved it."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from matchvision.mechanics.building import build_rope
from matchvision.mechanics.guessing import find_known
from matchvision.mechanics.machine import MatchModel, MeasuredEnd
from matchvision.mechanics.stated import Findings
from matchvision.records.forecast import ForecastRun
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.sheet import Run


def follow_end(run: Run, motion: Motion, clock: MatchClock) -> MeasuredEnd | None:
    """Where an unknown opponent's end of the rope was, over match time; None where that is not wanted or not known.

    Its hitch is carried along with its measured place and heading, at its height over the table.
    """
    rope = run.sheet.rope
    if rope is None or run.sheet.table.profile_m or not all(end in run.sheet.machine for end in rope.ends):
        return None
    known = find_known(run, rope.ends)
    if known is None:
        return None
    other = next(name for name in rope.ends if name != known)
    moved, hitch = motion.machines.get(other), run.sheet.machine[other].hitch
    if moved is None or hitch is None:
        return None
    heading = np.deg2rad(moved.heading_deg)
    x_m = moved.x_m + hitch.at_m[0] * np.cos(heading) - hitch.at_m[1] * np.sin(heading)
    y_m = moved.y_m + hitch.at_m[0] * np.sin(heading) + hitch.at_m[1] * np.cos(heading)
    t_s = clock.match_time(motion.clip_s)
    seen = np.isfinite(x_m) & np.isfinite(y_m)
    if seen.sum() < 2:
        return None
    way = tuple((float(t), float(x), float(y)) for t, x, y in zip(t_s[seen], x_m[seen], y_m[seen], strict=True))
    return MeasuredEnd(way, hitch.at_m[2])


def leave_places_out(forecast: ForecastRun) -> ForecastRun:
    """The forecast without places: on a rope whose end was measured they follow from that, to the rope's own length."""
    nothing = np.full(len(forecast.t_s), np.nan)
    places = dict.fromkeys(("x_m", "u_x_m", "y_m", "u_y_m"), nothing)
    machines = {name: replace(machine, **places) for name, machine in forecast.machines.items()}  # type: ignore[arg-type]
    return replace(forecast, machines=machines, on_plus_x_m=nothing, u_on_plus_x_m=nothing)


def tie_to(
    model: MatchModel, run: Run, values: Mapping[str, float], findings: Findings, end: MeasuredEnd
) -> MatchModel:
    """The machine of ``model`` on the sheet's rope, whose other end goes where it was measured."""
    names = (model.machines[0].name,)
    return replace(model, rope=build_rope(run, names, values, findings), far_end=end)
