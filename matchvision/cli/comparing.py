"""The command that holds practice runs side by side."""

from pathlib import Path

import click

from matchvision.cli.showing import say, wishes_of


@click.command()
@click.argument("runs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RUN...")
@click.option(
    "-a", "--after", multiple=True, type=click.Path(path_type=Path), metavar="RUN",
    help="A run made after a change; give it once for each such run.",
)  # fmt: skip
@click.option("--machine", help="Say only what concerns this machine and the rope.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("outputs/compare"),
    show_default=True,
    help="Where page, picture and table go.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as JSON, and nothing else.")
@click.pass_context
def compare(
    ctx: click.Context,
    runs: tuple[Path, ...],
    after: tuple[Path, ...],
    machine: str | None,
    out: Path,
    *,
    as_json: bool,
) -> None:
    """Practice runs side by side: scatter, and what a change brought.

    RUN is a folder of results, or a run folder that was analysed. How well does it repeat, is one run unlike the
    others, and how much of the scatter is the measurement's own? With --after: did the change improve it, by how much,
    how surely, and what change would so many runs show at all?

    \b
        matchvision compare mon-1 mon-2 mon-3
        matchvision compare mon-1 mon-2 mon-3 -a tue-1 -a tue-2 -a tue-3
    """  # noqa: D301 - \b keeps click from joining the lines
    from matchvision.report.repeatspage import write_repeats
    from matchvision.report.repeatswords import change_words, group_words, name_row, power_words, straggler_words
    from matchvision.report.saving import save_page
    from matchvision.season.sidebyside import compare_runs, format_repeats
    from matchvision.writing.documents import format_repeats_document

    quiet = wishes_of(ctx).quiet or as_json
    rows, names, lacking = compare_runs([runs, after] if after else [runs], machine)
    page = write_repeats(rows, names, lacking, out)
    save_page(format_repeats(rows), out / "compare.csv", "the table")
    for row in rows:
        said = [f"{name}: {words}" for name, words in group_words(row)]
        lines = [*said, change_words(row), *straggler_words(row), power_words(row)]
        say("\n  ".join([name_row(row), *(line for line in lines if line)]), quiet=quiet)
    say(f"Page: {page}", quiet=quiet)
    if as_json:
        click.echo(format_repeats_document(names, rows, lacking))
