"""Forecasts that are handed in: checked on arrival, kept as they came, logged with time and fingerprint."""

import csv
import io
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from matchvision.errors import CannotMeasure, Fault, MatchvisionError, OutputError, SheetError
from matchvision.records.classbook import HandedIn
from matchvision.records.season import Season
from matchvision.season.keys import list_named_files
from matchvision.season.manifest import list_teams
from matchvision.season.spreadsheet import read_spreadsheet, sheet_of_row
from matchvision.season.tasks import write_whole
from matchvision.sheets.form import suggest
from matchvision.sheets.joining import load_team
from matchvision.sheets.reading import read_sheets

LOG: Final = "log.csv"
_COLUMNS: Final = ("received", "team", "file", "fingerprint")
_SPREADSHEETS: Final = frozenset({".csv", ".xlsx"})


@dataclass(frozen=True)
class Receipt:
    """One forecast that arrived: accepted with its fingerprint, or refused with what is wrong.

    ``remark``: what is odd about it, though it is accepted.
    """

    team: str
    fingerprint: str
    late: bool
    fault: str
    remark: str = ""


def receive(season: Season, source: Path, now: datetime) -> tuple[Receipt, ...]:
    """Take in forecasts: a spreadsheet with a row a team, a folder of sheets, or one sheet.

    Every forecast is checked as a sheet is; what passes is kept in the season's folder of received forecasts and logged
    with ``now`` and its fingerprint. One bad forecast refuses that team's alone. A forecast that is there already, with
    the same fingerprint, is not logged again.

    Raises
    ------
    OutputError, SheetError, SetupError
        Where the source cannot be read at all, or nothing can be written.

    Notes
    -----
    Checked by: tests/season/test_receiving.py::test_what_arrives_is_checked_and_logged
    """
    folder = season.folder / season.sheet.season.handed_in
    sheets = _collect(source)
    log = _read_log(folder)
    receipts = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for team, text, origin in sheets:
            receipts.append(_take_in(season, folder, log, team, text, origin, now))
        write_whole(folder / LOG, _format_log(log))
    except OSError as error:
        what = f"what was received cannot be kept ({error.strerror})"
        raise OutputError(what, where=str(folder), do="check free space and your rights there") from error
    return tuple(receipts)


def _collect(source: Path) -> list[tuple[str, str, Path | None]]:
    """Team, its sheet's text, and the file that it came in; the text is empty where a file is copied as it is."""
    if source.is_dir():
        paths = sorted(source.glob("*.toml"))
        if not paths:
            fault = Fault(str(source), "it holds no sheet", "files TEAM.toml are wanted, each with [forecast.TEAM]")
            raise SheetError(str(source), [fault])
        return [(path.stem, "", path) for path in paths]
    if not source.is_file():
        raise SheetError(
            str(source), [Fault(str(source), "there is no such file", "a spreadsheet, a sheet or a folder")]
        )
    if source.suffix.lower() in _SPREADSHEETS:
        return [(row.team, sheet_of_row(row), None) for row in read_spreadsheet(source)]
    return [(source.stem, "", source)]


def _take_in(
    season: Season, folder: Path, log: list[dict[str, str]], team: str, text: str, origin: Path | None, now: datetime
) -> Receipt:
    from matchvision.forecast import seal_forecast  # takes long to load

    number = 1 + sum(row["team"] == team for row in log)
    kept, trial = folder / f"{team}-{number}", folder / f".{team}-{number}.checking"
    shutil.rmtree(trial, ignore_errors=True)
    trial.mkdir()
    try:
        if origin is None:
            (trial / f"{team}.toml").write_text(text, encoding="utf-8")
        else:
            _copy_whole(origin, trial, team, _shared(season))
        # Checked as it is kept, so that nothing counts that is not there any more when it is played.
        checked = load_team(trial / f"{team}.toml", _shared(season))
        seal = seal_forecast(checked).get(team)
        if seal is None:
            held = ", ".join(checked.sheet.forecast)
            return Receipt(
                team, "", False, f"it holds the forecast of {held}, not of {team}: name the file after the team"
            )
        deadline = season.sheet.season.deadline
        late = deadline is not None and _in_utc(now) > _in_utc(deadline)
        remark = _remark_stranger(season, team)
        former = [row for row in log if row["team"] == team]
        if former and former[-1]["fingerprint"] == seal:
            return Receipt(team, seal, late, "", remark)
        shutil.rmtree(kept, ignore_errors=True)  # of a receipt that was stopped before it was logged
        trial.rename(kept)
        received, file = _in_utc(now).isoformat(timespec="seconds"), f"{kept.name}/{team}.toml"
        log.append({"received": received, "team": team, "file": file, "fingerprint": seal})
        return Receipt(team, seal, late, "", remark)
    except CannotMeasure:
        return Receipt(team, "", False, f"it holds no [forecast.{team}]")
    except MatchvisionError as error:
        return Receipt(team, "", False, error.message().replace(f"{trial}/", ""))
    finally:
        shutil.rmtree(trial, ignore_errors=True)


def _shared(season: Season) -> Path | None:
    """The sheet that says how colours look; matches at several tables share them, as the teams' markers do."""
    info = season.sheet.season
    shared = next(iter(info.tables.values()), None) if info.shared is None else info.shared
    return None if shared is None else season.folder / shared


def _remark_stranger(season: Season, team: str) -> str:
    """A team that neither has a sheet nor stands in the list may be another's name with a slip."""
    known = list_teams(season)
    if not known or team in known:
        return ""
    meant = suggest(team, known)
    return f"no team of this season is called {team}" + (f"; did they mean {meant}?" if meant else "")


def _copy_whole(origin: Path, target: Path, team: str, shared: Path | None) -> None:
    """A sheet with all that it includes and names, at the same places beside it.

    Raises
    ------
    SheetError
        Where it has faults, or something lies outside its folder.
    """
    run = load_team(origin, shared)
    base = origin.parent.resolve()
    files = {source.path.resolve() for source in read_sheets(origin)}
    files |= {path.resolve() for path in list_named_files(run) if path != run.clip}
    for path in sorted(files - {origin.resolve()}):
        if not path.is_relative_to(base):
            wanted = "hand in everything in one folder, beside the sheet"
            raise SheetError(origin.name, [Fault(str(path), "it lies outside the sheet's folder", wanted)])
        copy = target / path.relative_to(base)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
    shutil.copyfile(origin, target / f"{team}.toml")


def _in_utc(moment: datetime) -> datetime:
    """A time without a zone is the computer's own."""
    return moment.astimezone(UTC)


def read_received(season: Season) -> tuple[Mapping[str, Path], tuple[HandedIn, ...]]:
    """The forecast that counts of each team, and every team's status; nothing where no forecasts are received at all.

    Of several the last in time counts; a team that has only late ones plays with its first late one.

    Raises
    ------
    SheetError
        Where the log has been spoiled, or a file was changed after it was logged.

    Notes
    -----
    Checked by: tests/season/test_receiving.py::test_the_last_in_time_counts
    """
    info = season.sheet.season
    folder = season.folder / info.handed_in
    log = _read_log(folder)
    if not log and info.deadline is None:
        return {}, ()
    chosen: dict[str, Path] = {}
    told = []
    for team in dict.fromkeys((*list_teams(season), *(row["team"] for row in log))):
        own = [row for row in log if row["team"] == team]
        in_time = [row for row in own if info.deadline is None or _when(row) <= _in_utc(info.deadline)]
        row = in_time[-1] if in_time else own[0] if own else None
        if row is None:
            told.append(HandedIn(team, "missing", "", "", ""))
            continue
        path = folder / row["file"]
        _refuse_changed(path, team, row["fingerprint"], _shared(season))
        chosen[team] = path
        told.append(HandedIn(team, "in time" if in_time else "late", row["received"], row["file"], row["fingerprint"]))
    return chosen, tuple(told)


def _refuse_changed(path: Path, team: str, logged: str, shared: Path | None) -> None:
    from matchvision.forecast import seal_forecast  # takes long to load

    try:
        seal = seal_forecast(load_team(path, shared)).get(team)
    except CannotMeasure:
        seal = None
    if seal != logged:
        fault = Fault(
            str(path), "it is not what was logged when it was received", "lay the file as it came back into place"
        )
        raise SheetError(str(path.parent), [fault])


def _when(row: Mapping[str, str]) -> datetime:
    return _in_utc(datetime.fromisoformat(row["received"]))


def _read_log(folder: Path) -> list[dict[str, str]]:
    path = folder / LOG
    if not path.is_file():
        return []
    do = "the log is written by `matchvision season FOLDER --receive`; do not change it by hand"
    try:
        rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
        kept = [{column: str(row[column]) for column in _COLUMNS} for row in rows]
        for row in kept:
            _when(row)
    except (KeyError, ValueError, OSError) as error:
        raise SheetError(
            str(path),
            [Fault(str(path), f"the log cannot be read ({error})", "its first line and times as written")],
            do=do,
        ) from error
    return kept


def _format_log(rows: Sequence[Mapping[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
