"""A load that is dragged: its sliding friction from the pull that drags it."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.profile import surface_slope
from matchvision.practice.budgets import Numbers, Part, parts_of, weigh
from matchvision.practice.facts import gravity, in_run, mass_of, span_of
from matchvision.practice.series import BLOCK_S, mean_over_blocks, u_change_m_s2
from matchvision.practice.tension import SHORTEST_S, Tension
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter
from matchvision.records.sheet import Run

#: A load slides from this speed on [m/s].
MOVING_M_S: Final = 0.010
#: Means over a quarter of a second that differ by more than this, over their middle, are not one friction: twice what
#: a link's ringing does to them.
UNEVEN_RATIO: Final = 0.25


def dragged_load(run: Run) -> str | None:
    """Name of the dragged load at the rope, if there is one."""
    ends = () if run.sheet.rope is None else run.sheet.rope.ends
    for name in ends:
        machine = run.sheet.machine.get(name)
        if machine is not None and machine.load is not None and not machine.load.hangs:
            return name
    return None


def _even_part(series: FloatArray, use: BoolArray, real_s: FloatArray) -> BoolArray:
    """The longest stretch in which the friction is one number: all of the way where it is even."""
    block = np.floor((real_s - real_s[use][0]) / BLOCK_S).astype(np.int64)
    names = np.unique(block[use])
    means = np.array([np.median(series[use & (block == k)]) for k in names])
    best = (0, 0)
    for start in range(len(names)):
        stop = start + 1
        while stop < len(names) and np.ptp(means[start : stop + 1]) <= UNEVEN_RATIO * abs(
            np.median(means[start : stop + 1])
        ):
            stop += 1
        if stop - start > best[1] - best[0]:
            best = (start, stop)
    return np.asarray(use & (block >= names[best[0]]) & (block <= names[best[1] - 1]), dtype=np.bool_)


def _reach(x_m: FloatArray, frames: BoolArray) -> str:
    low, high = float(np.min(x_m[frames])), float(np.max(x_m[frames]))
    return f"{low:.2f} to {high:.2f}".replace("-", "−")


def measure_load(
    run: Run, name: str, motion: Motion, clock: MatchClock, tension: Tension, warnings: list[str]
) -> PracticeParameter:
    """Sliding friction of a dragged load, force over load, the mean along its way.

    Raises
    ------
    CannotMeasure
        Where it was not seen moving under a known pull, or the pull itself rests on its friction.

    Notes
    -----
    Along its way: ``T A − m a − W sin θ = μ (W cos θ − T U)``, with A and U the shares of the pull along the surface
    and up from it, θ the climb.
    """
    machine, moved, rope = run.sheet.machine[name], motion.machines.get(name), motion.rope
    mass = mass_of(name, machine)
    if tension.source == "inertia":
        raise CannotMeasure(
            f"the pull on {name} is itself reckoned from its stated friction",
            do="set a sprung link with a hang test into the rope: [rope.link]",
        )
    if moved is None or rope is None or run.sheet.rope is None:
        raise CannotMeasure(f"{name} was not seen", do="give it markers on top")
    end = run.sheet.rope.ends.index(name)
    side = 1.0 if machine.home == "+x" else -1.0
    way = np.sign(side * moved.speed_m_s)
    profile = run.sheet.table.profile_m
    climb = np.arctan(surface_slope(profile, moved.x_m)) * way if profile else np.zeros_like(way)
    level, steep = np.cos(climb), np.sin(climb)
    ahead, above = way * rope.pull_dir_x[:, end], rope.pull_dir_z[:, end]
    along, up = ahead * level + above * steep, above * level - ahead * steep
    accel = np.sign(moved.speed_m_s) * moved.accel_m_s2
    use = in_run(clock, motion) & (np.abs(moved.speed_m_s) > np.maximum(MOVING_M_S, 2 * moved.u_speed_m_s))
    use &= np.isfinite(tension.value_N) & (rope.slack != 1) & (along > 0.2)

    def friction(values: Mapping[str, Numbers]) -> FloatArray:
        weight = values[mass.name] * values["local gravity"]
        pull = values[tension.common.name]
        return np.asarray((pull * along - values[mass.name] * accel - weight * steep) / (weight * level - pull * up))

    inputs = [tension.common, mass, gravity()]
    values: dict[str, Numbers] = {i.name: i.value for i in inputs}
    series = friction(values)
    use &= np.isfinite(series)
    if use.sum() < 5 or float(np.sum(np.gradient(motion.real_s)[use])) < SHORTEST_S:
        raise CannotMeasure(
            f"{name} was not dragged for {SHORTEST_S:g} s under a known pull", do="drag it farther, link in view"
        )
    weight_N = float(mass.value) * float(gravity().value)
    u_own = tension.own_N / weight_N
    even = _even_part(series, use, motion.real_s)
    mean = mean_over_blocks(series, u_own, motion.real_s, even.astype(float))
    parts = [
        Part("scatter along the way", mean.u, mean.degrees),
        Part(
            "speed at both ends", float(mass.value) * u_change_m_s2(moved.u_speed_m_s, even, motion.real_s) / weight_N
        ),
        *parts_of(lambda v: float(np.mean(friction(v)[even])), inputs),
    ]
    rest = use & ~even
    if float(np.sum(np.gradient(motion.real_s)[rest])) > BLOCK_S:
        other = float(np.median(series[rest]))
        warnings.append(
            f"The friction of {name} is not the same along its way: the number is that of the longest even part, at x "
            f"from {_reach(moved.x_m, even)} m; elsewhere it was about {other:.2f}."
        )
    use = even
    span_s = span_of(use, clock, motion)
    how = f"{name} was dragged with {float(np.mean(tension.value_N[use])):.1f} N on average, by the {tension.word}."
    return weigh(
        ("machine", name, "load", "grip_sliding"), f"sliding friction of {name}", mean.value, "1", parts, how, span_s
    )
