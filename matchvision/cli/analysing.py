"""The commands that analyse a run: the first answer first, and what follows it."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from matchvision.cli.exits import INTERRUPTED, SHORT_OF_SOMETHING
from matchvision.cli.following import add_what_would_have_won
from matchvision.cli.plain import was_interrupted
from matchvision.cli.showing import StageTeller, say, shown_progress, wishes_of
from matchvision.errors import OutputError
from matchvision.records.naming import name_folder

if TYPE_CHECKING:
    from matchvision.records.results import Analysis
    from matchvision.records.sheet import Run


@dataclass(frozen=True)
class FollowUp:
    """What is wanted beyond the first answer."""

    causes: bool = True
    remedies: bool = True
    marked_clip: bool = True
    embed_clip: bool = False


@click.command()
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
@click.option("--embed-clip", is_flag=True, help="Put the marked clip into the report too: one file to hand on.")
@click.option("--no-causes", is_flag=True, help="Leave out why; `matchvision causes RUN` adds it at any time.")
@click.option("--no-remedies", is_flag=True, help="Leave out what would have won.")
@click.option("--json", "as_json", is_flag=True, help="Print the result in brief as JSON, and nothing else.")
@click.pass_context
def analyze(
    ctx: click.Context,
    run: Path,
    out: Path | None,
    tables: str,
    *,
    no_clip: bool,
    embed_clip: bool,
    no_causes: bool,
    no_remedies: bool,
    as_json: bool,
) -> None:
    """From clip and run sheet to verdict, tables and report.

    RUN is a run sheet, or the folder that holds it as run.toml. The first answer comes first: verdict, share, motion
    and pull, with the report, all at once; earlier results of the run stay in place until then. Why it went so, the
    figures and the marked clip are then added to it.

    \b
        matchvision analyze practice
        matchvision analyze practice/second.toml --out outputs/second --embed-clip
        matchvision analyze practice --no-causes --no-clip
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    if no_clip and embed_clip:
        msg = "--no-clip leaves out what --embed-clip would put into the report; leave away one of them"
        raise click.UsageError(msg)
    follow_up = FollowUp(not no_causes, not no_remedies, marked_clip=not no_clip, embed_clip=embed_clip)
    if not analyze_and_tell(ctx, run, out, tables, follow_up, as_json=as_json):
        ctx.exit(SHORT_OF_SOMETHING)


@click.command()
@click.argument("run", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Where the results are, if not in outputs/.")
@click.option("--json", "as_json", is_flag=True, help="Print the result in brief as JSON, and nothing else.")
@click.pass_context
def causes(ctx: click.Context, run: Path, out: Path | None, *, as_json: bool) -> None:
    """Add to results why it went as it went, and what would have won.

    RUN is the run sheet, or its folder, of results that were made with `matchvision analyze --no-causes` or were
    interrupted. The clip is not watched again; what the causes are sought from was kept with the results.

    \b
        matchvision analyze practice --no-causes
        matchvision causes practice
    """  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.sheets import load_run

    loaded = load_run(run)

    from matchvision import pipeline
    from matchvision.cli.telling import tell_causes
    from matchvision.writing.keeping import recall_grounds
    from matchvision.writing.publishing import publish_causes

    quiet = wishes_of(ctx).quiet or as_json
    folder = choose_folder(loaded, out)
    grounds = recall_grounds(loaded, folder)
    found, note = pipeline.find_causes(loaded, grounds)
    publish_causes(loaded, grounds, folder, found, note)
    _add_marks(folder)
    say(tell_causes(found) or note.sentence, quiet=quiet)
    add_what_would_have_won(loaded, grounds, found, folder, quiet=quiet)
    say(f"Added to {folder / 'report.html'}", quiet=quiet)
    if as_json:
        _print_brief(folder)


def analyze_and_tell(
    ctx: click.Context, run: Path, out: Path | None, tables: str, follow_up: FollowUp, *, as_json: bool = False
) -> bool:
    """Analyse, write and tell, the first answer first; whether everything that was asked for could be measured."""
    from matchvision.sheets import load_run

    loaded = load_run(run)  # before what takes long to load: most mistakes are made in the sheet

    from matchvision import pipeline
    from matchvision.cli.telling import is_complete, tell_analysis, tell_first
    from matchvision.footage import read_facts
    from matchvision.writing import check_target

    folder = choose_folder(loaded, out)
    try:
        check_target(loaded, folder, tables)
    except OutputError:
        read_facts(loaded.clip)  # a clip that cannot be used is the greater fault and told first
        raise
    wishes = wishes_of(ctx)
    quiet = wishes.quiet or as_json
    notice = None if quiet else lambda sentence: click.echo(f"Note: {sentence}.", err=True)
    told = StageTeller() if wishes.verbose and not quiet else None
    with shown_progress(quiet=quiet) as tell:
        analysis = pipeline.answer_first(
            loaded, tell, notice, told, told=lambda first: say(tell_first(first), quiet=quiet)
        )
        from matchvision.writing.publishing import publish_first

        report = publish_first(analysis, folder, tables=tables, marked_clip=follow_up.marked_clip)
    if told is not None:
        told.tell("report", "The first answer is written.")
    say(tell_analysis(analysis), quiet=quiet)
    say(f"Report: {report}", quiet=quiet)
    try:
        _follow_up(analysis, folder, follow_up, told, quiet=quiet)
    except (KeyboardInterrupt, SystemError) as error:
        if not was_interrupted(error):
            raise
        click.echo(f"Interrupted; what is written in {folder} stays.", err=True)
        ctx.exit(INTERRUPTED)
    if as_json:
        _print_brief(folder)
    return is_complete(analysis)


def _follow_up(analysis: "Analysis", folder: Path, wanted: FollowUp, told: StageTeller | None, *, quiet: bool) -> None:
    """What takes longer than the first answer: causes, and marks that rest on them; figures and marked clip."""
    from matchvision import pipeline
    from matchvision.cli.telling import tell_causes
    from matchvision.writing.publishing import add_pictures, publish_causes

    if wanted.causes and analysis.verdict.causes_due:
        found, note = pipeline.find_causes(analysis.run, analysis.grounds)
        if told is not None:
            told(note)
        publish_causes(analysis.run, analysis.grounds, folder, found, note)
        _add_marks(folder)
        say(tell_causes(found), quiet=quiet)
        if wanted.remedies:
            add_what_would_have_won(analysis.run, analysis.grounds, found, folder, told, quiet=quiet)
    with shown_progress(quiet=quiet) as tell:
        add_pictures(analysis, folder, marked_clip=wanted.marked_clip, embed_clip=wanted.embed_clip, progress=tell)
    if told is not None:
        what = "Figures and marked clip are written." if wanted.marked_clip else "Figures are written."
        told.tell("pictures", what)


def _add_marks(folder: Path) -> None:
    """Marks and scores by the usual rubric, for the instructor; a class's own rubric marks it in its book."""
    from matchvision.marking import mark_run
    from matchvision.records.rubric import Rubric
    from matchvision.writing import read_brief
    from matchvision.writing.adding import add_marks

    add_marks(folder, mark_run(read_brief(folder), Rubric()))


def _print_brief(folder: Path) -> None:
    """The result in brief, as it stands on disk."""
    click.echo((folder / "result.json").read_text(encoding="utf-8"), nl=False)


def choose_folder(run: "Run", out: Path | None) -> Path:
    """Where a run's results go."""
    return out if out is not None else Path("outputs") / name_folder(run.sheet.run.name)
