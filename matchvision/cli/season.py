"""The command for a whole class."""

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from matchvision.cli.exits import SHORT_OF_SOMETHING
from matchvision.cli.showing import list_points, say, shown_progress, wishes_of

if TYPE_CHECKING:
    from matchvision.records.classbook import ClassBook
    from matchvision.records.season import Season
    from matchvision.season.holding import Held, Wishes
    from matchvision.season.running import Crew
    from matchvision.season.tasks import Done, Task

#: What is told of runs that need an eye, at most.
MOST_DOUBTS = 8


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="Where the results go; outputs/NAME OF THE SEASON if not given."
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    help="Processes that analyse runs, each with one thread; one a core if not given.",
)
@click.option(
    "--cluster", metavar="ADDRESS", help="Work on a Dask cluster that runs already, instead of on this machine."
)
@click.option("--no-causes", is_flag=True, help="Verdicts only; a later start seeks the causes.")
@click.option("--no-remedies", is_flag=True, help="Leave out what would have won; a later start seeks it.")
@click.option("--recheck", is_flag=True, help="Read every clip's content again, though size and time are as they were.")
@click.option("--tidy", is_flag=True, help="Take away results of runs as they were before a sheet or clip was changed.")
@click.option(
    "--receive",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take in forecasts: a spreadsheet, a sheet or a folder of sheets.",
)
@click.option("--draw", is_flag=True, help="Add the pairings that the draw gives next to the list of runs.")
@click.option("--demo", is_flag=True, help="Film a small invented season into FOLDER first.")
@click.option("--json", "as_json", is_flag=True, help="Print all tables as JSON, and nothing else.")
@click.pass_context
def season(
    ctx: click.Context,
    folder: Path,
    out: Path | None,
    workers: int | None,
    cluster: str | None,
    receive: Path | None,
    *,
    no_causes: bool,
    no_remedies: bool,
    recheck: bool,
    tidy: bool,
    draw: bool,
    demo: bool,
    as_json: bool,
) -> None:
    """A whole class: analyse, compare, mark, list the upsets.

    FOLDER holds runs.csv, a line a run; docs/season.md says what else may lie there. Runs are analysed side by side,
    verdicts first, then causes, last what would have won; whatever is finished is never done again, however the work
    was stopped. A clip that cannot be used costs its own line only.
    """  # fmt: skip
    quiet = wishes_of(ctx).quiet or as_json
    if not (demo or recheck or tidy or draw or receive is not None) and _tell_unchanged(
        ctx, folder, out, causes=not no_causes, remedies=not no_remedies, quiet=quiet, as_json=as_json
    ):
        return
    from matchvision.season.manifest import read_season

    if demo:
        _film_demo(folder, quiet=quiet)
    loaded = read_season(folder)
    if receive is not None:
        if not _receive(loaded, receive, quiet=quiet, as_json=as_json):
            ctx.exit(SHORT_OF_SOMETHING)
        return
    from matchvision.records.naming import name_folder
    from matchvision.season.holding import Wishes

    target = out if out is not None else Path("outputs") / name_folder(loaded.name)
    if draw:
        _draw(loaded, target, quiet=quiet, as_json=as_json)
        return
    _refuse_nothing(loaded)
    held = _hold(loaded, target, workers, cluster, Wishes(not no_causes, not no_remedies, recheck, tidy), quiet=quiet)
    if tidy:
        say(tell_tidied(held.gone), quiet=quiet)
    if held.book is None:
        _say_unchanged(ctx, held.page, held.failed, quiet=quiet, as_json=as_json)
        return
    say(tell_season(held.book), quiet=quiet)
    say(f"Page: {held.page}", quiet=quiet)
    if as_json:
        _print_tables(held.page)
    if held.failed:
        ctx.exit(SHORT_OF_SOMETHING)


def _refuse_nothing(loaded: "Season") -> None:
    """Stop where there is no run and no team, which is no class but a folder named by mistake."""
    from matchvision.errors import Fault, SheetError
    from matchvision.season.manifest import list_teams

    if loaded.entries or list_teams(loaded):
        return
    runs = str(loaded.sheet.season.runs)
    found = "it holds run.toml, one run's sheet" if (loaded.folder / "run.toml").is_file() else "nothing lists a run"
    raise SheetError(
        str(loaded.folder),
        [Fault(runs, f"this folder is no season: {found}", f"{runs} is wanted, a line a run")],
        do="write it as docs/season.md shows, take forecasts in with --receive FILE, or see a season with --demo; "
        "one run alone goes to `matchvision analyze`",
    )


def _tell_unchanged(
    ctx: click.Context, folder: Path, out: Path | None, *, causes: bool, remedies: bool, quiet: bool, as_json: bool
) -> bool:
    """Say so where nothing has changed since the last time, before anything is loaded that takes long."""
    from matchvision.records.naming import name_folder
    from matchvision.season.unchanged import find_unchanged, list_steps, name_roughly

    target = out if out is not None else Path("outputs") / name_folder(name_roughly(folder))
    last = find_unchanged(folder, target, {"steps": list_steps(causes=causes, remedies=remedies)})
    if last is None:
        return False
    _say_unchanged(ctx, target / last.page, last.failed, quiet=quiet, as_json=as_json)
    return True


def _say_unchanged(ctx: click.Context, page: Path, failed: int, *, quiet: bool, as_json: bool) -> None:
    say("Nothing has changed since the last time.", quiet=quiet)
    if failed:
        say(f"{failed} run{'s have' if failed != 1 else ' has'} no answer; the page says why.", quiet=quiet)
    say(f"Page: {page}", quiet=quiet)
    if as_json:
        _print_tables(page)
    if failed:
        ctx.exit(SHORT_OF_SOMETHING)


def _print_tables(page: Path) -> None:
    """All tables, from the document that was written beside the page."""
    click.echo(page.with_suffix(".json").read_text(encoding="utf-8"), nl=False)


def _hold(
    loaded: "Season",
    out: Path,
    workers: int | None,
    cluster: str | None,
    wishes: "Wishes",
    *,
    quiet: bool,
) -> "Held":
    from matchvision.season.holding import Telling, hold_season
    from matchvision.season.workers import count_cores

    def first(page: Path, book: "ClassBook") -> None:
        del book
        say(f"All verdicts are there, causes follow: {page}", quiet=quiet)

    crew_size = workers or count_cores()
    with shown_progress(quiet=quiet) as tell:
        # How many work on a cluster is not known here.
        notice = None if cluster is not None else lambda text: say(text, quiet=quiet)
        telling = Telling(progress=tell, first=first, notice=notice)
        return hold_season(loaded, out, _crew(crew_size, cluster), wishes, telling, workers=crew_size)


def _crew(workers: int, cluster: str | None) -> "Crew":
    """Who does the work."""

    def work(tasks: Sequence["Task"], done: "Done") -> None:
        if cluster is not None:
            from matchvision.season.cluster import work_on_cluster

            work_on_cluster(cluster, tasks, done)
            return
        from matchvision.season.workers import work_locally

        work_locally(tasks, workers, done)

    return work


def tell_season(book: "ClassBook") -> str:
    """How far the season has come, what to look at first, and the greatest upset."""
    from matchvision.report.classwords import chance_words, count_words, weight_words

    doubts = [f"{doubt.id} ({weight_words(doubt.weight)}): {in_a_line(doubt.why[0])}" for doubt in book.doubts]
    shown = doubts[:MOST_DOUBTS]
    if len(doubts) > len(shown):
        shown.append(f"and {len(doubts) - len(shown)} more on the page")
    upsets = [f"{u.winner} beat {u.loser}, though given {chance_words(u.chance)} ({u.id})" for u in book.upsets[:3]]
    parts = [f"{count_words(book)}.", list_points("These need a human eye:", shown), list_points("Upsets:", upsets)]
    return "\n".join(part for part in parts if part)


def tell_tidied(gone: int | None) -> str:
    """How many results have gone, or why none has."""
    if gone is None:
        return "Nothing was taken away: a run cannot be read now, and its results may be among the older ones."
    return (
        f"{gone} result{'s' * (gone != 1)} of runs as they were before a change {'has' if gone == 1 else 'have'} gone."
    )


def in_a_line(why: str) -> str:
    """A message of many lines in one: of a sheet's faults the first, and how many more there are."""
    first, *rest = why.splitlines()
    faults = [line.strip().removeprefix("- ") for line in rest if line.startswith("  - ")]
    if not faults:
        return first
    return faults[0] + (f" (and {len(faults) - 1} more)" if len(faults) > 1 else "")


def _receive(loaded: "Season", source: Path, *, quiet: bool, as_json: bool) -> bool:
    """Take in forecasts and tell of each; whether all were accepted."""
    from matchvision.season.receiving import read_received, receive

    receipts = receive(loaded, source, datetime.now().astimezone())
    for one in receipts:
        if one.fault:
            say(f"{one.team}: refused. {one.fault}", quiet=quiet)
        else:
            say(f"{one.team}: received{', late' if one.late else ''}, fingerprint {one.fingerprint}", quiet=quiet)
            if one.remark:
                say(f"  {one.remark}", quiet=quiet)
    missing = [one.team for one in read_received(loaded)[1] if one.status == "missing"]
    if missing:
        say(f"Missing: {', '.join(missing)}.", quiet=quiet)
    if as_json:
        told = {"received": [vars(one) for one in receipts], "missing": missing}
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))
    return not any(one.fault for one in receipts)


def _draw(loaded: "Season", out: Path, *, quiet: bool, as_json: bool) -> None:
    from matchvision.season.drawing import add_pairings

    added = add_pairings(loaded, out)
    for entry in added:
        say(f"round {entry[0]}: {entry[1]} (home at -x) against {entry[2]} (home at +x)", quiet=quiet)
    said = (
        "No pairing is due: play and analyse what is listed first."
        if not added
        else f"Added to {loaded.sheet.season.runs}."
    )
    say(said, quiet=quiet)
    if as_json:
        told = {"added": [dict(zip(("round", "minus_x", "plus_x"), entry, strict=True)) for entry in added]}
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))


def _film_demo(folder: Path, *, quiet: bool) -> None:
    from matchvision.filming.season import film_season

    say(f"Filming a small invented season into {folder} …", quiet=quiet)
    with shown_progress(quiet=quiet) as tell:
        film_season(folder, None if tell is None else lambda done, total: tell("filming", done, total))
