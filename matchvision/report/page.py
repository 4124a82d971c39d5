"""The page: one file that opens offline and shows the run, what it means and what it rests on."""

import math
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from matchvision.records.results import Analysis
from matchvision.report import wording
from matchvision.report.budgetbars import draw_budgets
from matchvision.report.byhand import tell_mends, tell_settings
from matchvision.report.causing import draw_causes, draw_marks
from matchvision.report.charts import Chart, draw_chart
from matchvision.report.curves import Panel, place_panels, time_panels
from matchvision.report.embedding import embed, page_data
from matchvision.report.forecastcards import brief_words, choose_brief, draw_cards
from matchvision.report.gripmap import grip_pictures
from matchvision.report.measured import measured_rows
from matchvision.report.operating import logged_commands
from matchvision.report.phasewords import tell_curves, tell_phases
from matchvision.report.readings import AROUND_S, place_limits
from matchvision.report.remedying import draw_remedies
from matchvision.report.saving import save_page
from matchvision.report.slots import mark_slot, page_environment
from matchvision.report.strips import Strip
from matchvision.report.tabledrawing import draw_table, home_words
from matchvision.report.topview import MARGIN_X_M
from matchvision.report.trail import draw_trail, time_flags


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
    return save_page(text, folder / "report.html", "the report")


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
    cards = draw_cards(analysis)
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
        "cards": cards,
        "brief": choose_brief(cards),
        "brief_words": brief_words(cards),
        "phases": tell_phases(analysis),
        "curves": tell_curves(analysis.verdict.curves),
        "budgets": draw_budgets(analysis),
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
            leaning = curve.label.removeprefix("all sources together")
            label = f"pull{leaning}" if panel.key == "pull" else f"{panel.key} of {curve.label}"
            lines.append((panel.key, k, label, curve.role))
    return lines
