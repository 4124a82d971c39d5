"""A run sheet that is not whole yet, opened so that a person can complete it at the desk."""

import colorsys
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matchvision.errors import Fault, SheetError
from matchvision.records.sheet import Run
from matchvision.sheets.beside import desk_file, mends_file
from matchvision.sheets.loading import add_mends, assemble_run
from matchvision.sheets.reading import SheetSource, find_own_sheet, merge_sheets, read_sheets
from matchvision.sheets.sense import colour_uses


@dataclass(frozen=True, eq=False)
class Draft:
    """A run with what is still wanting in its sheet.

    Attributes
    ----------
    run : Run
        What is wanting has a stand-in here, so that the rest can be used.
    sheet, learnt, mends : Path
        The run's own sheet, and the files beside it that hold what the desk has learnt and what was mended.
    unknown_colours : tuple of str
        Colours that markers wear and no sheet describes.
    without_start : bool
        Nothing says when the match starts.
    kept : mapping
        What stands in the desk's own file.
    own : mapping
        What stands in the sheets without it.
    """

    run: Run
    sheet: Path
    learnt: Path
    mends: Path
    unknown_colours: tuple[str, ...]
    without_start: bool
    kept: Mapping[str, Any]
    own: Mapping[str, Any]


def load_draft(path: str | Path) -> Draft:
    """Load a run sheet though it does not describe its markers' colours yet, nor say when the match starts.

    Raises
    ------
    SheetError
        With every other fault at once.

    Notes
    -----
    Checked by: tests/sheets/test_drafting.py::test_colours_may_still_be_unknown
    """
    own = find_own_sheet(Path(path))
    sources = read_sheets(own)
    data = merge_sheets([source.data for source in sources])
    unknown, without_start = _list_wanting(data)
    run = assemble_run([_stand_ins(own, unknown, without_start=without_start), *sources], str(path))
    run = add_mends(run, mends_file(own))
    learnt = desk_file(own)
    kept = next((source.text for source in sources if source.path == learnt), "")
    below = merge_sheets([source.data for source in sources if source.path != learnt])
    return Draft(run, own, learnt, mends_file(own), unknown, without_start, tomllib.loads(kept), below)


def check_draft(draft: Draft, learnt: Mapping[str, Any]) -> None:
    """Refuse what the desk would write, where the whole sheet would have faults with it.

    Raises
    ------
    SheetError
    """
    sources = [source for source in read_sheets(draft.sheet) if source.path != draft.learnt]
    ours = SheetSource(draft.learnt, draft.learnt.name, "", dict(learnt), {})
    data = merge_sheets([source.data for source in (*sources, ours)])
    unknown, without_start = _list_wanting(data)
    assemble_run([_stand_ins(draft.sheet, unknown, without_start=without_start), *sources, ours], draft.learnt.name)


def _list_wanting(data: Mapping[str, Any]) -> tuple[tuple[str, ...], bool]:
    described = data.get("colour")
    known = set(described) if isinstance(described, Mapping) else set()
    unknown = tuple(dict.fromkeys(name for _, name in colour_uses(data) if name not in known))
    clock = data.get("clock")
    without_start = isinstance(clock, Mapping) and not {"start", "start_s"} & clock.keys()
    return unknown, without_start


def _stand_ins(sheet: Path, unknown: Sequence[str], *, without_start: bool) -> SheetSource:
    """What is wanting, under all other sheets."""
    filler: dict[str, Any] = {}
    if unknown:
        filler["colour"] = {name: {"srgb": srgb} for name, srgb in zip(unknown, _apart(len(unknown)), strict=True)}
    if without_start:
        filler["clock"] = {"start_s": 0.0}
    return SheetSource(sheet, "what is still wanting", "", filler, {})


def _apart(count: int) -> list[str]:
    """So many colours of different hue, which stand in for unknown ones and are never looked for."""
    hues = [colorsys.hsv_to_rgb(k / max(count, 1), 0.5, 0.5) for k in range(count)]
    return ["#" + "".join(f"{round(255 * part):02x}" for part in hue) for hue in hues]


def refuse_wanting(draft: Draft) -> None:
    """Raise SheetError with everything that is still wanting before the run can be analysed."""
    faults = [
        Fault(f"colour.{name}", "nobody has said what this colour looks like", "click a marker of it at the desk")
        for name in draft.unknown_colours
    ]
    if draft.without_start:
        faults.append(Fault("clock", "nothing says when the match starts", "choose its first picture at the desk"))
    if faults:
        raise SheetError(draft.sheet.name, faults)
