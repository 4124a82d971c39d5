"""The command that opens the desk."""

from contextlib import suppress
from pathlib import Path

import click

from matchvision.cli.showing import say, wishes_of


@click.command()
@click.argument("run", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Where the results go when you start the analysis there; outputs/NAME OF THE RUN if not given.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    help="Where to listen on this computer; a free one if not given.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address; open it yourself.")
@click.pass_context
def desk(ctx: click.Context, run: Path, out: Path | None, port: int, *, no_browser: bool) -> None:
    """Show, name and mend by hand what only eyes can.

    RUN is a run sheet, or the folder that holds it as run.toml. A page opens in your browser. There you

    \b
      1. choose the picture in which the match starts;
      2. set points of the table on a magnified picture, and see on the plan
         how well every place on it is known by them;
      3. click markers to teach their colours, and see at once what is found;
      4. check the tracking over two seconds or the whole run, and mend it:
         cut a track, tie two, strike points, set a marker or the rope's end;
      5. run the analysis and open the report.

    No tags, no stickers? Points of the table, and the rope's two ends set in a few
    pictures, still give share and verdict.

    What you show goes into desk.toml and mends.toml beside the sheet; what you wrote
    stays as it is. Nothing leaves this computer: the desk listens on it alone, at an
    address that nobody can guess. Ctrl+C closes it.
    """  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.desk import open_desk
    from matchvision.records.naming import name_folder
    from matchvision.sheets import load_draft

    quiet = wishes_of(ctx).quiet
    if out is None:
        out = Path("outputs") / name_folder(load_draft(run).run.sheet.run.name)
    opened = open_desk(run, out, port)
    click.echo(f"The desk is open at {opened.address}")  # even where all else is quiet: nobody could guess it
    say("Ctrl+C closes it.", quiet=quiet)
    if not no_browser:
        click.launch(opened.address)
    with suppress(KeyboardInterrupt):
        opened.serve()
    say("The desk is closed; what you have shown it is kept beside the sheet.", quiet=quiet)
