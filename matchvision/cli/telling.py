"""Records in a few lines of plain text."""

from collections.abc import Sequence
from math import isfinite
from pathlib import Path

import numpy as np

from matchvision.cli.showing import list_points
from matchvision.records.forecast import ForecastRun
from matchvision.records.results import Analysis, StageNote
from matchvision.records.sheet import LensSheet, RunSheet
from matchvision.uncertainty import format_interval

#: Warnings beyond these stand in the report only.
MOST_WARNINGS = 5
#: Lines of the table of a predicted run.
FORECAST_LINES = 11


def tell_analysis(analysis: Analysis) -> str:
    """The verdict, what to be careful about, and what the footage does not support."""
    parts = []
    ruling = analysis.verdict.ruling
    if ruling is not None:
        parts.append(ruling.sentence)
    parts += [note.sentence for note in analysis.notes if note.stage == "practice" and note.status != "skipped"]
    if analysis.practice is not None:
        parts.append("As a piece of a run sheet: measured.toml, beside the report.")
    shortfalls = find_shortfalls(analysis)
    told_below = [note for note in shortfalls if note.status == "partly"]
    warnings = [f"{n.stage}: {warning}" for n in analysis.notes if n not in told_below for warning in n.warnings]
    shown = warnings[:MOST_WARNINGS]
    if len(warnings) > len(shown):
        shown.append(f"and {len(warnings) - len(shown)} more in the report")
    parts.append(list_points("Be careful:", shown))
    lacking = [f"{note.stage}: {_tell_lack(note)}" for note in shortfalls]
    parts.append(list_points("The footage does not support everything that was asked for:", lacking))
    return "\n".join(part for part in parts if part)


def find_shortfalls(analysis: Analysis) -> tuple[StageNote, ...]:
    """Notes of stages that could not, or only partly, measure something that the sheet asks for.

    A forecast in parts is no fault of the footage; none at all is a shortfall.
    """
    asked = list_asked_stages(analysis.run.sheet)
    lacking = (note for note in analysis.notes if note.stage in asked and note.status != "done")
    return tuple(note for note in lacking if note.status == "skipped" or note.stage != "forecast")


def _tell_lack(note: StageNote) -> str:
    """Why, and what would help; of a stage that did its work in part, not the whole account of the work."""
    why = note.sentence if note.status == "skipped" else "; ".join(note.warnings) or note.sentence.split(". ")[0]
    return " ".join([why.rstrip(".") + ".", *(f"What would help: {advice}" for advice in note.advice[:1])])


def list_asked_stages(sheet: RunSheet) -> frozenset[str]:
    """Stages whose result the sheet asks for by what it describes.

    What is described in order to be measured counts: a link asks for the pull, rim marks ask for the grip.
    """
    machines = list(sheet.machine.values())
    asked = {"table", "markers", "motion"}
    if sheet.run.kind != "match":
        asked.add("practice")
    if sheet.run.kind in {"slope", "coast", "free"}:  # nobody pulls, whatever else the sheet says
        return frozenset(asked)
    forecasts = sheet.forecast and sheet.run.kind in {"match", "sled"}
    if (sheet.rope and (sheet.rope.link or sheet.rope.stiffness_N_per_m)) or any(m.load or m.drive for m in machines):
        asked.add("pull")
    if any(wheel.rim for machine in machines for wheel in machine.wheel):
        asked.add("grip")
    if forecasts:
        asked.add("forecast")
    if sheet.run.kind == "match":
        asked.add("verdict")
    return frozenset(asked)


def tell_lens(
    lens: LensSheet, stills: int, path: Path, left_out: Sequence[str] = (), shift_in_u: Sequence[float] | None = None
) -> str:
    """Where a lens sheet went, how well it fits, how sure its focal length is, and which stills were left out."""
    camera = lens.camera
    focal = format_interval(float(camera.parameters[0]), float(camera.covariance[0, 0]) ** 0.5, "px")
    lines = [
        f"The board was found in {lens.views} of {stills} stills of {camera.width_px} x {camera.height_px} pixels; "
        f"its corners fit to {lens.rms_px:.2f} px (rms).",
        f"Focal length {focal} (95 %).",
    ]
    if left_out:
        moved = (
            ""
            if shift_in_u is None
            else f"; this moved the lens by up to {np.max(np.abs(shift_in_u)):.1f} standard uncertainties"
        )
        lines.append(f"Left out, for it fits several times worse than the others: {', '.join(left_out)}{moved}.")
    return "\n".join([*lines, f"Wrote {path}."])


def tell_forecast(forecast: ForecastRun, note: StageNote, assumed: Sequence[str]) -> str:
    """The predicted run as a small table, who is expected to win, and what was assumed."""
    head = ["t_s", *(f"{name} speed_m_s" for name in forecast.machines), "tension_N", "on_plus_x_m"]
    rows = [head]
    for at in np.unique(np.linspace(0, len(forecast.t_s) - 1, FORECAST_LINES).round().astype(int)):
        speeds = [_pair(m.speed_m_s[at], m.u_speed_m_s[at]) for m in forecast.machines.values()]
        tension = _pair(forecast.tension_N[at], forecast.u_tension_N[at])
        side = _pair(forecast.on_plus_x_m[at], forecast.u_on_plus_x_m[at])
        rows.append([f"{forecast.t_s[at]:.2f}", *speeds, tension, side])
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    table = ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    parts = ["\n".join(table), _expected_winner(forecast)]
    parts.append(list_points("Slip:", _slips(forecast)))
    parts.append(list_points("Assumed:", list(assumed)))
    parts.append(list_points("Not predicted:", list(forecast.left_out)))
    parts.append(list_points("Be careful:", list(note.warnings)))
    return "\n".join(part for part in parts if part)


def _expected_winner(forecast: ForecastRun) -> str:
    if not forecast.winner:
        return ""
    chance = forecast.win_chance.get(forecast.winner, float("nan"))
    margin = format_interval(1000 * forecast.margin_m, 1000 * forecast.u_margin_m, "mm")
    said = f" with a chance of {100 * chance:.0f} %" if isfinite(chance) else ""
    return f"{forecast.winner} is expected to win{said}, by {margin}."


def _slips(forecast: ForecastRun) -> list[str]:
    said = []
    for machine in forecast.machines.values():
        if isfinite(machine.first_slip_s):
            when = format_interval(machine.first_slip_s, machine.u_first_slip_s, "s")
            said.append(f"{machine.machine}'s wheels slip from {when}, chance {100 * machine.slip_chance:.0f} %")
    return said


def _pair(value: float, u: float) -> str:
    if not isfinite(value):
        return "-"
    dust = 1e-9 * max(1.0, abs(value))  # what sampling leaves where nothing is uncertain
    return format_interval(float(value), float(u) if u > dust else 0.0)
