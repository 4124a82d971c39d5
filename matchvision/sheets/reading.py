"""Read run sheets from disk: the sheet itself, what it includes, and all of them laid over each other."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os.path import relpath
from pathlib import Path
from typing import Any, Final

from matchvision.errors import Fault, SheetError
from matchvision.sheets.beside import desk_file
from matchvision.sheets.lines import Key, find_line, holds, list_lines

#: Keys whose value is a file, counted from the file in which they stand; ``*`` is any name.
FILE_KEYS: Final = (
    ("run", "clip"),
    ("camera", "lens"),
    ("camera", "calibration"),
    ("rope", "link", "hang_test"),
    ("machine", "*", "commands"),
    ("forecast", "*", "curve"),
)

_CLIP_ENDINGS: Final = frozenset({".mp4", ".mov", ".avi", ".mkv", ".webm", ".m4v", ".3gp"})
_TOML_PLACE: Final = re.compile(
    r"^(?P<what>.*?) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$"
)


@dataclass(frozen=True, eq=False)
class SheetSource:
    """One sheet file: its place, its name as shown to people, its text, its data and the line of each key."""

    path: Path
    shown: str
    text: str
    data: Mapping[str, Any]
    lines: Mapping[Key, int]


def read_sheets(path: Path) -> tuple[SheetSource, ...]:
    """Read a run sheet, everything that it includes, and what the desk has learnt for it.

    Parameters
    ----------
    path : Path
        The run sheet, or the folder that holds it as ``run.toml``.

    Returns
    -------
    tuple of SheetSource
        In the order of laying over each other: a later one wins. The run's own sheet comes after what it includes, and
        what a person did at the desk, ``desk.toml`` beside it, comes last.

    Raises
    ------
    SheetError
        With every file that is missing, is no TOML or includes itself.
    """
    own = find_own_sheet(path)
    faults: list[Fault] = []
    sources: list[SheetSource] = []
    _collect(own, own.parent, (), sources, faults)
    learnt = desk_file(own)
    if learnt.is_file() and all(source.path != learnt for source in sources):
        _collect(learnt, own.parent, (own,), sources, faults)
    if faults:
        raise SheetError(str(path), faults)
    return tuple(sources)


def merge_sheets(sheets: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Lay sheets over each other: later ones win, tables are joined key by key, arrays are replaced whole.

    Notes
    -----
    Checked by: tests/sheets/test_reading.py::test_merging_is_associative
    """
    merged: dict[str, Any] = {}
    for sheet in sheets:
        merged = _lay_over(merged, sheet)
    return merged


def find_place(sources: Sequence[SheetSource], key: Key) -> tuple[int, int]:
    """Number of the sheet in which a key stands, and the line there (0 where no line can be named).

    The sheet is the one whose value won; where the key itself is missing, the one that holds the table around it.
    """
    holders = list(range(len(sources)))
    values: list[Any] = [source.data for source in sources]
    for part in key:
        kept = [(holder, value[part]) for holder, value in zip(holders, values, strict=True) if holds(value, part)]
        if not kept:
            break
        if isinstance(kept[-1][1], list):
            kept = kept[-1:]  # arrays are replaced whole, so only the last one counts
        holders = [holder for holder, _ in kept]
        values = [value for _, value in kept]
    return holders[-1], find_line(sources[holders[-1]].lines, key) or 0


def locate(sources: Sequence[SheetSource], key: Key) -> str:
    """Where a key stands, for people: file, line and dotted key."""
    number, line = find_place(sources, key)
    shown = sources[number].shown
    head = f"{shown}, line {line}" if line else shown
    return f"{head}, {spell_key(key, merge_sheets([source.data for source in sources]))}"


def spell_key(key: Key, data: Any) -> str:  # noqa: ANN401 - whatever stands in the sheet
    """A key as people write it: ``rope.beads[bead_04].at_m``; an array's entry goes by its name or its number."""
    spelled = ""
    value = data
    for part in key:
        value = value[part] if holds(value, part) else None
        if isinstance(part, int):
            name = value.get("name") if isinstance(value, Mapping) else None
            spelled += f"[{name}]" if isinstance(name, str) else f"[no. {part + 1}]"
        else:
            spelled += f".{part}" if spelled else part
    return spelled


def find_own_sheet(path: Path) -> Path:
    """The run sheet's own file, absolute."""
    do = "give a run sheet or the folder that holds run.toml; `matchvision new FOLDER` writes one to start from"
    if path.is_dir():
        sheet = path / "run.toml"
        if not sheet.is_file():
            raise SheetError(
                str(path),
                [Fault(path.resolve().name, "there is no run.toml in this folder", "a run sheet is wanted")],
                do=do,
            )
        return sheet.resolve()
    if not path.exists():
        raise SheetError(
            str(path), [Fault(path.name, "there is no such file or folder", "a run sheet is wanted")], do=do
        )
    if path.suffix.lower() in _CLIP_ENDINGS:
        fault = Fault(path.name, "this is a clip", "a run sheet is wanted, which names the clip")
        raise SheetError(str(path), [fault], do=do)
    return path.resolve()


def _collect(
    path: Path, folder: Path, chain: tuple[Path, ...], sources: list[SheetSource], faults: list[Fault]
) -> None:
    """Add a sheet to ``sources``, behind everything that it includes."""
    shown = relpath(path, folder)
    source = read_one(path, shown, faults)
    if source is None:
        return
    for included in _included_files(source, faults):
        if included in (*chain, path):
            where = f"{shown}, line {source.lines.get(('include',), 1)}, include"
            ring = " -> ".join(relpath(p, folder) for p in (*chain, path, included))
            faults.append(Fault(where, f"the sheets include each other in a ring: {ring}", "take one of them out"))
        elif not included.is_file():
            where = f"{shown}, line {source.lines.get(('include',), 1)}, include"
            wanted = f"paths count from the folder of {shown}"
            faults.append(Fault(where, f"there is no file {relpath(included, folder)}", wanted))
        else:
            _collect(included, folder, (*chain, path), sources, faults)
    own = {key: value for key, value in source.data.items() if key != "include"}
    data = _place_files(own, path.parent, ())
    sources.append(SheetSource(path, shown, source.text, data, source.lines))


def read_one(path: Path, shown: str, faults: list[Fault]) -> SheetSource | None:
    """One TOML file, ``shown`` so to people; None with the fault added where it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        faults.append(Fault(shown, "this is not a text file in UTF-8", "a run sheet is plain text, written as TOML"))
        return None
    except OSError as error:
        faults.append(Fault(shown, f"it cannot be read ({error.strerror})", "check the file and its rights"))
        return None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        faults.append(_syntax_fault(shown, text, str(error)))
        return None
    return SheetSource(path, shown, text, data, list_lines(text))


def _syntax_fault(shown: str, text: str, message: str) -> Fault:
    """Say where TOML breaks off and show the line."""
    match = _TOML_PLACE.match(message)
    if match is None:
        return Fault(shown, f"this is not valid TOML: {message}", 'lines look like  key = value  or  key = "text"')
    lines = text.splitlines() or [""]
    line = int(match["line"]) if match["line"] else len(lines)
    column = int(match["column"]) if match["column"] else len(lines[-1]) + 1
    shown_line = lines[line - 1].strip() if line <= len(lines) else ""
    found = f"this is not valid TOML: {match['what'][:1].lower()}{match['what'][1:]}, in `{shown_line[:80]}`"
    wanted = 'lines look like  key = value ; words stand in "straight quotes", decimals have a point, not a comma'
    return Fault(f"{shown}, line {line}, column {column}", found, wanted)


def _included_files(source: SheetSource, faults: list[Fault]) -> list[Path]:
    raw = source.data.get("include", [])
    if not isinstance(raw, list) or not all(isinstance(entry, str) for entry in raw):
        where = f"{source.shown}, line {source.lines.get(('include',), 1)}, include"
        faults.append(Fault(where, f"found {raw!r}", 'a list of files is wanted, as in ["../table.toml"]'))
        return []
    return [(source.path.parent / entry).resolve() for entry in raw]


def _lay_over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for key, value in above.items():
        under = merged.get(key)
        both = isinstance(value, Mapping) and isinstance(under, Mapping)
        merged[key] = _lay_over(under, value) if both else value  # type: ignore[arg-type]
    return merged


def _place_files(data: Mapping[str, Any], folder: Path, at: tuple[str, ...]) -> dict[str, Any]:
    """Replace the names of files by absolute paths, counted from the folder of the sheet that names them."""
    placed: dict[str, Any] = {}
    for key, value in data.items():
        here = (*at, key)
        if isinstance(value, Mapping):
            placed[key] = _place_files(value, folder, here)
        elif isinstance(value, str) and value.strip() and _is_file_key(here):
            placed[key] = (folder / value.strip()).resolve()
        else:
            placed[key] = value
    return placed


def _is_file_key(key: tuple[str, ...]) -> bool:
    return any(
        len(pattern) == len(key) and all(p in ("*", k) for p, k in zip(pattern, key, strict=True))
        for pattern in FILE_KEYS
    )
