"""From one line of the list of runs to a checked run."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from matchvision.errors import Fault, SheetError
from matchvision.records.season import Entry, Season
from matchvision.records.sheet import Run
from matchvision.season.keys import list_named_files
from matchvision.sheets.beside import mends_file
from matchvision.sheets.joining import join_sources
from matchvision.sheets.loading import add_mends, assemble_run
from matchvision.sheets.reading import SheetSource, find_own_sheet, read_sheets


def assemble_entry(season: Season, entry: Entry, forecasts: Mapping[str, Path]) -> tuple[Run, tuple[Path, ...]]:
    """The run that a line means, and every file that it was read from.

    Parameters
    ----------
    season, entry : the season and one of its lines.
    forecasts : sheets with what each team handed in; they take the place of any forecast that stands elsewhere.

    Returns
    -------
    run : Run
        With the entry's id for a name, its clip and its clock time where the line gives them, and with the mends by
        hand that lie beside its sheet.
    files : tuple of Path
        Sheets, what they include and name, and the clip, whether it is there or not.

    Raises
    ------
    SheetError
        With every fault of the sheets, or where the line names neither run nor clip.

    Notes
    -----
    Checked by: tests/season/test_assembling.py::test_what_was_handed_in_takes_the_place_of_any_other_forecast
    """
    shown = f"{entry.id} ({season.sheet.season.runs}, line {entry.line})"
    if entry.run is not None:
        sources = list(read_sheets(entry.run))
    elif entry.clip is not None:
        sources = _join(season, entry, forecasts, shown)
    else:
        fault = Fault(shown, "it names neither a run nor a clip", "fill in the column run, or clip and start_s")
        raise SheetError(shown, [fault])
    chosen = {team: forecasts[team] for team in entry.teams if team in forecasts}
    if entry.forecast is not None:
        chosen = dict.fromkeys(entry.teams, entry.forecast)
    for path in dict.fromkeys(chosen.values()):
        teams = [team for team, own in chosen.items() if own == path]
        sources = [*(_without_forecast(source, teams) for source in sources), *_forecasts_of(path, teams)]
    run = assemble_run([*sources, _source("the list of runs", _of_line(entry))], shown)
    files = [source.path for source in sources if source.text]
    if entry.run is not None:
        mends = mends_file(find_own_sheet(entry.run))
        run = add_mends(run, mends)
        files.append(mends)
    return run, tuple(dict.fromkeys((*files, *list_named_files(run), run.clip)))


def _join(season: Season, entry: Entry, received: Mapping[str, Path], shown: str) -> list[SheetSource]:
    """The two teams' own sheets, or what they handed in where there are none, above what the table's matches share."""
    info = season.sheet.season
    if len(entry.teams) != 2:
        fault = Fault(
            shown, "it names one team and no run", "a clip without a run folder is joined from two teams' sheets"
        )
        raise SheetError(shown, [fault])
    shared = info.tables.get(entry.table, info.shared)
    own = [(season.folder / info.teams / f"{team}.toml", received.get(team)) for team in entry.teams]
    teams = [sheet if sheet.is_file() or handed is None else handed for sheet, handed in own]
    lacking = [
        Fault(str(path.relative_to(season.folder)), "there is no such sheet", f"the own sheet of {team} is wanted")
        for path, team in zip(teams, entry.teams, strict=True)
        if not path.is_file()
    ]
    if lacking:
        raise SheetError(shown, lacking)
    return join_sources(teams, None if shared is None else season.folder / shared, entry.teams[1])


def _forecasts_of(path: Path, teams: Sequence[str]) -> list[SheetSource]:
    """What a sheet says under [forecast], of these teams alone."""
    found = []
    for source in read_sheets(path):
        blocks = source.data.get("forecast")
        if isinstance(blocks, Mapping):
            own = {name: block for name, block in blocks.items() if name in teams}
            found.append(replace(source, data={"forecast": own}))
    return found


def _without_forecast(source: SheetSource, teams: Sequence[str]) -> SheetSource:
    blocks = source.data.get("forecast")
    if not isinstance(blocks, Mapping):
        return source
    kept = {name: block for name, block in blocks.items() if name not in teams}
    return replace(source, data={**source.data, "forecast": kept})


def _of_line(entry: Entry) -> dict[str, Any]:
    """What the line itself says: name, clip and clock."""
    said: dict[str, Any] = {"run": {"name": entry.id}}
    if entry.clip is not None:
        said["run"]["clip"] = entry.clip.absolute()
    times = {"start_s": entry.start_s, "from_s": entry.from_s, "until_s": entry.until_s}
    clock = {key: value for key, value in times.items() if value is not None}
    return {**said, "clock": clock} if clock else said


def _source(shown: str, data: Mapping[str, Any]) -> SheetSource:
    return SheetSource(Path(shown).absolute(), shown, "", data, {})
