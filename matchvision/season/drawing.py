"""The next pairings of the draw, written into the list of runs."""

import csv
import io
from pathlib import Path

from matchvision.errors import Fault, OutputError, SheetError
from matchvision.records.season import Season
from matchvision.season.draw import draw_rounds
from matchvision.season.index import open_index
from matchvision.season.manifest import list_teams
from matchvision.season.outcomes import describe_line
from matchvision.season.receiving import read_received
from matchvision.season.running import RUNS, look_up
from matchvision.season.tasks import write_whole

_HEAD = ("id", "round", "table", "minus_x", "plus_x", "clip", "start_s")


def add_pairings(season: Season, out: Path) -> tuple[tuple[str, str, str], ...]:
    """Add the pairings that are due and not listed yet to the season's list; returns round, home at −x, home at +x.

    Raises
    ------
    SheetError
        Where the season has no seed or fewer than two teams.
    OutputError
        Where the list cannot be written.

    Notes
    -----
    Checked by: tests/season/test_draw.py::test_pairings_are_added_once
    """
    rules = season.sheet.draw
    teams = rules.teams or list_teams(season)
    if rules.seed is None or len(teams) < 2:
        found = "no seed" if rules.seed is None else f"{len(teams)} teams"
        fault = Fault("season.toml, draw", found, "a seed and two teams are wanted: the seed is drawn before witnesses")
        raise SheetError(str(season.folder), [fault])
    (out / RUNS).mkdir(parents=True, exist_ok=True)
    with open_index(out) as index:
        played = look_up(season, out, index, read_received(season)[0])
    lines = [describe_line(season, one) for one in played]
    listed = {(line.round, frozenset(line.teams)) for line in lines}
    due = tuple(
        (one.name, pair.minus, pair.plus)
        for one in draw_rounds(rules, teams, lines)
        for pair in one.pairings
        if pair.plus and (one.name, frozenset((pair.minus, pair.plus))) not in listed
    )
    if due:
        _append(season.folder / season.sheet.season.runs, due)
    return due


def _append(path: Path, due: tuple[tuple[str, str, str], ...]) -> None:
    try:
        text = path.read_text(encoding="utf-8-sig") if path.exists() else ",".join(_HEAD) + "\n"
        first = text.split("\n", 1)[0]
        mark = ";" if first.count(";") > first.count(",") else ","
        head = [name.strip().lower() for name in next(csv.reader([first], delimiter=mark))]
        added = io.StringIO()
        writer = csv.writer(added, delimiter=mark, lineterminator="\n")
        for name, minus, plus in due:
            said = {"round": name, "minus_x": minus, "plus_x": plus}
            writer.writerow([said.get(column, "") for column in head])
        write_whole(path, text + ("" if text.endswith("\n") else "\n") + added.getvalue())
    except OSError as error:
        raise OutputError(f"the list cannot be written ({error.strerror})", where=str(path)) from error
