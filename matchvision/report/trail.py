"""The trail of the run: where the rope's middle was while time runs down the page, under the table and on its scale."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.results import Analysis
from matchvision.report.charts import HEIGHT, WIDTH, Stroke, Tick, line_path, nice_ticks, runs_of_known, tick_text
from matchvision.report.readings import AROUND_S, COVERAGE, match_times, place_of_run, predicted_place
from matchvision.report.wording import event_words


@dataclass(frozen=True)
class Flag:
    """A numbered event at a place of a drawing, per cent from its left and top; ``lane`` keeps neighbours apart."""

    number: str
    left: float
    top: float
    lane: int
    words: str
    t_s: float


@dataclass(frozen=True)
class Trail:
    """All that the template needs to draw the trail."""

    name: str
    strokes: tuple[Stroke, ...]
    flags: tuple[Flag, ...]
    t_ticks: tuple[Tick, ...]
    t_limits: tuple[float, float]
    x_limits: tuple[float, float]
    centre: float
    predicted: bool


def draw_trail(analysis: Analysis, x_limits: tuple[float, float]) -> Trail | None:
    """The trail between the given limits of x [m]; None where nothing's place is known."""
    name, place_m, u_m = place_of_run(analysis)
    if not np.isfinite(place_m).any():
        return None
    t_s = match_times(analysis)
    top_s, bottom_s = -AROUND_S, analysis.clock.duration_s + AROUND_S
    shown = (t_s >= top_s) & (t_s <= bottom_s)
    at = np.flatnonzero(shown)[:: max(1, int(shown.sum()) // 500)]

    def across(x_m: FloatArray) -> FloatArray:
        return (x_m - x_limits[0]) / (x_limits[1] - x_limits[0]) * WIDTH

    def down(time_s: FloatArray) -> FloatArray:
        return (time_s - top_s) / (bottom_s - top_s) * HEIGHT

    col, row, half = across(place_m[at]), down(t_s[at]), COVERAGE * u_m[at] / (x_limits[1] - x_limits[0]) * WIDTH
    middle = float(across(np.zeros(1))[0])
    strokes = [*_areas(col, row, middle)]
    where = predicted_place(analysis)
    if where is not None and analysis.forecast is not None:
        f = analysis.forecast
        u_f = (
            f.u_on_plus_x_m
            if name == "place of the rope's middle"
            else f.machines[name.removeprefix("place of ")].u_x_m
        )
        wide = COVERAGE * u_f / (x_limits[1] - x_limits[0]) * WIDTH
        strokes.append(Stroke(_sideways_band(across(where), down(f.t_s), wide), "band predicted", "fused"))
        strokes.append(Stroke(line_path(across(where), down(f.t_s)), "line predicted", "fused"))
    strokes.append(Stroke(_sideways_band(col, row, half), "band measured", "fused"))
    strokes.append(Stroke(line_path(col, row), "line measured", "fused"))
    ticks = nice_ticks(0.0, analysis.clock.duration_s, 5)
    return Trail(
        name=name,
        strokes=tuple(s for s in strokes if s.d),
        flags=_flags(analysis, place_m, x_limits, (top_s, bottom_s)),
        t_ticks=tuple(Tick(f"{tick_text(v, ticks)} s", 100 * (v - top_s) / (bottom_s - top_s)) for v in ticks),
        t_limits=(top_s, bottom_s),
        x_limits=x_limits,
        centre=middle,
        predicted=where is not None,
    )


def _areas(col: FloatArray, row: FloatArray, middle: float) -> list[Stroke]:
    """Tinted areas between the centre line and the trail, by side."""
    strokes = []
    for role, side in (("minus", np.minimum(col, middle)), ("plus", np.maximum(col, middle))):
        d = ""
        for s in runs_of_known(col, row):
            edge = "L".join(f"{c:.1f} {r:.1f}" for c, r in zip(side[s], row[s], strict=True))
            d += f"M{middle:.1f} {row[s][0]:.1f}L{edge}L{middle:.1f} {row[s][-1]:.1f}Z"
        strokes.append(Stroke(d, "area", role))
    return strokes


def _sideways_band(col: FloatArray, row: FloatArray, half: FloatArray) -> str:
    d = ""
    for s in runs_of_known(col, row, half):
        there = "L".join(f"{c:.1f} {r:.1f}" for c, r in zip(col[s] - half[s], row[s], strict=True))
        back = "L".join(f"{c:.1f} {r:.1f}" for c, r in zip((col[s] + half[s])[::-1], row[s][::-1], strict=True))
        d += f"M{there}L{back}Z"
    return d


def _flags(
    analysis: Analysis, place_m: FloatArray, x_limits: tuple[float, float], t_limits: tuple[float, float]
) -> tuple[Flag, ...]:
    if analysis.grip is None:
        return ()
    t_s = match_times(analysis)
    known = np.isfinite(place_m)
    flags: list[Flag] = []
    for number, event in enumerate(analysis.grip.events, start=1):
        if not t_limits[0] <= event.start_s <= t_limits[1]:
            continue
        x_m = float(np.interp(event.start_s, t_s[known], place_m[known]))
        left = 100 * (x_m - x_limits[0]) / (x_limits[1] - x_limits[0])
        top = 100 * (event.start_s - t_limits[0]) / (t_limits[1] - t_limits[0])
        near = [f.lane for f in flags if abs(f.top - top) < 9]
        lane = next(k for k in range(len(near) + 1) if k not in near)
        flags.append(Flag(str(number), left, top, lane, event_words(event), event.start_s))
    return tuple(flags)


def time_flags(analysis: Analysis, t_limits: tuple[float, float]) -> tuple[Flag, ...]:
    """Events as flags along a time axis; those too close to stand side by side share a flag."""
    if analysis.grip is None:
        return ()
    flags: list[Flag] = []
    for number, event in enumerate(analysis.grip.events, start=1):
        left = 100 * (event.start_s - t_limits[0]) / (t_limits[1] - t_limits[0])
        if not 0 <= left <= 100:
            continue
        if flags and left - flags[-1].left < 4:
            last = flags.pop()
            first = last.number.split("–", maxsplit=1)[0]
            words = f"{last.words}; {event_words(event)}"
            flags.append(Flag(f"{first}–{number}", last.left, 0.0, 0, words, last.t_s))
        else:
            flags.append(Flag(str(number), left, 0.0, 0, event_words(event), event.start_s))
    return tuple(flags)
