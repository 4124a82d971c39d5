"""The run as the page needs it: plain data for JSON."""

from collections.abc import Collection, Mapping
from typing import Any

from matchvision.desk.calibrating import list_known_points, plain
from matchvision.desk.clipbook import ClipBook
from matchvision.desk.declaring import declared_markers
from matchvision.markers import plan_markers
from matchvision.records.sheet import Tag
from matchvision.sheets import Draft


def describe_run(draft: Draft, book: ClipBook, guessed: Collection[str] = ()) -> dict[str, Any]:
    """Run, clip, table, colours, markers and what is still wanting; ``guessed``: colours that nobody clicked yet."""
    sheet, facts = draft.run.sheet, book.facts
    learnt, declared = draft.kept, declared_markers(draft)
    return {
        "run": {"name": sheet.run.name, "kind": sheet.run.kind, "sheet": draft.sheet.name, "clip": facts.path.name},
        "clip": {
            "width_px": facts.width_px,
            "height_px": facts.height_px,
            "first": book.first,
            "last": book.last,
            "clip_s": plain(book.clip_s.round(5)),
        },
        "clock": {
            "start_s": None if draft.without_start else sheet.clock.start_s,
            "start": sheet.clock.start,
            "duration_s": sheet.clock.duration_s,
            "real_per_clip_ratio": facts.real_per_clip_ratio(sheet.clock.recorded_fps),
        },
        "camera": {"moves": sheet.camera.moves},
        "table": {
            "length_m": sheet.table.length_m,
            "width_m": sheet.table.width_m,
            "tags": [tag.model_dump(mode="json", exclude_none=True) for tag in sheet.table.tag],
            "sheet_tags": [tag.model_dump(mode="json", exclude_none=True) for tag in list_own_tags(draft)],
            "points": [point.model_dump(mode="json") for point in sheet.table.point],
            "known": list_known_points(sheet.table),
        },
        "colours": [
            {
                "name": name,
                "srgb": None if name in draft.unknown_colours else colour.srgb,
                "samples": list(colour.samples),
                "learnt": name in learnt.get("colour", {}),
                "guessed": name in guessed,
            }
            for name, colour in sheet.colour.items()
        ],
        "markers": [
            {
                "name": plan.name,
                "kind": plan.kind,
                "colour": plan.colour,
                "machine": plan.machine,
                "declared": plan.name in declared,
            }
            for plan in plan_markers(draft.run)
        ],
        "machines": [{"name": name, "home": machine.home} for name, machine in sheet.machine.items()],
        "rope": None if sheet.rope is None else {"length_m": sheet.rope.length_m, "ends": list(sheet.rope.ends)},
        "mends": [mend.model_dump(mode="json", exclude_none=True) for mend in draft.run.mends.mend],
        "wanting": list_wanting(draft),
    }


def list_own_tags(draft: Draft) -> list[Tag]:
    """The tags of the sheet as it was written, whichever of them count at the desk: one left out keeps its place."""
    table = draft.own.get("table")
    listed = table.get("tag", ()) if isinstance(table, Mapping) else ()
    return [Tag.model_validate(tag) for tag in listed]


def list_wanting(draft: Draft) -> list[str]:
    """What must still be shown to the desk before the run can be analysed, in sentences."""
    sheet = draft.run.sheet
    wanting = []
    if len(draft.unknown_colours) == 1:
        wanting.append(f"The colour {draft.unknown_colours[0]} is not known yet: click a marker that wears it.")
    elif draft.unknown_colours:
        names = ", ".join(draft.unknown_colours)
        wanting.append(f"{len(draft.unknown_colours)} colours are not known yet ({names}): click a marker of each.")
    if draft.without_start:
        wanting.append("Nothing says when the match starts: choose its first picture.")
    known = len(sheet.table.point) + 4 * len(sheet.table.tag)
    if known < 4 and draft.run.calibration is None:
        wanting.append(f"The camera is not known yet: {known} points of the table are set, at least 4 are needed.")
    return wanting
