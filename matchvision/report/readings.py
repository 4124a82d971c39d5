"""What is read off an analysis for drawing: times, sides, the place of the run, the pull that is shown."""

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.motion import RopeMotion
from matchvision.records.pull import PullSource
from matchvision.records.results import Analysis
from matchvision.uncertainty import K_95, beyond_share, share_of_whole

#: From a standard uncertainty to the half width of a 95 % interval.
COVERAGE = K_95
#: How much of the clip before the start and after the end is drawn [s].
AROUND_S = 0.5

SOURCE_WORDS: Final = {
    "link": "sprung link",
    "stretch": "stretch of the rope",
    "inertia": "known load",
    "momentum": "momentum while the wheels slide",
    "drive": "drive",
    "fused": "all sources together",
}


def match_times(analysis: Analysis) -> FloatArray:
    """Match time [s] of every frame."""
    return analysis.clock.match_time(analysis.motion.clip_s)


def side_role(analysis: Analysis, machine: str) -> str:
    """The colour role of a machine: that of its home side."""
    described = analysis.run.sheet.machine.get(machine)
    return "plus" if described is not None and described.home == "+x" else "minus"


def side_name(analysis: Analysis, home: str) -> str:
    """The machine whose home is that side, or the side itself."""
    names = [name for name, machine in analysis.run.sheet.machine.items() if machine.home == home]
    return names[0] if names else ("the −x side" if home == "-x" else "the +x side")


def rope_middle(rope: RopeMotion) -> tuple[FloatArray, FloatArray]:
    """Place of the rope's middle [m], measured along the rope from the centre line, and its u.

    It lies on the +x side by so much as that side holds more than half of the rope.
    """
    sides = (rope.on_plus_x_m, rope.u_on_plus_x_m, rope.on_minus_x_m, rope.u_on_minus_x_m)
    return beyond_share(*sides, u_whole=rope.u_total_m)


def rope_share(rope: RopeMotion) -> tuple[FloatArray, FloatArray]:
    """Share of the rope on the +x side (0 to 1) and its u."""
    sides = (rope.on_plus_x_m, rope.u_on_plus_x_m, rope.on_minus_x_m, rope.u_on_minus_x_m)
    return share_of_whole(*sides, rope.u_total_m)


def ruled_rope(analysis: Analysis, frame: int) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The rope as it was ruled on: its middle [m] and +x share, each with its u. None where no share was ruled on.

    The clock stops between two frames. Wherever that moment is shown, ``frame`` being the one nearest to it, the
    numbers of the ruling are told, so that no drawing contradicts the verdict by the bit that the rope moved between.

    Notes
    -----
    Checked by: tests/report/test_page.py::test_the_drawn_margin_is_that_of_the_verdict
    """
    ruling, rope, rules = analysis.verdict.ruling, analysis.motion.rope, analysis.run.sheet.rules
    if ruling is None or rope is None or rules.decide != "rope-share" or not math.isfinite(ruling.margin_m):
        return None
    middle_m, u_middle_m = (float(column[frame]) for column in rope_middle(rope))
    if not (math.isfinite(middle_m) and math.isfinite(ruling.share)):
        return None
    leader = analysis.run.sheet.machine.get(ruling.winner or "")
    on_plus = middle_m >= 0 if leader is None else leader.home == "+x"
    half = rules.share_to_win == 0.5
    # Beyond half rather than beyond the share that wins; the rope's length hardly changes within half a frame.
    beyond_m = ruling.margin_m + (rules.share_to_win - 0.5) * float(rope.on_plus_x_m[frame] + rope.on_minus_x_m[frame])
    share = ruling.share if on_plus else 1 - ruling.share
    return (beyond_m if on_plus else -beyond_m, ruling.u_margin_m if half else u_middle_m), (share, ruling.u_share)


def place_of_run(analysis: Analysis) -> tuple[str, FloatArray, FloatArray]:
    """What stands for the place of the run: its name, x [m] and u on all frames.

    A dragged load where there is one (the table under it is what matters), else the rope's middle, else a machine.
    """
    motion = analysis.motion
    loads = [n for n, m in analysis.run.sheet.machine.items() if m.load is not None and n in motion.machines]
    if len(loads) == 1:
        moved = motion.machines[loads[0]]
        return f"place of {loads[0]}", moved.x_m, moved.u_x_m
    if motion.rope is not None and np.isfinite(motion.rope.on_plus_x_m).any():
        return "place of the rope's middle", *rope_middle(motion.rope)
    for name, moved in motion.machines.items():
        return f"place of {name}", moved.x_m, moved.u_x_m
    nothing = np.full(len(motion.clip_s), math.nan)
    return "place", nothing, nothing


def predicted_place(analysis: Analysis) -> FloatArray | None:
    """The same place in the forecast [m], on the forecast's time grid; None where it was not predicted."""
    forecast, sheet = analysis.forecast, analysis.run.sheet
    if forecast is None:
        return None
    name = place_of_run(analysis)[0].removeprefix("place of ")
    if name in forecast.machines:
        return forecast.machines[name].x_m
    if name == "the rope's middle" and sheet.rope is not None:
        return forecast.on_plus_x_m - sheet.rope.length_m / 2
    return None


def place_limits(analysis: Analysis) -> tuple[float, float]:
    """Limits of x [m] for drawings over the place: the stretch of table that the run used, centre line included.

    The whole table where the run used most of it or the place is not known.
    """
    half_m = analysis.run.sheet.table.length_m / 2
    place_m = place_of_run(analysis)[1][frames_shown(analysis, match_only=True)]
    where = predicted_place(analysis)
    used = np.concatenate([place_m, [] if where is None else where, [0.0]])
    used = used[np.isfinite(used)]
    if len(used) < 2:
        return -half_m, half_m
    room = max(0.05, 0.12 * float(np.ptp(used)))
    low, high = float(used.min()) - room, float(used.max()) + room
    if high - low > 1.4 * half_m:
        return -half_m, half_m
    return max(low, -half_m), min(high, half_m)


def shown_sources(analysis: Analysis) -> tuple[PullSource, ...]:
    """Sources of pull that say anything, the most trusted last.

    That is all together; but the only one that is independent of the forecast, or there at all, is not shown twice.
    """
    if analysis.pull is None:
        return ()
    known = [s for s in analysis.pull.sources if np.isfinite(s.tension_N).any()]
    single = [s for s in known if s.source != "fused"]
    trusted = [s for s in single if s.independent] or single
    if len(trusted) == 1:
        return (*(s for s in single if s is not trusted[0]), trusted[0])
    return (*single, *(s for s in known if s.source == "fused"))


def best_pull(analysis: Analysis) -> PullSource | None:
    """All sources together, or the only one to be trusted; None where pull was not measured."""
    return (shown_sources(analysis) or (None,))[-1]


def source_words(source: PullSource) -> str:
    """A source of pull in words, with a warning where it is not independent."""
    words = SOURCE_WORDS.get(source.source, source.source)
    return words if source.independent else f"{words} (leans on the forecast)"


def greatest_in_match(analysis: Analysis, column: FloatArray) -> int | None:
    """Frame of a column's greatest value while the clock ran; None where it is not known then."""
    t_s = match_times(analysis)
    inside = (t_s >= 0) & (t_s <= analysis.clock.duration_s) & np.isfinite(column)
    return int(np.argmax(np.where(inside, column, -np.inf))) if inside.any() else None


def frames_shown(analysis: Analysis, *, match_only: bool = False) -> npt.NDArray[np.bool_]:
    """Which frames are drawn: those of the match, with a little before and after unless ``match_only``."""
    t_s = match_times(analysis)
    around = 0.0 if match_only else AROUND_S
    return np.asarray((t_s >= -around) & (t_s <= analysis.clock.duration_s + around))
