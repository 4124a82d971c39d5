"""When the match begins: as the sheet says, at a signal in the clip, or when the rope first moves."""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure, FootageError
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import MatchClock, Motion, StartSignal
from matchvision.records.sheet import Run

#: Faster than this is motion [m/s] …
MOVING_M_S = 0.010
#: … if it lasts for this long [s].
LASTING_S = 0.1


def set_clock(run: Run, motion: Motion, facts: ClipFacts, signal: StartSignal | None = None) -> MatchClock:
    """The match clock: the start that the sheet gives, a signal found in the clip, or the first motion of the rope.

    Parameters
    ----------
    signal : StartSignal, optional
        The start sound or lamp, where the sheet asks for one.

    Raises
    ------
    FootageError
        Where the stated start lies beyond the last picture.
    CannotMeasure
        Where the start is to be found in a way that is not to be had from this run.
    """
    clock = run.sheet.clock
    ratio = facts.real_per_clip_ratio(clock.recorded_fps)
    if clock.start_s is not None:
        last_s = float(motion.clip_s[-1])
        if clock.start_s >= last_s:
            raise FootageError(
                f"the match starts at {clock.start_s:.2f} s of the clip, but the last picture is at {last_s:.2f} s",
                where=f"{run.folder.name}/run.toml, [clock] start_s",
                do="give the clip time, in seconds from the first picture, at which the start signal is given",
            )
        return MatchClock(clock.start_s, clock.duration_s, ratio)
    if clock.start != "first-motion":
        if signal is not None:
            return MatchClock(signal.clip_s, clock.duration_s, ratio, signal.u_s * ratio, signal.source)
        raise CannotMeasure(
            f'no {clock.start} was found to start the match ([clock] start = "{clock.start}")',
            do="look up the clip time of the start signal and give it as [clock] start_s",
        )
    at_s, u_s, what = find_first_motion(motion)
    return MatchClock(at_s / ratio, clock.duration_s, ratio, u_s, f"first motion of {what}")


def find_first_motion(motion: Motion) -> tuple[float, float, str]:
    """Real time [s] of the first lasting motion, its standard uncertainty, and what moved: the rope, else a machine.

    Raises
    ------
    CannotMeasure
        Where nothing moves, or everything does from the first picture on.

    Notes
    -----
    The moment at which the smoothed speed passes `MOVING_M_S` (or four times its uncertainty, if that is more), between
    two frames by a straight line; u from the speed's uncertainty over the slope, and the frames' spacing over √12.
    Checked by: tests/motion/test_starting.py::test_first_motion_of_sample_clip
    """
    candidates = []
    if motion.rope is not None:
        candidates.append(("the rope", np.abs(motion.rope.speed_m_s), motion.rope.u_speed_m_s))
    else:
        candidates += [(name, np.abs(m.speed_m_s), m.u_speed_m_s) for name, m in motion.machines.items()]
    found = [(*_onset(motion.real_s, speed, u), name) for name, speed, u in candidates]
    found = [f for f in found if np.isfinite(f[0])]
    if not found:
        raise CannotMeasure(
            "no first motion was found: nothing that is tracked changes from rest to more than "
            f"{1000 * MOVING_M_S:.0f} mm/s for {LASTING_S:.1f} s",
            do="start filming a second before the start signal, or give its clip time as [clock] start_s",
        )
    return min(found)


def _onset(real_s: FloatArray, speed_m_s: FloatArray, u_m_s: FloatArray) -> tuple[float, float]:
    """Time and u of the first lasting passage of the threshold; NaN where there is none."""
    threshold = np.maximum(MOVING_M_S, 4 * np.nan_to_num(u_m_s))
    moving = speed_m_s > threshold
    tick = float(np.median(np.diff(real_s)))
    need = max(2, round(LASTING_S / tick))
    lasting = np.convolve(moving, np.ones(need), mode="full")[need - 1 :] >= need
    at = np.flatnonzero(lasting)
    if len(at) == 0 or at[0] == 0 or not np.isfinite(speed_m_s[at[0] - 1]):
        return float("nan"), float("nan")
    k = int(at[0])
    rise = speed_m_s[k] - speed_m_s[k - 1]
    step = real_s[k] - real_s[k - 1]
    share = float(np.clip((threshold[k] - speed_m_s[k - 1]) / rise, 0.0, 1.0)) if rise > 0 else 1.0
    slope = max(rise / step, 1e-3)
    return float(real_s[k - 1] + share * step), float(np.hypot(u_m_s[k] / slope, step / np.sqrt(12)))
