"""Records in a few lines of plain text."""

from collections.abc import Sequence
from math import isfinite
from pathlib import Path

import numpy as np

from matchvision.cli.showing import list_points
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.results import Analysis, CauseRow, FirstAnswer, Ruling, StageNote
from matchvision.records.sheet import LensSheet, RunSheet
from matchvision.uncertainty import format_chance, format_chances, format_interval

#: Warnings beyond these stand in the report only.
MOST_WARNINGS = 5
#: Lines of the table of a predicted run.
FORECAST_LINES = 11
#: Speeds, forces and lengths in SI units below this are what solving leaves where nothing moves.
SOLVED_TO = 1e-6
#: A chance that was not counted over samples has to reach this before a winner is expected: 256 samples, as many as are
#: usual, tell no smaller one from an even match (one half and 1.96 · √(¼ / 256)).
EVEN_TO = 0.56


def tell_first(first: FirstAnswer) -> str:
    """The verdict, what moved, and what of the sheet the footage contradicts."""
    parts = [first.ruling.sentence, *(f"  - {said}" for said in first.moved), tell_doubts(first.ruling)]
    return "\n".join(part for part in parts if part)


def tell_doubts(ruling: Ruling) -> str:
    """Each contradiction with its key, and what to do about it; nothing without any."""
    said = [f"{one.key}: {one.shown}.\n    What to do: {one.do}, and analyze again." for one in ruling.doubts]
    return list_points("The footage contradicts the sheet:", said)


def tell_analysis(analysis: Analysis) -> str:
    """What to be careful about, and what the footage does not support; `tell_first` has told the verdict."""
    parts = [note.sentence for note in analysis.notes if note.stage == "practice" and note.status != "skipped"]
    if analysis.practice is not None:
        parts.append("As a piece of a run sheet: measured.toml, beside the report.")
    shortfalls = find_shortfalls(analysis)
    told_below = [note for note in shortfalls if note.status == "partly"]
    ruling = analysis.verdict.ruling
    told_above = () if ruling is None else tuple(one.shown for one in ruling.doubts)
    warnings = [
        f"{note.stage}: {warning}"
        for note in analysis.notes
        if note not in told_below
        for warning in note.warnings
        if not warning.startswith(told_above or "\0")
    ]
    shown = warnings[:MOST_WARNINGS]
    if len(warnings) > len(shown):
        shown.append(f"and {len(warnings) - len(shown)} more in the report")
    parts.append(list_points("Be careful:", shown))
    lacking = [f"{note.stage}: {_tell_lack(note)}" for note in shortfalls]
    parts.append(list_points("The footage does not support everything that was asked for:", lacking))
    return "\n".join(part for part in parts if part)


def tell_causes(causes: Sequence[CauseRow]) -> str:
    """The likeliest cause; nothing where none is named."""
    return max(causes, key=lambda cause: cause.probability).statement if causes else ""


def is_complete(analysis: Analysis) -> bool:
    """Whether all that was asked for could be measured, and no contradiction of the sheet is left out of the ±."""
    ruling = analysis.verdict.ruling
    doubted = ruling is not None and any(not one.covered for one in ruling.doubts)
    return not doubted and not find_shortfalls(analysis)


def find_shortfalls(analysis: Analysis) -> tuple[StageNote, ...]:
    """Notes of stages that could not, or only partly, measure something that the sheet asks for.

    A forecast in parts is no fault of the footage; none at all is a shortfall.
    """
    asked = list_asked_stages(analysis.run.sheet)
    if not analysis.motion.tracks.plans or all(plan.kind == "end" for plan in analysis.motion.tracks.plans):
        # Whoever set the rope's ends by hand, for want of anything else in the clip, asked for no more than they give.
        asked -= {"markers", "motion"} if analysis.motion.rope is not None else frozenset()
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
    # What a practice run's sheet forecasts is there to be measured by, or against: only a match must be predicted.
    forecasts = sheet.forecast and sheet.run.kind == "match"
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


def tell_forecast(
    forecast: ForecastRun, note: StageNote, assumed: Sequence[str], chance_95: tuple[float, float] | None = None
) -> str:
    """The predicted run as a small table, limits, who is expected to win, where it ends, and what was assumed.

    ``chance_95`` is the 95 % interval of the winner's chance from the number of samples alone.
    """
    head = ["t_s", *(f"{name} speed_m_s" for name in forecast.machines), "tension_N", "on_plus_x_m"]
    limited = [one for one in forecast.machines.values() if one.limits]
    head += [f"{one.machine} limit" for one in limited]
    rows = [head]
    for at in np.unique(np.linspace(0, len(forecast.t_s) - 1, FORECAST_LINES).round().astype(int)):
        speeds = [_pair(m.speed_m_s[at], m.u_speed_m_s[at]) for m in forecast.machines.values()]
        tension = _pair(forecast.tension_N[at], forecast.u_tension_N[at])
        side = _pair(forecast.on_plus_x_m[at], forecast.u_on_plus_x_m[at])
        limits = [_limit(one, int(at)) for one in limited]
        rows.append([f"{forecast.t_s[at]:.2f}", *speeds, tension, side, *limits])
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    table = ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    parts = ["\n".join(table)]
    if any("±" in cell for row in rows for cell in row):
        parts.append("What stands behind ± is half of the 95 % interval.")
    parts.append(_expected_winner(forecast, chance_95))
    parts.append(list_points(f"At the end, {forecast.t_s[-1]:.1f} s:", _ends(forecast)))
    parts.append(list_points("Slip:", _slips(forecast)))
    parts.append(list_points("Assumed:", list(assumed)))
    parts.append(list_points("Not predicted:", list(forecast.left_out)))
    parts.append(list_points("Be careful:", list(note.warnings)))
    return "\n".join(part for part in parts if part)


def _limit(machine: ForecastMachine, at: int) -> str:
    """What limits the machine in most samples, with the share of them where it is not all."""
    word = max(machine.limits, key=lambda each: float(machine.limits[each][at]))
    share = float(machine.limits[word][at])
    return word if share > 0.995 else f"{word} {100 * share:.0f} %"


def _expected_winner(forecast: ForecastRun, chance_95: tuple[float, float] | None) -> str:
    """Who is expected to win, and by how much; neither where more than half of the chance is not surely one's."""
    if not forecast.winner:
        return ""
    chance = forecast.win_chance.get(forecast.winner, float("nan"))
    nobody = 1.0 - sum(forecast.win_chance.values())
    short = f"{format_interval(-1000 * forecast.margin_m, 1000 * forecast.u_margin_m, 'mm')} short of it"
    if forecast.win_chance and nobody > 0.5:
        return (
            f"Nobody is expected to win by the rules, with a chance of {format_chance(nobody)}; {forecast.winner} "
            f"comes nearest, {short}."
        )
    margin = format_interval(1000 * forecast.margin_m, 1000 * forecast.u_margin_m, "mm")
    counted = f" ({format_chances(*chance_95)} from the {forecast.samples} samples alone)" if chance_95 else ""
    if isfinite(chance) and (chance < EVEN_TO if chance_95 is None else chance_95[0] <= 0.5):
        others = [
            f"{name} {format_chance(each)}" for name, each in forecast.win_chance.items() if name != forecast.winner
        ]
        others += [f"nobody {format_chance(nobody)}"] if nobody > 0.005 else []
        ahead = f"would be ahead by {margin}" if forecast.margin_m > 0 else f"comes nearest, {short}"
        chances = ", ".join([f"{forecast.winner} {format_chance(chance)}{counted}", *others])
        return f"Neither is expected to win: the chances are {chances}; {forecast.winner} {ahead}."
    said = f" with a chance of {format_chance(chance)}{counted}" if isfinite(chance) else ""
    if forecast.margin_m <= 0:  # the mark came past its line first, and lies short of it at the end
        return f"{forecast.winner} is expected to win{said}; its mark lies {short} at the end."
    return f"{forecast.winner} is expected to win{said}, by {margin}."


def _ends(forecast: ForecastRun) -> list[str]:
    """Where each machine stands at the end."""
    said = []
    for one in forecast.machines.values():
        places = [
            f"{axis} = {_place(float(value[-1]), float(u[-1]))}"
            for axis, value, u in (("x", one.x_m, one.u_x_m), ("y", one.y_m, one.u_y_m))
            if isfinite(value[-1])
        ]
        if places:
            said.append(f"{one.machine} stands at {', '.join(places)}")
    return said


def _place(value_m: float, u_m: float) -> str:
    """A place without the dust below a micrometre that solving leaves where nothing moves."""
    return format_interval(round(value_m, 6) + 0.0, u_m if u_m > 1e-6 else 0.0, "m")


def _slips(forecast: ForecastRun) -> list[str]:
    said = []
    for machine in forecast.machines.values():
        if isfinite(machine.first_slip_s):
            low, high = machine.first_slip_95_s
            when = format_interval(machine.first_slip_s, machine.u_first_slip_s, "s")
            if high - low > 0.01:  # mostly lopsided: late ones lie far off
                when = f"{machine.first_slip_s:.2f} s (95 % of them from {low:.2f} to {high:.2f} s)"
            said.append(f"{machine.machine}'s wheels slip from {when}, chance {format_chance(machine.slip_chance)}")
    return said


def _pair(value: float, u: float) -> str:
    if not isfinite(value):
        return "-"
    dust = 1e-9 * max(1.0, abs(value))  # what sampling leaves where nothing is uncertain
    if max(abs(value), u) < SOLVED_TO:
        return "0"
    return format_interval(float(value), float(u) if u > dust else 0.0)
