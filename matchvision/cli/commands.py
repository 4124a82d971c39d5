"""The commands. What takes time to load is loaded inside them, so that help is there at once."""

import json
import re
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from matchvision import __version__
from matchvision.cli.comparing import compare
from matchvision.cli.desk import desk
from matchvision.cli.footage import footage
from matchvision.cli.forecasting import forecast
from matchvision.cli.marking import mark
from matchvision.cli.plain import INTERRUPTED, PlainGroup, was_interrupted
from matchvision.cli.showing import StageTeller, say, shown_progress
from matchvision.cli.season import season
from matchvision.cli.targets import targets
from matchvision.errors import OutputError

if TYPE_CHECKING:
    from matchvision.records.results import Analysis
    from matchvision.records.sheet import Run

SHORT_OF_SOMETHING: Final = 1
_UNFIT_IN_NAMES: Final = re.compile(r'[\\/:*?"<>|\x00-\x1f]+')


@dataclass(frozen=True)
class Wishes:
    """How the person wants to be talked to."""

    quiet: bool
    verbose: bool = False


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
    Exit codes: 0 done; 1 done, but the footage does not support something that was asked for;
    2 the input cannot be used; 130 interrupted.
    """  # noqa: D301 - \b keeps click from joining the lines
    del debug  # read by the group, where errors are told
    ctx.obj = Wishes(quiet=quiet, verbose=verbose)


main.add_command(desk)
main.add_command(targets)
main.add_command(footage)
main.add_command(forecast)
main.add_command(mark)
main.add_command(compare)
main.add_command(season)


@main.command()
@click.argument("run", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="Where the results go; outputs/NAME OF THE RUN if not given."
)
@click.option(
    "--tables",
    type=click.Choice(["csv", "parquet"]),
    default="csv",
    show_default=True,
    help="Form of the tables; parquet needs the package pyarrow.",
)
@click.option("--no-clip", is_flag=True, help="Leave out the marked clip, which takes longest to write.")
@click.option("--no-causes", is_flag=True, help="Leave out why; `matchvision causes RUN` adds it at any time.")
@click.option("--json", "as_json", is_flag=True, help="Print the result in brief as JSON, and nothing else.")
@click.pass_context
def analyze(
    ctx: click.Context,
    run: Path,
    out: Path | None,
    tables: str,
    *,
    no_clip: bool,
    no_causes: bool,
    as_json: bool,
) -> None:
    """From clip and run sheet to verdict, tables and report.

    RUN is a run sheet, or the folder that holds it as run.toml. The first answer comes first: verdict, share, motion
    and pull, with the report, all at once; earlier results of the run stay in place until then. Why it went so, the
    figures and the marked clip are then added to it.
    """  # fmt: skip
    complete = _analyze_and_tell(ctx, run, out, tables, marked_clip=not no_clip, as_json=as_json, causes=not no_causes)
    if not complete:
        ctx.exit(SHORT_OF_SOMETHING)


@main.command()
@click.argument("run", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Where the results are, if not in outputs/.")
@click.pass_context
def causes(ctx: click.Context, run: Path, out: Path | None) -> None:
    """Add to results why it went as it went.

    RUN is the run sheet, or its folder, of results that were made with `matchvision analyze --no-causes` or were
    interrupted. The clip is not watched again; what the causes are sought from was kept with the results.
    """
    from matchvision.sheets import load_run

    loaded = load_run(run)

    from matchvision import pipeline
    from matchvision.cli.telling import tell_causes
    from matchvision.writing.adding import add_causes
    from matchvision.writing.keeping import recall_grounds

    folder = _choose_folder(loaded, out)
    found, note = pipeline.find_causes(loaded, recall_grounds(loaded, folder))
    add_causes(folder, found, note)
    say(tell_causes(found) or note.sentence, quiet=_wishes(ctx).quiet)
    say(f"Added to {folder / 'report.html'}", quiet=_wishes(ctx).quiet)


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
@click.pass_context
def demo(ctx: click.Context, seed: int | None, out: Path, *, no_clip: bool) -> None:
    """Film an invented match, analyse it, show the way.

    The clip is drawn by the program itself, so the truth is known and stands beside the clip.
    """  # fmt: skip
    from matchvision.filming import demo_scene, film
    from matchvision.writing.swapping import refuse_foreign

    wishes = _wishes(ctx)
    folder = out.parent / f"{out.name}-run"
    if folder.exists() and any(folder.iterdir()) and not (folder / "truth.json").is_file():
        what = "the folder for the filmed run holds other things than a filmed run"
        raise OutputError(what, where=str(folder), do="choose another place with --out")
    refuse_foreign(out)
    scene = demo_scene(seed)
    say(f"Filming an invented match (seed {scene.seed}) into {folder} …", quiet=wishes.quiet)
    with shown_progress(quiet=wishes.quiet) as tell:
        film(scene, folder, None if tell is None else lambda done, total: tell("filming", done, total))
    complete = _analyze_and_tell(ctx, folder, out, "csv", marked_clip=not no_clip, as_json=False)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["verdict"]
    say(f"In truth {truth['winner']} won by {truth['margin_mm']:.1f} mm ({folder / 'truth.json'}).", quiet=wishes.quiet)
    if not complete:
        ctx.exit(SHORT_OF_SOMETHING)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.pass_context
def new(ctx: click.Context, folder: Path) -> None:
    """Write a commented run sheet to start from.

    It goes into FOLDER. Every key in it is explained where it stands. A sheet that is there already is left as it is.
    """
    from matchvision.sheets import write_new_sheet

    sheet = write_new_sheet(folder)
    quiet = _wishes(ctx).quiet
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
) -> None:
    """Write a lens sheet from pictures of a chessboard or ChArUco board.

    STILLS are about ten pictures of the whole board, or a clip of it: tilted one way and the other, some near the
    picture's corners, taken with the phone in the very mode in which runs are filmed. Of a ChArUco board a part in
    view is enough. Name the lens sheet in a run sheet under [camera] as lens = "lens.toml".
    """  # fmt: skip
    columns, rows = _read_board(board)
    if out.exists():
        raise OutputError("it exists already and is left as it is", where=str(out), do="choose another name with --out")

    from matchvision.cli.telling import tell_lens
    from matchvision.footage import read_stills
    from matchvision.sheets.lens import format_lens
    from matchvision.table.boards import describe_board
    from matchvision.table.lens import calibrate
    from matchvision.table.skew import fit_skew

    images = read_stills(stills)
    fit = calibrate(images, describe_board((columns, rows), square_mm, marker_mm, family))
    out.write_text(format_lens(fit.sheet), encoding="utf-8")
    say(tell_lens(fit.sheet, len(images), out, fit.left_out, fit.shift_in_u.tolist()), quiet=_wishes(ctx).quiet)
    if warning := fit_skew(fit).warning:
        say(warning, quiet=_wishes(ctx).quiet)
    if picture is not None:
        from matchvision.report.lenspicture import draw_lens

        used = {name: fit.views[name].pixels_px for name in fit.cameras if name not in fit.left_out}
        say(f"Drew {draw_lens(fit.sheet, used, fit.rms_px, picture)}.", quiet=_wishes(ctx).quiet)


@main.command()
@click.argument("what", type=click.Choice(["run", "keys", "mends", "rubric", "result", "tables"]))
def schema(what: str) -> None:
    """Print what the files look like.

    `run`, `mends`, `rubric` and `result` give the JSON Schema of the run sheet, of mends.toml, of a rubric and of
    result.json, for other tools; `keys` and `tables` give pages in Markdown, for people, with every key of the run
    sheet and every column of every table.
    """
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

    if what == "result":
        click.echo(json.dumps(describe_result_file(), indent=1, ensure_ascii=False))
    else:
        click.echo(describe_tables(), nl=False)


def _analyze_and_tell(
    ctx: click.Context,
    run: Path,
    out: Path | None,
    tables: str,
    *,
    marked_clip: bool,
    as_json: bool,
    causes: bool = True,
) -> bool:
    """Analyse, write and tell, the first answer first; whether everything that was asked for could be measured."""
    from matchvision.sheets import load_run

    loaded = load_run(run)  # before what takes long to load: most mistakes are made in the sheet

    from matchvision import pipeline
    from matchvision.cli.telling import find_shortfalls, tell_analysis
    from matchvision.footage import read_facts
    from matchvision.writing import check_target
    from matchvision.writing.publishing import publish_first

    folder = _choose_folder(loaded, out)
    try:
        check_target(loaded, folder, tables)
    except OutputError:
        read_facts(loaded.clip)  # a clip that cannot be used is the greater fault and told first
        raise
    wishes = _wishes(ctx)
    quiet = wishes.quiet or as_json
    notice = None if quiet else lambda sentence: click.echo(f"Note: {sentence}.", err=True)
    told = StageTeller() if wishes.verbose and not quiet else None
    with shown_progress(quiet=quiet) as tell:
        analysis = pipeline.answer_first(loaded, tell, notice, told)
        report = publish_first(analysis, folder, tables=tables, marked_clip=marked_clip)
    if told is not None:
        told.tell("report", "The first answer is written.")
    say(tell_analysis(analysis), quiet=quiet)
    say(f"Report: {report}", quiet=quiet)
    try:
        _follow_up(analysis, folder, told, quiet=quiet, causes=causes, marked_clip=marked_clip)
    except (KeyboardInterrupt, SystemError) as error:
        if not was_interrupted(error):
            raise
        click.echo(f"Interrupted; what is written in {folder} stays.", err=True)
        ctx.exit(INTERRUPTED)
    if as_json:
        click.echo((folder / "result.json").read_text(encoding="utf-8"), nl=False)
    return not find_shortfalls(analysis)


def _follow_up(
    analysis: "Analysis", folder: Path, told: StageTeller | None, *, quiet: bool, causes: bool, marked_clip: bool
) -> None:
    """What takes longer than the first answer: causes, figures, marked clip."""
    from matchvision import pipeline
    from matchvision.cli.telling import tell_causes
    from matchvision.writing.adding import add_causes
    from matchvision.writing.publishing import add_pictures

    if causes and analysis.verdict.causes_due:
        found, note = pipeline.find_causes(analysis.run, analysis.grounds)
        if told is not None:
            told(note)
        add_causes(folder, found, note)
        say(tell_causes(found), quiet=quiet)
    with shown_progress(quiet=quiet) as tell:
        add_pictures(analysis, folder, marked_clip=marked_clip, progress=tell)
    if told is not None:
        told.tell("pictures", "Figures and marked clip are written." if marked_clip else "Figures are written.")


def _read_board(board: str) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(\d+)\s*[x×]\s*(\d+)\s*", board)
    if match is None or int(match[1]) < 3 or int(match[2]) < 3:
        msg = f'"{board}" is no size of a board; inner corners along a row and rows are wanted, as in 9x6'
        raise click.BadParameter(msg, param_hint="--board")
    return int(match[1]), int(match[2])


def _choose_folder(run: "Run", out: Path | None) -> Path:
    return out if out is not None else Path("outputs") / name_folder(run.sheet.run.name)


def name_folder(run_name: str) -> str:
    """A run's name as the name of a folder: as it is, but for what folders cannot be called."""
    return _UNFIT_IN_NAMES.sub("-", run_name).strip(" .") or "run"


def _wishes(ctx: click.Context) -> Wishes:
    wishes = ctx.find_object(Wishes)
    return wishes if wishes is not None else Wishes(quiet=False)
