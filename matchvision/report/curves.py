"""What is drawn: panels of curves with their 95 % bands, taken from an analysis, for page and figures alike."""

import math
from dataclasses import dataclass, replace

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.match import SLIP_SPEED_M_S
from matchvision.records.results import Analysis
from matchvision.report.readings import (
    COVERAGE,
    best_pull,
    frames_shown,
    match_times,
    place_of_run,
    predicted_place,
    rope_share,
    shown_sources,
    side_name,
    side_role,
    source_words,
)


@dataclass(frozen=True, eq=False)
class Curve:
    """One curve: ``y`` with half width ``U95`` (NaN: no band) over ``x``; ``role`` picks the colour.

    ``per_frame`` holds the same ``y`` and its u on all frames, for reading off at the cursor; None for a prediction.
    """

    label: str
    role: str
    x: FloatArray
    y: FloatArray
    U95: FloatArray
    predicted: bool = False
    per_frame: tuple[FloatArray, FloatArray] | None = None


@dataclass(frozen=True)
class Level:
    """A horizontal line at ``y`` with an optional band."""

    label: str
    role: str
    y: float
    U95: float = 0.0


@dataclass(frozen=True, eq=False)
class Panel:
    """One drawing: what it shows, its axes with units, its curves; ``missing`` says why there are none.

    ``judged`` are the limits of x between which greatest values and the scale are taken: the match itself.
    """

    key: str
    title: str
    x_label: str
    y_label: str
    unit: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    missing: str = ""
    judged: tuple[float, float] = (-math.inf, math.inf)

    @property
    def measured(self) -> tuple[Curve, ...]:
        """The curves that were measured."""
        return tuple(c for c in self.curves if not c.predicted)


def _measured(analysis: Analysis, label: str, role: str, y: FloatArray, u: FloatArray) -> Curve:
    shown = frames_shown(analysis)
    return Curve(label, role, match_times(analysis)[shown], y[shown], COVERAGE * u[shown], per_frame=(y, u))


def _measured_over_place(analysis: Analysis, label: str, role: str, y: FloatArray, u: FloatArray) -> Curve:
    shown = frames_shown(analysis, match_only=True)
    return Curve(label, role, place_of_run(analysis)[1][shown], y[shown], COVERAGE * u[shown], per_frame=(y, u))


def share_over_time(analysis: Analysis) -> Panel:
    """Rope on the +x side as a share of the whole, with the forecast's band."""
    owner = side_name(analysis, "+x")
    rope, forecast, sheet = analysis.motion.rope, analysis.forecast, analysis.run.sheet
    title = f"Share of the rope on the side of {owner}"
    curves: list[Curve] = []
    if rope is not None:
        share, u = rope_share(rope)
        curves.append(_measured(analysis, "measured", "plus", 100 * share, 100 * u))
    if forecast is not None and sheet.rope is not None:
        per_m = 100 / sheet.rope.length_m
        y, U95 = per_m * forecast.on_plus_x_m, per_m * COVERAGE * forecast.u_on_plus_x_m
        curves.append(Curve("predicted", "plus", forecast.t_s, y, U95, predicted=True))
    missing = "" if rope is not None else "The rope was not followed: the sheet needs [rope] with its ends or beads."
    to_win = 100 * sheet.rules.share_to_win
    levels = (Level("share to win", "soft", to_win),) if sheet.run.kind == "match" else ()
    return Panel("share", title, "match time / s", "share of rope / %", "%", tuple(curves), levels, missing)


def speed_over_time(analysis: Analysis) -> Panel:
    """Each machine's speed towards its home, with the forecast's band."""
    curves = [
        _measured(analysis, name, side_role(analysis, name), 1000 * m.speed_m_s, 1000 * m.u_speed_m_s)
        for name, m in analysis.motion.machines.items()
    ]
    if analysis.forecast is not None:
        curves += [
            Curve(
                f"{name}, predicted",
                side_role(analysis, name),
                analysis.forecast.t_s,
                1000 * m.speed_m_s,
                1000 * COVERAGE * m.u_speed_m_s,
                predicted=True,
            )
            for name, m in analysis.forecast.machines.items()
        ]
    missing = (
        "" if analysis.motion.machines else "No machine was followed: two stickers on each machine give its motion."
    )
    title = "Speed of each machine towards its home"
    return Panel("speed", title, "match time / s", "speed / mm/s", "mm/s", tuple(curves), (), missing)


def slip_over_time(analysis: Analysis) -> Panel:
    """Each wheel's slip speed, with the forecast's band and the line from which it counts as slip."""
    curves = [
        _measured(
            analysis,
            w.machine if _only_wheel(analysis, w.machine) else f"{w.machine}, {w.wheel}",
            side_role(analysis, w.machine),
            1000 * w.slip_speed_m_s,
            1000 * w.u_slip_speed_m_s,
        )
        for w in analysis.motion.wheels
    ]
    if analysis.forecast is not None:
        curves += [
            Curve(
                f"{name}, predicted",
                side_role(analysis, name),
                analysis.forecast.t_s,
                1000 * m.slip_speed_m_s,
                1000 * COVERAGE * m.u_slip_speed_m_s,
                predicted=True,
            )
            for name, m in analysis.forecast.machines.items()
            if np.isfinite(m.slip_speed_m_s).any()
        ]
    missing = "" if analysis.motion.wheels else "Slip was not measured: two marks on a wheel's rim would give it."
    levels = (Level("counts as slip", "soft", 1000 * SLIP_SPEED_M_S),)
    title = "Slip: wheel surface faster than the ground"
    return Panel("slip", title, "match time / s", "slip speed / mm/s", "mm/s", tuple(curves), levels, missing)


def _only_wheel(analysis: Analysis, machine: str) -> bool:
    return sum(w.machine == machine for w in analysis.motion.wheels) == 1


def _pull_missing(analysis: Analysis) -> str:
    note = next((n for n in analysis.notes if n.stage == "pull"), None)
    reason = "" if note is None else f" {note.sentence}"
    return f"Pull was not measured.{reason} A sprung link in the rope, or a load of known friction, would give it."


def pull_over_time(analysis: Analysis) -> Panel:
    """Rope tension by source and fused, with the forecast's band."""
    curves: list[Curve] = []
    best = best_pull(analysis)
    if analysis.pull is not None:
        curves += [
            _measured(analysis, source_words(s), "fused" if s is best else s.source, s.tension_N, s.u_tension_N)
            for s in shown_sources(analysis)
        ]
    if analysis.forecast is not None:
        f = analysis.forecast
        curves.append(Curve("predicted", "fused", f.t_s, f.tension_N, COVERAGE * f.u_tension_N, predicted=True))
    missing = _pull_missing(analysis) if not any(not c.predicted for c in curves) else ""
    return Panel("pull", "Pull in the rope", "match time / s", "pull / N", "N", tuple(curves), (), missing)


def pull_over_place(analysis: Analysis) -> Panel:
    """The fused pull over the place on the table, with the forecast's band."""
    name = place_of_run(analysis)[0]
    curves: list[Curve] = []
    best = best_pull(analysis)
    if best is not None:
        label = "measured" if best.source == "fused" else source_words(best)
        curves.append(_measured_over_place(analysis, label, "fused", best.tension_N, best.u_tension_N))
    where = predicted_place(analysis)
    if analysis.forecast is not None and where is not None:
        f = analysis.forecast
        curves.append(Curve("predicted", "fused", where, f.tension_N, COVERAGE * f.u_tension_N, predicted=True))
    missing = _pull_missing(analysis) if best is None else ""
    title = "Pull, at the place where it was pulled"
    return Panel("pull-place", title, f"{name} / m", "pull / N", "N", tuple(curves), (), missing)


def grip_over_place(analysis: Analysis) -> Panel:
    """Grip used (traction over load) over the place, with the grip that was stated; else slip."""
    name = place_of_run(analysis)[0]
    traction = () if analysis.pull is None else analysis.pull.traction
    usable = [t for t in traction if np.isfinite(t.grip_used).any()]
    if not usable:
        slip = slip_over_time(analysis)
        curves = tuple(
            _measured_over_place(analysis, c.label, c.role, *c.per_frame)
            for c in slip.measured
            if c.per_frame is not None
        )
        title = "Slip, at the place where it happened"
        return Panel("grip-place", title, f"{name} / m", slip.y_label, slip.unit, curves, slip.levels, slip.missing)
    used = tuple(
        _measured_over_place(analysis, t.machine, side_role(analysis, t.machine), t.grip_used, t.u_grip_used)
        for t in usable
    )
    levels = []
    for machine, stated in analysis.run.sheet.forecast.items():
        grip = stated.grip_static or stated.grip_sliding
        if grip is not None:
            levels.append(Level(f"stated for {machine}", side_role(analysis, machine), grip.value, COVERAGE * grip.u))
    title = "Grip used (traction over load), at the place where it was used"
    return Panel("grip-place", title, f"{name} / m", "grip used", "", used, tuple(levels))


def place_panels(analysis: Analysis) -> tuple[Panel, ...]:
    """What is drawn over the place on the table."""
    return pull_over_place(analysis), grip_over_place(analysis)


def time_panels(analysis: Analysis) -> tuple[Panel, ...]:
    """What is drawn over match time."""
    panels = share_over_time(analysis), pull_over_time(analysis), speed_over_time(analysis), slip_over_time(analysis)
    return tuple(replace(panel, judged=(0.0, analysis.clock.duration_s)) for panel in panels)
