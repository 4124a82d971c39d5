"""What is known first, as soon as the clip has been watched: who has won, each side's share, and what moved."""

import math

import numpy as np

from matchvision.records.motion import MachineMotion, MatchClock, Motion
from matchvision.records.results import Doubts, FirstAnswer
from matchvision.records.sheet import Run
from matchvision.uncertainty import format_interval
from matchvision.verdict.comparing import find_peak
from matchvision.verdict.doubting import doubt
from matchvision.verdict.judging import rule
from matchvision.verdict.reading import read_at


def tell_first(run: Run, motion: Motion, clock: MatchClock, doubts: Doubts | None = None) -> FirstAnswer:
    """Ruling and motion in a few sentences; forecast, pull and causes, which take longer, change nothing in them.

    Notes
    -----
    Checked by: tests/verdict/test_first.py::test_the_first_answer_of_a_sample_clip_is_true
    """
    moved = [_tell_machine(run, one, motion, clock) for one in motion.machines.values()]
    return FirstAnswer(
        doubt(rule(run, motion, clock), doubts or Doubts()),
        tuple(said for said in (_tell_rope(run.sheet.run.kind, motion, clock), *moved) if said),
    )


def _tell_rope(kind: str, motion: Motion, clock: MatchClock) -> str:
    """Rope on each side when the clock stopped; nothing where it is not known, or the run has no sides."""
    if motion.rope is None or kind == "lift":  # over a pulley there are no sides of a middle
        return ""
    t_s, rope = clock.match_time(motion.clip_s), motion.rope
    minus = read_at(rope.on_minus_x_m, rope.u_on_minus_x_m, t_s, clock.duration_s)
    plus = read_at(rope.on_plus_x_m, rope.u_on_plus_x_m, t_s, clock.duration_s)
    if not (math.isfinite(minus[0]) and math.isfinite(plus[0])):
        return ""
    return f"Rope when the clock stopped: {format_interval(*minus, 'm')} on -x, {format_interval(*plus, 'm')} on +x."


def _tell_machine(run: Run, moved: MachineMotion, motion: Motion, clock: MatchClock) -> str:
    """How far a machine came towards its home, and how fast it was; nothing where neither is known."""
    t_s = clock.match_time(motion.clip_s)
    side = 1.0 if run.sheet.machine[moved.machine].home == "+x" else -1.0
    end_s = min(clock.duration_s, float(t_s[-1]))
    (start_m, u_start_m), (final_m, u_final_m) = (read_at(moved.x_m, moved.u_x_m, t_s, at) for at in (0.0, end_s))
    way_m, u_way_m = side * (final_m - start_m), math.hypot(u_start_m, u_final_m)
    peak = find_peak(np.abs(moved.speed_m_s), moved.u_speed_m_s, t_s, end_s)
    where = "towards its home" if way_m >= 0 else "away from its home"
    said = [f"{format_interval(abs(way_m), u_way_m, 'm')} {where}"] if math.isfinite(way_m) else []
    if peak is not None:
        said.append(f"{format_interval(*peak, 'm/s')} at its fastest")
    return f"{moved.machine}: {', '.join(said)}." if said else ""
