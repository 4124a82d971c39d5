"""A season as it is written down: its sheet, its list of runs, and what an instructor decided otherwise."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from matchvision.errors import Fault, SheetError
from matchvision.records.season import Entry, Override, Season, SeasonSheet
from matchvision.season.lists import Row, read_list, read_number
from matchvision.sheets.form import show_value, suggest
from matchvision.sheets.lines import find_line
from matchvision.sheets.reading import SheetSource, read_one

SHEET: Final = "season.toml"
_NEEDED: Final = ("round", "minus_x", "plus_x")
_FREE: Final = (
    "id", "table", "run", "clip", "start_s", "from_s", "until_s", "forecast", "replays", "reason",
)  # fmt: skip
_OVERRIDES: Final = ("id", "what", "team", "value", "reason", "by")
#: Teams are machines, and files are named after them.
_TEAM: Final = re.compile(r"[^\s./\\:]+")
_DO: Final = "mend these places and start again; docs/season.md says what belongs where"


def read_season(folder: Path) -> Season:
    """Read a season's folder: ``season.toml`` where there is one, the list of runs, the overrides.

    Raises
    ------
    SheetError
        With every fault of all three.

    Notes
    -----
    Checked by: tests/season/test_manifest.py::test_every_fault_is_told_with_its_line
    """
    faults: list[Fault] = []
    texts: dict[str, str] = {}
    if not folder.is_dir():
        raise SheetError(
            str(folder), [Fault(str(folder), "there is no such folder", "a season's folder is wanted")], do=_DO
        )
    sheet = _read_sheet(folder / SHEET, faults, texts)
    if sheet is None:
        raise SheetError(str(folder), faults, do=_DO)
    info = sheet.season
    entries = _read_entries(folder, info.runs, faults)
    overrides = _read_overrides(folder, info.overrides, entries, faults)
    for key, path in (
        ("shared", info.shared),
        ("rubric", info.rubric),
        *((f"tables.{k}", p) for k, p in info.tables.items()),
    ):
        if path is not None and not (folder / path).is_file():
            faults.append(
                Fault(f"{SHEET}, season.{key}", f"there is no file {path}", "paths count from the season's folder")
            )
    if faults:
        raise SheetError(str(folder), faults, do=_DO)
    return Season(folder, info.name or folder.resolve().name, sheet, entries, overrides, texts)


def list_teams(season: Season) -> tuple[str, ...]:
    """All teams: of the draw's rules, of the teams' sheets and of the list."""
    info = season.sheet.season
    sheets = sorted(path.stem for path in (season.folder / info.teams).glob("*.toml"))
    listed = sorted({team for entry in season.entries for team in entry.teams})
    return tuple(dict.fromkeys((*season.sheet.draw.teams, *sheets, *listed)))


def _read_sheet(path: Path, faults: list[Fault], texts: dict[str, str]) -> SeasonSheet | None:
    if not path.is_file():
        return SeasonSheet()
    source = read_one(path, path.name, faults)
    if source is None:
        return None
    texts[source.shown] = source.text
    try:
        return SeasonSheet.model_validate(source.data)
    except ValidationError as error:
        faults += [
            _tell(source, tuple(details["loc"]), details["type"], details["input"], details["msg"])
            for details in error.errors(include_url=False)
        ]
    return None


def _tell(source: SheetSource, key: tuple[str | int, ...], kind: str, found: object, said: str) -> Fault:
    line = find_line(source.lines, key)
    where = f"{source.shown}{f', line {line}' if line else ''}, {'.'.join(map(str, key))}"
    if kind == "extra_forbidden":
        allowed = _keys_at(key[:-1])
        meant = suggest(str(key[-1]), allowed)
        return Fault(
            where, "there is no such key", f'did you mean "{meant}"?' if meant else f"keys: {', '.join(allowed)}"
        )
    return Fault(where, f"found {show_value(found)}", said[:1].lower() + said[1:])


def _keys_at(key: Sequence[str | int]) -> tuple[str, ...]:
    model: Any = SeasonSheet
    for part in key:
        fields: Mapping[str, Any] = model.model_fields
        model = fields[str(part)].annotation
    return tuple(model.model_fields)


def _read_entries(folder: Path, name: Path, faults: list[Fault]) -> tuple[Entry, ...]:
    path = folder / name
    if not path.exists():
        return ()  # before the first round there is nothing to list
    shown = str(name)
    rows = read_list(path, shown, _NEEDED, _FREE, faults)
    entries: list[Entry] = []
    for row in rows:
        entry = _entry(folder, row, shown, faults)
        twice = next((e for e in entries if e.id == entry.id), None)
        if twice is not None:
            found = f'the id "{entry.id}" stands on line {twice.line} already'
            faults.append(
                Fault(f"{shown}, line {entry.line}", found, "give each row an id of its own in the column id")
            )
        entries.append(entry)
    known = {entry.id for entry in entries}
    for entry in entries:
        where = f"{shown}, line {entry.line}, replays"
        if entry.replays and entry.replays not in known:
            meant = suggest(entry.replays, tuple(known))
            wanted = f'did you mean "{meant}"?' if meant else "the id of the run that it replays is wanted"
            faults.append(Fault(where, f'there is no run "{entry.replays}"', wanted))
        if entry.replays and not entry.reason:
            faults.append(Fault(where, "it has no reason", "say in the column reason why the run was replayed"))
        if entry.replays == entry.id:
            faults.append(Fault(where, "it replays itself", "the id of another run is wanted"))
    return tuple(entries)


def _entry(folder: Path, row: Row, shown: str, faults: list[Fault]) -> Entry:
    line, cells = row
    teams = tuple(cells[side] for side in ("minus_x", "plus_x") if cells[side])
    where = f"{shown}, line {line}"
    if not teams:
        faults.append(Fault(where, "no team is named", "minus_x and plus_x name the teams, or one of them"))
    faults += [
        Fault(
            where,
            f'found the team "{team}"',
            "a name without blanks, full stops and slashes is wanted: pages are named so",
        )
        for team in teams
        if not _TEAM.fullmatch(team)
    ]
    if len(teams) == 2 and teams[0] == teams[1]:
        faults.append(Fault(where, f"{teams[0]} meets itself", "two teams are wanted"))
    paths: dict[str, Path | None] = {}
    for column in ("run", "clip", "forecast"):
        paths[column] = folder / cells[column] if cells[column] else None
    if paths["run"] is not None and paths["clip"] is not None:
        faults.append(Fault(where, "it names a run and a clip", "one of them is wanted: a run's sheet names its clip"))
    start_s, from_s, until_s = (read_number(row, c, shown, faults) for c in ("start_s", "from_s", "until_s"))
    # Rows without an id of their own: round, table and teams, which a class does not repeat but by a replay.
    ident = cells["id"] or "-".join(part for part in (cells["round"], cells["table"], *teams) if part)
    return Entry(
        id=ident, line=line, round=cells["round"], table=cells["table"], teams=teams, run=paths["run"],
        clip=paths["clip"], start_s=start_s, from_s=from_s, until_s=until_s, forecast=paths["forecast"],
        replays=cells["replays"], reason=cells["reason"],
    )  # fmt: skip


def _read_overrides(folder: Path, name: Path, entries: Sequence[Entry], faults: list[Fault]) -> tuple[Override, ...]:
    path = folder / name
    if not path.exists():
        return ()
    shown, by_id, found = str(name), {entry.id: entry for entry in entries}, []
    for line, cells in read_list(path, shown, _OVERRIDES[:5], _OVERRIDES[5:], faults):
        where = f"{shown}, line {line}"
        entry = by_id.get(cells["id"])
        if entry is None:
            meant = suggest(cells["id"], tuple(by_id))
            wanted = f'did you mean "{meant}"?' if meant else "the id of a run is wanted"
            faults.append(Fault(where, f'there is no run "{cells["id"]}"', wanted))
        elif (cells["team"] or cells["value"]) not in entry.teams:
            named = cells["team"] or cells["value"]
            faults.append(Fault(where, f'"{named}" does not take part in it', f"{' or '.join(entry.teams)} is wanted"))
        if not cells["reason"]:
            faults.append(Fault(where, "it has no reason", "an override without a reason does not count: say why"))
        if (
            cells["what"] != "winner"
            and read_number((line, cells), "value", shown, faults) is None
            and not cells["value"]
        ):
            faults.append(Fault(where, "it has no value", "the points that count instead are wanted"))
        found.append(Override(cells["id"], cells["what"], cells["team"], cells["value"], cells["reason"], cells["by"]))
    return tuple(found)
