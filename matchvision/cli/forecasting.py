"""The command for what the teams calculated: the predicted run, its files, its fingerprint."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from matchvision.cli.exits import SHORT_OF_SOMETHING, UNUSABLE
from matchvision.cli.showing import say, wishes_of
from matchvision.errors import CannotMeasure, SheetError

if TYPE_CHECKING:
    from matchvision.records.sheet import Run


@click.command()
@click.argument("runs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RUN | TEAM TEAM")
@click.option(
    "--samples",
    type=click.IntRange(min=16),
    default=256,
    show_default=True,
    help="How many matches are drawn from the stated uncertainties.",
)
@click.option("--table", type=click.Path(path_type=Path), help="A sheet with what two teams share: rope, table, rules.")
@click.option("--plus", metavar="MACHINE", help="The machine whose home the draw puts on +x, of two teams' sheets.")
@click.option("--out", type=click.Path(path_type=Path), help="A folder for the picture and the table of the forecast.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole forecast as JSON, and nothing else.")
@click.option("--seal", is_flag=True, help="Print a fingerprint of each team's forecast, and nothing is computed.")
@click.option("--logged", metavar="FINGERPRINT", help="Say whether a sheet is the one whose fingerprint was logged.")
@click.pass_context
def forecast(
    ctx: click.Context,
    runs: tuple[Path, ...],
    samples: int,
    table: Path | None,
    plus: str | None,
    out: Path | None,
    *,
    as_json: bool,
    seal: bool,
    logged: str | None,
) -> None:
    """The predicted run, before anything is filmed.

    From the sheet's [forecast] blocks: a small table over match time, what limits each machine when, the expected
    winner, where the match ends and when wheels are expected to slip; what stands behind ± is half of the 95 %
    interval. Where the sheet gives no start for a machine, it is taken to stand on the table's middle line where
    [rules] hitch_from_centre_m says, else with the rope taut and halved. Two teams' own sheets are joined into one
    match.

    \b
        matchvision forecast practice --out outputs/predicted
        matchvision forecast heron.toml plover.toml --table table.toml --plus plover
        matchvision forecast heron.toml --seal
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    quiet = wishes_of(ctx).quiet or as_json
    if seal or logged is not None:
        if not _seal(runs, table, logged, quiet=quiet, as_json=as_json):
            ctx.exit(SHORT_OF_SOMETHING)
        return
    from matchvision.cli.telling import tell_forecast
    from matchvision.forecast import assume_starts, chance_interval, predict_run

    loaded = _load(runs, table, plus)
    try:
        starts, assumed = assume_starts(loaded)
        predicted, note = predict_run(loaded, starts, samples=samples)
        assumed = (*assumed, *predicted.assumed)
    except CannotMeasure as reason:
        click.echo(f"Error: {', '.join(map(str, runs))}: {reason.message()}", err=True)
        ctx.exit(UNUSABLE)
    interval = None
    if predicted.samples > 1 and predicted.winner:
        interval = chance_interval(predicted.win_chance[predicted.winner], predicted.samples)
    files: tuple[Path, ...] = ()
    if out is not None:
        from matchvision.report.forecastpicture import draw_forecast
        from matchvision.writing.forecasts import write_forecast_table

        files = (*draw_forecast(loaded, predicted, out), write_forecast_table(predicted, out))
    if as_json:
        from matchvision.writing.forecasts import describe_forecast

        click.echo(describe_forecast(predicted, interval, tuple(assumed), note.sentence))
        return
    say(tell_forecast(predicted, note, assumed, interval), quiet=quiet)
    for path in files:
        say(f"Wrote {path}.", quiet=quiet)


def _load(runs: tuple[Path, ...], table: Path | None, plus: str | None) -> "Run":
    from matchvision.sheets import join_sheets, load_run

    if len(runs) > 1 or table is not None or plus is not None:
        return join_sheets(runs, table, plus)
    try:
        return load_run(runs[0])
    except SheetError as faults:
        if all(
            any(fault.where.endswith(f" {block}") for fault in faults.faults) for block in ("run", "clock", "table")
        ):
            do = (
                "a team's own sheet is joined with its opponent's: matchvision forecast ONE OTHER --table SHARED; "
                "a whole run sheet holds [run], [clock] and [table] too"
            )
            raise SheetError(faults.where, faults.faults, do=do) from None
        raise


def _seal(runs: tuple[Path, ...], table: Path | None, logged: str | None, *, quiet: bool, as_json: bool) -> bool:
    """Print the fingerprints, or say whether the logged one is among them."""
    from matchvision.forecast import find_seal, seal_forecast
    from matchvision.sheets import load_team

    seals = {(path, name): seal for path in runs for name, seal in seal_forecast(load_team(path, table)).items()}
    by_text = {f"{name} in {path}": seal for (path, name), seal in seals.items()}
    found = None if logged is None else find_seal(by_text, logged)
    if as_json:
        known = by_text.get(found or "")  # the sheets' own spelling of what was logged
        fingerprints = [
            {"file": str(path), "machine": name, "sha256": seal, "logged": None if logged is None else seal == known}
            for (path, name), seal in seals.items()
        ]
        click.echo(json.dumps({"fingerprints": fingerprints}, indent=1, ensure_ascii=False))
        return logged is None or found is not None
    if logged is None:
        for (path, name), seal in seals.items():
            say(f"{seal}  {name}  ({path})", quiet=quiet)
        say(
            "Hand this fingerprint to whoever receives the forecasts, to be logged with the date of its receipt before "
            "the deadline. A date that a team puts on its own sheet proves nothing: it can be written at any time. The "
            "fingerprint covers [forecast.X] with its curve and [machine.X] but for home, start, markers and commands.",
            quiet=quiet,
        )
        return True
    if found is not None:
        say(f"The forecast of {found} is the one whose fingerprint was logged.", quiet=quiet)
        return True
    say("No forecast in these sheets has the fingerprint that was logged: they were changed since, or are others.")
    return False
