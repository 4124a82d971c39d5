"""Mends by hand: their file beside the run sheet, read, checked and written."""

import json
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from matchvision.errors import Fault, SheetError
from matchvision.records.mends import Cut, End, Mends, Put, Strike, Tie
from matchvision.records.sheet import RunSheet
from matchvision.sheets.beside import format_toml, write_whole
from matchvision.sheets.form import ask_meant, show_value
from matchvision.sheets.lines import list_lines

_HEAD: Final = (
    "# Mends by hand, in the order in which they are applied between following the markers and measuring motion.\n"
    "# Written at the desk; you may change it by hand. Take the file away, and the run is as it was tracked.\n\n"
)
_VERBS: Final[Mapping[str, type[BaseModel]]] = {"cut": Cut, "strike": Strike, "tie": Tie, "set": Put, "end": End}


def read_mends(path: Path, sheet: RunSheet) -> tuple[Mends, str]:
    """The mends of a run and the file's text; none where there is no file.

    Raises
    ------
    SheetError
        With every fault: of form, and of markers, rope ends and frames that there cannot be.

    Notes
    -----
    Checked by: tests/sheets/test_mends.py::test_example_is_read
    """
    if not path.is_file():
        return Mends(), ""
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as reason:
        wanted = "a file of mends is wanted; `matchvision schema mends` says how it looks"
        raise SheetError(path.name, [Fault(path.name, f"it cannot be read ({reason})", wanted)]) from reason
    try:
        mends = Mends.model_validate_json(json.dumps(data, default=str), strict=True)
    except ValidationError as error:
        faults = [_describe(path, text, details) for details in error.errors(include_url=False)]
        raise SheetError(path.name, faults, do="mend the file, or take it away") from error
    check_mends(mends, sheet, path.name, text)
    return mends, text


def check_mends(mends: Mends, sheet: RunSheet, shown: str, text: str = "") -> None:
    """Refuse mends of markers, rope ends or frames that there cannot be.

    Raises
    ------
    SheetError
    """
    markers = list_markers(sheet)
    ends = () if sheet.rope is None else sheet.rope.ends
    lines = list_lines(text) if text else {}
    faults = []
    for number, mend in enumerate(mends.mend):
        line = lines.get(("mend", number))
        where = f"{shown}{f', line {line}' if line else ''}, mend {number + 1}"
        if isinstance(mend, End):
            if mend.end not in ends:
                faults.append(Fault(where, f'the rope has no end "{mend.end}"', ask_meant(mend.end, ends, "end")))
        elif mend.marker not in markers:
            faults.append(Fault(where, f'"{mend.marker}" names no marker', ask_meant(mend.marker, markers, "marker")))
        if isinstance(mend, Tie) and mend.followed_as not in markers:
            wanted = ask_meant(mend.followed_as, markers, "marker")
            faults.append(Fault(where, f'"{mend.followed_as}" names no marker', wanted))
        if isinstance(mend, Strike | Tie) and mend.until_frame is not None and mend.until_frame < mend.frame:
            found = f"it goes from frame {mend.frame} to frame {mend.until_frame}"
            faults.append(Fault(where, found, "until_frame must not come before frame"))
    if faults:
        raise SheetError(shown, faults, do="mend the file, or take it away")


def list_markers(sheet: RunSheet) -> tuple[str, ...]:
    """Names of all markers as the tables have them."""
    names: list[str] = []
    if sheet.rope is not None:
        names += [bead.name for bead in sheet.rope.beads]
        if sheet.rope.link is not None:
            names += [marker.name for marker in sheet.rope.link.markers]
    for machine, block in sheet.machine.items():
        names += [f"{machine}.{marker.name}" for marker in block.marker]
        names += [f"{machine}.{mark.name}" for wheel in block.wheel for mark in wheel.rim]
    return tuple(names)


def write_mends(path: Path, mends: Mends) -> None:
    """Write mends to their file, whole or not at all; no mends, no file.

    Raises
    ------
    OutputError
    """
    if not mends.mend:
        path.unlink(missing_ok=True)
        return
    data: dict[str, Any] = mends.model_dump(mode="json", exclude_none=True)
    data["mend"] = [{key: value for key, value in mend.items() if value != ""} for mend in data["mend"]]
    write_whole(path, _HEAD + format_toml(data))


def describe_mends() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a file of mends."""
    schema = Mends.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "matchvision mends"}


def _describe(path: Path, text: str, details: ErrorDetails) -> Fault:
    """A fault of form, with the line at which its mend begins."""
    place: Sequence[int | str] = details["loc"]
    number = next((part for part in place if isinstance(part, int)), None)
    line = None if number is None else list_lines(text).get(("mend", number))
    where = f"{path.name}{f', line {line}' if line else ''}"
    key = str(place[-1]) if place else ""
    kind = details["type"]
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        given = details["input"].get("do") if isinstance(details["input"], dict) else None
        wanted = ask_meant(given, _VERBS, "verb") if isinstance(given, str) else "do = … is wanted"
        return Fault(f"{where}, do", f"found {show_value(given)}", f"{wanted} ({', '.join(_VERBS)})")
    if kind == "missing":
        return Fault(f"{where}, {key}", "this key is missing", "it must be given")
    if kind == "extra_forbidden":
        model: type[BaseModel] | None = _VERBS.get(str(place[-2])) if len(place) > 1 else Mends
        known = tuple(model.model_fields) if model else ()
        return Fault(f"{where}, {key}", "there is no such key", ask_meant(key, known, "key"))
    wanted = details["msg"][:1].lower() + details["msg"][1:]
    return Fault(f"{where}, {key}", f"found {show_value(details['input'])}", wanted)
