"""The commands. What takes time to load is loaded inside them, so that help is there at once."""

import json
import re
import shlex
from pathlib import Path

import click

from matchvision import __version__
from matchvision.cli.analysing import FollowUp, analyze, analyze_and_tell, causes
from matchvision.cli.comparing import compare
from matchvision.cli.desk import desk
from matchvision.cli.exits import SHORT_OF_SOMETHING
from matchvision.cli.footage import footage
from matchvision.cli.forecasting import forecast
from matchvision.cli.marking import mark
from matchvision.cli.plain import PlainGroup
from matchvision.cli.season import season
from matchvision.cli.showing import Wishes, say, shown_progress, wishes_of
from matchvision.cli.targets import targets
from matchvision.errors import OutputError


@click.group(cls=PlainGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="%(prog)s %(version)s", prog_name="matchvision")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors; the exit code tells the rest.")
@click.option("--verbose", is_flag=True, help="Say what each stage did, and how long it took.")
@click.pass_context
def main(ctx: click.Context, *, debug: bool, quiet: bool, verbose: bool) -> None:
    """Find out what really happened when two small machines pulled one rope.

    You need a clip of the run, and a run sheet: a text file that says how large the table is, which markers
    the machines wear and where the rope is hitched. To see the whole way once, without filming anything:

        matchvision demo

    For your own run: `matchvision new practice` writes a sheet to fill in; lay your clip beside it; then
    `matchvision analyze practice`.

    \b
    Exit codes: 0 done; 1 done, but the footage contradicts the sheet, or does not support something
    that was asked for; 2 the input cannot be used; 70 matchvision itself has a fault; 130 interrupted.
    """  # noqa: D301 - \b keeps click from joining the lines
    del debug  # read by the group, where errors are told
    if quiet and verbose:
        msg = "--quiet and --verbose contradict each other; leave away one of them"
        raise click.UsageError(msg)
    ctx.obj = Wishes(quiet=quiet, verbose=verbose)


main.add_command(analyze)
main.add_command(causes)
main.add_command(desk)
main.add_command(targets)
main.add_command(footage)
main.add_command(forecast)
main.add_command(mark)
main.add_command(compare)
main.add_command(season)


@main.command()
@click.option("--seed", type=click.IntRange(min=0), help="The same number gives the same match; drawn if not given.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("outputs/demo"),
    show_default=True,
    help="Where the results go; the filmed run goes beside it, into a folder ending in -run.",
)
@click.option("--no-clip", is_flag=True, help="Leave out the marked clip.")
@click.option("--json", "as_json", is_flag=True, help="Print the result in brief as JSON, and nothing else.")
@click.pass_context
def demo(ctx: click.Context, seed: int | None, out: Path, *, no_clip: bool, as_json: bool) -> None:
    """Film an invented match, analyse it, show the way.

    The clip is drawn by the program itself, so the truth is known and stands beside the clip.

    \b
        matchvision demo
        matchvision demo --seed 7 --out outputs/seventh
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.filming import demo_scene, film
    from matchvision.writing.swapping import refuse_foreign

    quiet = wishes_of(ctx).quiet or as_json
    folder = out.parent / f"{out.name}-run"
    if folder.exists() and any(folder.iterdir()) and not (folder / "truth.json").is_file():
        what = "the folder for the filmed run holds other things than a filmed run"
        raise OutputError(what, where=str(folder), do="choose another place with --out")
    refuse_foreign(out)
    scene = demo_scene(seed)
    say(f"Filming an invented match (seed {scene.seed}) into {folder} …", quiet=quiet)
    with shown_progress(quiet=quiet) as tell:
        film(scene, folder, None if tell is None else lambda done, total: tell("filming", done, total))
    complete = analyze_and_tell(ctx, folder, out, "csv", FollowUp(marked_clip=not no_clip), as_json=as_json)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["verdict"]
    say(f"In truth {truth['winner']} won by {truth['margin_mm']:.1f} mm ({folder / 'truth.json'}).", quiet=quiet)
    if not complete:
        ctx.exit(SHORT_OF_SOMETHING)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.pass_context
def new(ctx: click.Context, folder: Path) -> None:
    """Write a commented run sheet to start from.

    It goes into FOLDER. Every key in it is explained where it stands. A sheet that is there already is left as it is.

    \b
        matchvision new practice
    """  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.sheets import write_new_sheet

    sheet = write_new_sheet(folder)
    quiet = wishes_of(ctx).quiet
    say(f"Wrote {sheet}.", quiet=quiet)
    typed = shlex.quote(str(folder))
    say(f"Next: fill it in, lay your clip beside it as clip.mp4, then: matchvision analyze {typed}", quiet=quiet)


@main.command()
@click.argument("stills", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--board", default="9x6", show_default=True, help="Inner corners along a row, and rows.")
@click.option(
    "--square-mm",
    type=click.FloatRange(min=0, min_open=True),
    default=25.0,
    show_default=True,
    help="Side of a square on the board.",
)
@click.option(
    "--marker-mm",
    type=click.FloatRange(min=0, min_open=True),
    help="Side of a marker on a ChArUco board; --board then counts squares, not corners.",
)
@click.option(
    "--family",
    type=click.Choice(["4x4_50", "5x5_100", "6x6_250", "36h11"]),
    default="6x6_250",
    show_default=True,
    help="Markers of a ChArUco board.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("lens.toml"),
    show_default=True,
    help="The lens sheet to write; a file that is there already is left as it is.",
)
@click.option("--picture", type=click.Path(path_type=Path), help="Also draw where in the picture the board was seen.")
@click.option("--json", "as_json", is_flag=True, help="Print the lens as JSON, and nothing else.")
@click.pass_context
def lens(
    ctx: click.Context,
    stills: tuple[Path, ...],
    board: str,
    square_mm: float,
    marker_mm: float | None,
    family: str,
    out: Path,
    picture: Path | None,
    *,
    as_json: bool,
) -> None:
    """Write a lens sheet from pictures of a board.

    STILLS are about ten pictures of the whole board, or a clip of it: tilted one way and the other, some near the
    picture's corners, taken with the phone in the very mode in which runs are filmed. Of a ChArUco board a part in
    view is enough. Name the lens sheet in a run sheet under [camera] as lens = "lens.toml".

    \b
        matchvision lens stills/*.jpg --square-mm 30
        matchvision lens board.mp4 --out phone.toml --picture phone.png
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    columns, rows = _read_board(board)
    if out.exists():
        raise OutputError("it exists already and is left as it is", where=str(out), do="choose another name with --out")

    from matchvision.cli.lensbrief import brief_lens
    from matchvision.cli.telling import tell_lens
    from matchvision.footage import read_stills
    from matchvision.sheets.lens import format_lens
    from matchvision.table.boards import describe_board
    from matchvision.table.lens import calibrate
    from matchvision.table.skew import fit_skew

    images = read_stills(stills)
    fit = calibrate(images, describe_board((columns, rows), square_mm, marker_mm, family))
    out.write_text(format_lens(fit.sheet), encoding="utf-8")
    quiet = wishes_of(ctx).quiet or as_json
    say(tell_lens(fit.sheet, len(images), out, fit.left_out, fit.shift_in_u.tolist()), quiet=quiet)
    skew = fit_skew(fit)
    if skew.warning:
        say(skew.warning, quiet=quiet)
    if picture is not None:
        from matchvision.report.lenspicture import draw_lens

        used = {name: fit.views[name].pixels_px for name in fit.cameras if name not in fit.left_out}
        say(f"Drew {draw_lens(fit.sheet, used, fit.rms_px, picture)}.", quiet=quiet)
    if as_json:
        from matchvision.writing.documents import format_plain

        click.echo(format_plain(brief_lens(fit, skew, len(images))))


@main.command()
@click.argument(
    "what", type=click.Choice(["run", "keys", "mends", "rubric", "result", "compare", "mark", "season", "tables"])
)
def schema(what: str) -> None:
    """Print what the files look like.

    `run`, `mends`, `rubric` and `result` give the JSON Schema of the run sheet, of mends.toml, of a rubric and of
    result.json, for other tools; `compare`, `mark` and `season` that of what these commands print with --json;
    `keys` and `tables` give pages in Markdown, for people, with every key of the run
    sheet and every column of every table.

    \b
        matchvision schema keys
        matchvision schema run > run-sheet.schema.json
    """  # noqa: D301 - \b keeps click from joining the lines
    if what == "mends":
        from matchvision.sheets.mends import describe_mends

        click.echo(json.dumps(describe_mends(), indent=1, ensure_ascii=False))
        return
    if what == "rubric":
        from matchvision.sheets.rubric import describe_rubric

        click.echo(json.dumps(describe_rubric(), indent=1, ensure_ascii=False))
        return
    if what in ("run", "keys"):
        from matchvision.sheets import describe_keys, describe_run_sheet

        if what == "keys":
            click.echo(describe_keys(), nl=False)
        else:
            click.echo(json.dumps(describe_run_sheet(), indent=1, ensure_ascii=False))
        return
    from matchvision.writing import describe_result_file, describe_tables
    from matchvision.writing.documents import DOCUMENTS, describe_document

    if what in DOCUMENTS:
        click.echo(json.dumps(describe_document(what), indent=1, ensure_ascii=False))
    elif what == "result":
        click.echo(json.dumps(describe_result_file(), indent=1, ensure_ascii=False))
    else:
        click.echo(describe_tables(), nl=False)


def _read_board(board: str) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(\d+)\s*[x×]\s*(\d+)\s*", board)
    if match is None or int(match[1]) < 3 or int(match[2]) < 3:
        msg = f'"{board}" is no size of a board; inner corners along a row and rows are wanted, as in 9x6'
        raise click.BadParameter(msg, param_hint="--board")
    return int(match[1]), int(match[2])
