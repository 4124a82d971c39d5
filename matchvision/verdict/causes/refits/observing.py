"""What of a measured run a predicted one is held against, and the same read from a computed match."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.match import MatchCourse
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run

#: Least spacing of the moments at which measured and computed are held together [s]; both are means over one such
#: spacing. Beyond so many moments they are put further apart: effort grows with the square of their number.
STEP_S: Final = 0.1
MOMENTS: Final = 120
#: A computed match is read this many times within each of them.
READINGS: Final = 5
#: Sizes below which a series' own greatest value is no scale for what a model gets wrong: m/s, degrees, N. A heading
#: drifts by a degree or two for reasons that no forecast knows: a share of 2 % to 4 % of this.
LEAST_SCALE: Final[Mapping[str, float]] = {"speed": 0.05, "surface": 0.05, "heading": 60.0, "tension": 5.0}


@dataclass(frozen=True, eq=False)
class Series:
    """One measured quantity on the moments of its `Observed`, (k,) arrays; ``values`` is NaN where it is not known.

    ``what``: "speed" towards home [m/s], "surface" speed of one side's wheels [m/s], "heading" [degrees] or "tension"
    [N]. ``side``: 0 left, 1 right for surface speeds. ``scale`` is the quantity's size, by which a model's own error is
    reckoned. ``aside_m``: how far to the left of its machine's middle a wheel stands.
    """

    what: str
    machine: str
    side: int
    values: FloatArray
    u: FloatArray
    scale: float
    aside_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Observed:
    """All that is held against a model, on match times ``t_s`` (k,); ``u_start_s``: of their zero, the start."""

    t_s: FloatArray
    series: tuple[Series, ...]
    u_start_s: float = 0.0

    @property
    def step_s(self) -> float:
        """Spacing of the moments; the first lies half of it after the start."""
        return 2.0 * float(self.t_s[0])


def observe(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, machines: tuple[str, ...], until_s: float
) -> Observed:
    """The measured series from the start to ``until_s``, as means over tenths of a second, or what gives 120 of them.

    Tension counts where a source that does not lean on the forecast gives it. The uncertainty of a mean is that of its
    frames, not averaged down: neighbours share theirs.
    """
    step_s = max(STEP_S, until_s / MOMENTS)
    t_s = np.arange(step_s / 2, until_s, step_s)
    frames_s = clock.match_time(motion.clip_s)
    told: list[Series] = []

    def add(what: str, machine: str, side: int, values: FloatArray, u_values: FloatArray, aside_m: float = 0.0) -> None:
        mean, u = _means(frames_s, values, t_s, step_s), _means(frames_s, u_values, t_s, step_s)
        mean = np.where(np.isfinite(u), mean, np.nan)
        known = mean[np.isfinite(mean)]
        if len(known) >= 5:
            scale = max(LEAST_SCALE[what], float(np.max(np.abs(known - (known[0] if what == "heading" else 0.0)))))
            told.append(Series(what, machine, side, mean, u, scale, aside_m))

    for name in machines:
        moved = motion.machines.get(name)
        if moved is not None:
            add("speed", name, 0, moved.speed_m_s, moved.u_speed_m_s)
            add("heading", name, 0, moved.heading_deg, moved.u_heading_deg)
        facts = {wheel.name: wheel for wheel in run.sheet.machine[name].wheel}
        for wheel in motion.wheels:
            if wheel.machine == name and wheel.driven:
                aside_m = facts[wheel.wheel].face_m[1]
                side = 0 if aside_m >= 0 else 1
                add("surface", name, side, wheel.surface_speed_m_s, wheel.u_surface_speed_m_s, aside_m)
    fused = pull.source("fused") if pull is not None else None
    if fused is not None and fused.independent and len(machines) == 2:
        add("tension", "", 0, fused.tension_N, fused.u_tension_N)
    return Observed(t_s, tuple(told), clock.u_start_s)


def reading_times(observed: Observed) -> FloatArray:
    """The times (from 0) on which a match is computed so that `read_course` can take the same means."""
    read_s = observed.step_s / READINGS
    return np.arange(0.0, observed.t_s[-1] + observed.step_s / 2 + read_s / 2, read_s)


def read_course(
    observed: Observed,
    course: MatchCourse,
    machines: tuple[str, ...],
    homes: Mapping[str, float],
    radii: Mapping[str, float],
) -> tuple[FloatArray, ...]:
    """The same series of a computed match on `reading_times`: one (k,) array each, in the order of the observed ones.

    ``homes`` is the sign of x towards home, ``radii`` the wheels' radius [m], by machine.
    """
    out = []
    for series in observed.series:
        if series.what == "tension":
            values = course.tension_N
        else:
            own = course.machines[machines.index(series.machine)]
            if series.what == "speed":
                values = homes[series.machine] * own.velocity_x_m_s
            elif series.what == "heading":
                values = np.rad2deg(own.heading_rad)
            else:
                values = own.wheel_rates_rad_s[:, series.side] * radii[series.machine]
        out.append(_means(course.t_s, values, observed.t_s, observed.step_s))
    return tuple(out)


def _means(times_s: FloatArray, values: FloatArray, at_s: FloatArray, step_s: float) -> FloatArray:
    """Mean of the known values within half a step of each moment; NaN where there is none."""
    known = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    first = np.searchsorted(times_s, at_s - step_s / 2 - 1e-9)
    last = np.searchsorted(times_s, at_s + step_s / 2 - 1e-9)
    count = counts[last] - counts[first]
    return np.where(count > 0, (sums[last] - sums[first]) / np.maximum(count, 1), np.nan)
