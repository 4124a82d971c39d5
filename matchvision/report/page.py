"""The page: one file that opens offline and shows the run, what it means and what it rests on."""

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from matchvision.errors import OutputError
from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.results import Analysis, ComparisonRow
from matchvision.report import wording
from matchvision.report.byhand import tell_mends, tell_settings
from matchvision.report.causing import draw_causes, draw_marks
from matchvision.report.charts import Chart, draw_chart
from matchvision.report.curves import Panel, place_panels, time_panels
from matchvision.report.embedding import embed, page_data
from matchvision.report.gripmap import grip_pictures
from matchvision.report.measured import measured_rows
from matchvision.report.operating import logged_commands
from matchvision.report.palette import DARK, LIGHT, css_variables
from matchvision.report.phasewords import tell_curves, tell_phases
from matchvision.report.readings import AROUND_S, COVERAGE, greatest_in_match, place_limits, shown_sources
from matchvision.report.remedying import draw_remedies
from matchvision.report.slots import mark_slot, page_environment
from matchvision.report.strips import Strip
from matchvision.report.tabledrawing import draw_table, home_words
from matchvision.report.topview import MARGIN_X_M
from matchvision.report.trail import draw_trail, time_flags


@dataclass(frozen=True)
class BudgetBar:
    """One line of the budget: its share of the variance in per cent, for the bar's length; its input beside it.

    ``given`` is the input's value with its standard uncertainty, ``sensitivity`` the pull for one unit of it; both
    empty where a line has no single input.
    """

    name: str
    text: str
    share: float
    common: bool
    given: str = ""
    sensitivity: str = ""


@dataclass(frozen=True)
class ComparisonPicture:
    """Two intervals on one small scale, in per cent of its width: (low, middle, high) each."""

    predicted: tuple[float, float, float]
    measured: tuple[float, float, float]


def write_page(
    analysis: Analysis, folder: Path, strips: Sequence[Strip] = (), *, with_clip: bool | None = None
) -> Path:
    """Write ``folder/report.html``, whole or not at all, and return its path.

    The page stands by itself: styles, script, drawings and data are inside. It links ``marked.mp4`` in its own folder
    as the camera's picture where ``with_clip`` says that it is there or will be, or, with None, where it lies there
    already. ``strips`` are pictures of single moments, which it holds.

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_page.py::test_page_has_every_section_and_nothing_from_outside
    """
    if with_clip is None:
        with_clip = (folder / "marked.mp4").exists()
    text = render_page(analysis, has_clip=with_clip, strips=strips)
    path = folder / "report.html"
    unfinished = folder / ".report.html.unfinished"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(path)
    except OSError as reason:
        with contextlib.suppress(OSError):
            unfinished.unlink()
        raise OutputError(
            f"the report cannot be written: {reason.strerror}", where=str(path), do="choose another folder with --out"
        ) from reason
    return path


def render_page(analysis: Analysis, *, has_clip: bool, strips: Sequence[Strip] = ()) -> str:
    """The whole page as text."""
    half_x_m = analysis.run.sheet.table.length_m / 2 + MARGIN_X_M
    x_limits = place_limits(analysis)
    time_limits = (-AROUND_S, analysis.clock.duration_s + AROUND_S)
    over_place = [(p, draw_chart(p, x_limits)) for p in place_panels(analysis)]
    over_time = [(p, draw_chart(p, time_limits)) for p in time_panels(analysis)]
    ruling = analysis.verdict.ruling
    verdict, surely = wording.verdict_words(analysis)
    notes = [note for note in analysis.notes if note.stage != "causes"]
    slots = draw_causes(
        analysis.verdict.causes,
        next((note for note in analysis.notes if note.stage == "causes"), None),
        kind=analysis.run.sheet.run.kind,
        forecast=analysis.forecast is not None,
        compared=bool(analysis.verdict.comparison),
        due=analysis.verdict.causes_due,
        events=() if analysis.grip is None else analysis.grip.events,
    )
    advised = {text for note in notes for text in note.advice}
    disagreement = () if analysis.pull is None else analysis.pull.disagreement
    context: dict[str, Any] = {
        "run": analysis.run.sheet.run,
        "clip": analysis.clip,
        "clock": analysis.clock,
        "version": version("matchvision"),
        "light": css_variables(LIGHT),
        "dark": css_variables(DARK),
        "verdict": wording.headline(verdict),
        "surely": surely,
        "doubts": () if ruling is None else ruling.doubts,
        "margin_off": wording.margin_off(ruling),
        "margin": wording.margin_words(analysis),
        "slots": slots | draw_marks(None) | draw_remedies(None, None) | {"clip": mark_slot("clip", "")},
        "mends": tell_mends(analysis),
        "settings": tell_settings(analysis),
        "rule": wording.rule_words(analysis),
        "homes": {"minus": home_words(analysis, "-x"), "plus": home_words(analysis, "+x")},
        "table": draw_table(analysis),
        "trail": draw_trail(analysis, x_limits),
        "zoom": [f"{50 * (x / half_x_m + 1):.2f}" for x in x_limits],
        "place_charts": [chart for _, chart in over_place],
        "time_charts": [chart for _, chart in over_time],
        "flags": time_flags(analysis, time_limits),
        "readouts": readouts(over_time),
        "events": () if analysis.grip is None else analysis.grip.events,
        "has_grip": analysis.grip is not None,
        "grip_maps": grip_pictures(analysis),
        "commands": logged_commands(analysis),
        "strips": strips,
        "practice": analysis.practice,
        "measured": measured_rows(analysis),
        "rows": analysis.verdict.comparison,
        "cards": [
            (wording.in_millimetres(row), picture(row))
            for row in analysis.verdict.comparison
            if not row.quantity.startswith("chance") and not row.phase
        ],
        "phases": tell_phases(analysis),
        "curves": tell_curves(analysis.verdict.curves),
        "budgets": budgets(analysis),
        "left_out": [t for t in (analysis.pull.left_out if analysis.pull else ()) if t not in advised],
        "disagreement": disagreement,
        "forecast": analysis.forecast,
        "faults": (*analysis.clip.faults, *analysis.faults),
        "notes": notes,
        "warnings": [(n.stage, w) for n in notes for w in n.warnings if w not in disagreement],
        "advice": [(n.stage, a) for n in notes for a in n.advice],
        "table_view": analysis.table,
        "sheets": analysis.run.sheet_texts,
        "cautions": wording.CAUTIONS,
        "citation": wording.example_citation(analysis),
        "has_clip": has_clip,
        "data": embed(page_data(analysis, over_place + over_time, has_clip)),
        "words": wording,
        "isfinite": math.isfinite,
    }
    return page_environment().get_template("report.html").render(context)


def readouts(charts: list[tuple[Panel, Chart]]) -> list[tuple[str, int, str, str]]:
    """Lines of the readout: key of the chart, number of its curve, label, role."""
    lines = []
    for panel, _ in charts:
        for k, curve in enumerate(panel.measured):
            if panel.key == "share" or (panel.key == "pull" and curve.role != "fused"):
                continue
            label = f"pull: {curve.label}" if panel.key == "pull" else f"{panel.key} of {curve.label}"
            lines.append((panel.key, k, label, curve.role))
    return lines


def budgets(analysis: Analysis) -> list[tuple[PullSource, str, list[BudgetBar], list[BudgetBar]]]:
    """Each source's budget at its greatest pull: bars for what counts, then every line; largest first, fused leads."""
    found = []
    for source in reversed(shown_sources(analysis)):
        k = greatest_in_match(analysis, source.tension_N)
        if k is None:
            continue
        greatest = wording.quantity(float(source.tension_N[k]), float(source.u_tension_N[k]), "N")
        total = sum(line.u**2 for line in source.budget) or 1.0
        lines = [_bar(line, total) for line in sorted(source.budget, key=lambda line: -line.u)]
        bars = [bar for bar in lines if bar.share >= 1]
        small = [line for line in source.budget if line.u**2 < 0.01 * total]
        if small:
            u = math.sqrt(sum(line.u**2 for line in small))
            name = f"{len(small)} smaller {'ones together' if len(small) > 1 else 'one'}"
            bars.append(BudgetBar(name, f"{wording.number(u, 2)} {small[0].unit}", 100 * u**2 / total, small[0].common))
        found.append((source, greatest, bars, lines))
    return found


def _bar(line: BudgetLine, total: float) -> BudgetBar:
    """A budget's line in words."""
    text, share = f"{wording.number(line.u, 2)} {line.unit}", 100 * line.u**2 / total
    if not line.u_value > 0:
        return BudgetBar(line.name, text, share, line.common)
    unit = _shown(line.value_unit)
    return BudgetBar(
        line.name,
        text,
        share,
        line.common,
        given=wording.standard(line.value, line.u_value, unit),
        sensitivity=f"{wording.number(line.sensitivity, 3)} {line.unit}" + (f" for 1 {unit}" if unit else ""),
    )


def _shown(unit: str) -> str:
    """A unit as it is read; a bare ratio has none."""
    return "" if unit == "1" else unit


def picture(row: ComparisonRow) -> ComparisonPicture | None:
    """Predicted and measured intervals (95 %) on one scale; None where one is not known."""
    numbers = (row.predicted, row.measured)
    if not all(math.isfinite(v) for v in numbers):
        return None
    halves = [COVERAGE * (u if math.isfinite(u) else 0.0) for u in (row.u_predicted, row.u_measured)]
    low = min(v - h for v, h in zip(numbers, halves, strict=True))
    high = max(v + h for v, h in zip(numbers, halves, strict=True))
    span = (high - low) or abs(high) or 1.0

    def at(value: float) -> float:
        return 6 + 88 * (value - low) / span

    intervals = [(at(v - h), at(v), at(v + h)) for v, h in zip(numbers, halves, strict=True)]
    return ComparisonPicture(intervals[0], intervals[1])
