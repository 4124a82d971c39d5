"""A machine's own limits under a known pull: the grip that it uses while it slides, and its greatest steady pull."""

from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.practice.budgets import Part, weigh
from matchvision.practice.facts import U_GRAVITY_M_S2, gravity, in_run, mass_of, span_of
from matchvision.practice.series import longest_run, mean_over_blocks
from matchvision.practice.tension import SHORTEST_S, Tension
from matchvision.records.events import Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run

#: Words of wheel states in which the ground's friction is used up.
SLIDES: Final = ("slipping", "spinning")
#: The beginning and the end of a slide are dated to about this [s].
EDGE_S: Final = 0.1
#: A machine stands below this speed [m/s].
STANDS_M_S: Final = 0.010
#: It pulls with all it has where the pull is this share of its greatest or more; the pull may still grow there …
STEADY_RATIO: Final = 0.9
#: … so that the mean is taken over the last of it [s].
LAST_S: Final = 0.5


def measure_own_grip(
    run: Run, name: str, motion: Motion, clock: MatchClock, pull: Pull | None, grip: Grip | None
) -> PracticeParameter | None:
    """Sliding grip of a machine whose driven wheels slid for long enough; None where they did not.

    Notes
    -----
    Mean of traction over load while they slide. What the pull's sources have in common stays in full.
    """
    traction = None if pull is None else next((t for t in pull.traction if t.machine == name), None)
    fused = None if pull is None else pull.source("fused")
    if traction is None or grip is None or fused is None:
        return None
    states = [words for (machine, _), words in grip.grip_state.items() if machine == name]
    slides = np.zeros(len(motion.real_s), dtype=np.bool_)
    for words in states:
        slides |= np.isin(np.array(words), SLIDES)
    slides = longest_run(slides & in_run(clock, motion) & np.isfinite(traction.grip_used), motion.real_s)
    if not slides.any():
        return None
    first, last = motion.real_s[slides][[0, -1]]
    inner = slides & (motion.real_s >= first + EDGE_S) & (motion.real_s <= last - EDGE_S)
    if not inner.any() or np.ptp(motion.real_s[inner]) < SHORTEST_S:
        return None
    tension_N, common_N = fused.tension_N[inner], fused.u_common_N[inner]
    u_common_ratio = float(np.nanmean(common_N / np.maximum(tension_N, 1e-6)))
    u_common = np.nanmean(traction.grip_used[inner]) * u_common_ratio
    u_own = np.sqrt(np.maximum(traction.u_grip_used**2 - u_common**2, 0.0))
    mean = mean_over_blocks(traction.grip_used, u_own, motion.real_s, inner.astype(float))
    mass = mass_of(name, run.sheet.machine[name])
    parts = [
        Part("scatter over the slide", mean.u, mean.degrees),
        Part(
            "pull, common to all frames",
            mean.value * u_common_ratio,
            value=float(np.nanmean(tension_N)),
            u_value=float(np.nanmean(common_N)),
            value_unit="N",
        ),
        Part(
            mass.name,
            mean.value * float(mass.u) / float(mass.value),
            value=float(mass.value),
            u_value=float(mass.u),
            value_unit="kg",
        ),
        Part(
            "local gravity",
            mean.value * U_GRAVITY_M_S2 / float(gravity().value),
            value=float(gravity().value),
            u_value=U_GRAVITY_M_S2,
            value_unit="m/s²",
        ),
    ]
    span_s = span_of(inner, clock, motion)
    how = f"The driven wheels of {name} slid for {last - first:.2f} s; the grip that they used is then all there is."
    return weigh(
        ("machine", name, "drive", "grip_sliding"), f"sliding grip of {name}", mean.value, "1", parts, how, span_s
    )


def measure_greatest_pull(name: str, motion: Motion, clock: MatchClock, tension: Tension) -> PracticeParameter:
    """Steady pull of a machine that stands at the end of its rope, as a forecast states it beforehand.

    Raises
    ------
    CannotMeasure
        Where it never stood pulling.
    """
    moved = motion.machines[name]
    stands = in_run(clock, motion) & (np.abs(moved.speed_m_s) < np.maximum(STANDS_M_S, 2 * moved.u_speed_m_s))
    pulls = np.where(stands & np.isfinite(tension.value_N), tension.value_N, np.nan)
    if not np.isfinite(pulls).any():
        raise CannotMeasure(f"{name} never stood pulling", do="hitch the rope's other end to something that holds")
    greatest_N = float(np.nanpercentile(pulls, 95))
    steady = longest_run(np.nan_to_num(pulls) >= STEADY_RATIO * greatest_N, motion.real_s)
    if np.ptp(motion.real_s[steady]) < SHORTEST_S:
        raise CannotMeasure(f"{name} did not stand pulling for {SHORTEST_S:g} s", do="let it pull for longer")
    steady &= motion.real_s >= motion.real_s[steady][-1] - LAST_S
    mean = mean_over_blocks(tension.value_N, tension.own_N, motion.real_s, steady.astype(float))
    common_N = float(np.mean(np.asarray(tension.common.u)[steady]))
    parts = [
        Part("scatter while it stood", mean.u, mean.degrees),
        Part(tension.common.name, common_N, value=mean.value, u_value=common_N, value_unit="N", sensitivity=1.0),
    ]
    span_s = span_of(steady, clock, motion)
    how = f"{name} stood pulling; mean over the last {span_s[1] - span_s[0]:.2f} s of it."
    return weigh(
        ("forecast", name, "peak_pull_N"), f"steady pull of {name}", mean.value, "N", parts, how, span_s, stated=False
    )
