"""The command that marks forecasts by a rubric."""

from pathlib import Path

import click

from matchvision.cli.showing import say, wishes_of
from matchvision.errors import OutputError


@click.command()
@click.argument("results", nargs=-1, type=click.Path(path_type=Path), metavar="RESULTS...")
@click.option("--rubric", type=click.Path(path_type=Path), help="Weights and tolerances; without it the usual ones.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("outputs/marks"),
    show_default=True,
    help="Where marks.csv and the page go.",
)
@click.option(
    "--new-rubric", type=click.Path(path_type=Path), metavar="FILE", help="Write a commented rubric to start from."
)
@click.option("--json", "as_json", is_flag=True, help="Print the marks as JSON, and nothing else.")
@click.pass_context
def mark(
    ctx: click.Context,
    results: tuple[Path, ...],
    rubric: Path | None,
    out: Path,
    new_rubric: Path | None,
    *,
    as_json: bool,
) -> None:
    """Mark forecasts by a rubric: each mark with its arithmetic.

    RESULTS are folders that `matchvision analyze` wrote. Marked are the stated chance to win and peak pull, how near
    the computed forecast came, whether the stated uncertainties are honest, the winner named, and whether the failure
    that came was named beforehand ([forecast.X] win_chance, peak_pull_N, failure_named).

    \b
        matchvision mark outputs/final outputs/semi-final
        matchvision mark --new-rubric rubric.toml
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.sheets.rubric import read_rubric, write_new_rubric

    quiet = wishes_of(ctx).quiet or as_json
    if as_json and not results:
        raise click.UsageError("--json prints marks; give at least one folder of results.")
    if new_rubric is not None:
        say(f"Wrote {write_new_rubric(new_rubric)}.", quiet=quiet)
    if not results:
        if new_rubric is None:
            raise click.UsageError("Give at least one folder of results, or --new-rubric FILE.")
        return
    from matchvision import open_result
    from matchvision.marking import mark_run
    from matchvision.records.rubric import Rubric
    from matchvision.report.markspage import show_total, write_marks_page
    from matchvision.writing.documents import format_marks_document
    from matchvision.writing.markstable import write_marks

    used = Rubric() if rubric is None else read_rubric(rubric)
    marks = [mark_run(open_result(folder), used) for folder in results]
    if not any(one.marks for one in marks):
        what = "no team forecast anything in these runs"
        raise OutputError(what, do="marks need [forecast.X] in the run sheets; analyse the runs again with it")
    table, page = write_marks(marks, out), write_marks_page(marks, used, out)
    for one in marks:
        for machine, total in one.totals:
            say(f"{one.run}: {machine} {show_total(total)}", quiet=quiet)
    say(f"Wrote {table} and {page}.", quiet=quiet)
    if as_json:
        click.echo(format_marks_document(marks, used))
