"""The command that prints: tags, discs, wraps, rim dots, chessboard and the filming card."""

from pathlib import Path
from typing import Any, Final

import click

from matchvision.cli.exits import SHORT_OF_SOMETHING
from matchvision.cli.showing import list_points, say, wishes_of

#: What can be printed, in the order of the pages, and its name in a sentence: one, several.
KINDS: Final = {
    "card": ("filming card", "filming cards"),
    "tags": ("page with a tag", "pages with a tag each"),
    "discs": ("page of colour discs", "pages of colour discs"),
    "beads": ("page of bead wraps", "pages of bead wraps"),
    "rims": ("page of rim dots", "pages of rim dots"),
    "board": ("chessboard", "chessboards"),
}
#: Options that choose what the run sheet says where there is one.
_BY_HAND: Final = ("tags", "first_id", "family", "side_mm", "disc_mm", "bead_mm")
_MILLIMETRES: Final = click.FloatRange(min=0, min_open=True, max=1000)


def _read_kinds(ctx: click.Context, parameter: click.Parameter, text: str | None) -> tuple[str, ...] | None:
    del ctx, parameter
    if text is None:
        return None
    kinds = [word.strip() for word in text.split(",") if word.strip()]
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown or not kinds:
        found = f'"{unknown[0]}" is nothing that can be printed' if unknown else "nothing is named"
        raise click.BadParameter(f"{found}; choose from {', '.join(KINDS)}, with commas between them")
    return tuple(kinds)


@click.command()
@click.argument("run", required=False, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("targets.pdf"),
    show_default=True,
    help="The PDF to write. An earlier print is replaced, any other file is left as it is.",
)
@click.option(
    "--only",
    callback=_read_kinds,
    metavar="KIND,KIND…",
    help=f"Print only these: {', '.join(KINDS)}. Everything if not given.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter", "a3"]),
    default="a4",
    show_default=True,
    help="Paper in the printer. A3 gives a chessboard that is seen from farther away.",
)
@click.option("--tags", type=click.IntRange(1, 40), help="Without RUN: how many tags.  [default: 4]")
@click.option("--first-id", type=click.IntRange(min=0), help="Without RUN: id of the first tag.  [default: 0]")
@click.option(
    "--family", type=click.Choice(["36h11", "25h9", "16h5"]), help="Without RUN: family of tags.  [default: 36h11]"
)
@click.option("--side-mm", type=_MILLIMETRES, help="Without RUN: outer side of a tag's black border.  [default: 110]")
@click.option("--disc-mm", type=_MILLIMETRES, help="Without RUN: diameter of colour discs.  [default: 28]")
@click.option("--bead-mm", type=_MILLIMETRES, help="Without RUN: diameter of beads.  [default: 18]")
@click.option("--square-mm", type=_MILLIMETRES, help="Side of the chessboard's squares.  [default: 25; A3: 30]")
@click.pass_context
def targets(
    ctx: click.Context,
    /,
    run: Path | None,
    out: Path,
    only: tuple[str, ...] | None,
    paper: str,
    square_mm: float | None,
    **by_hand: Any,  # noqa: ANN401 - passed on by name
) -> None:
    """Print tags, colours, chessboard, filming card.

    Tags, colour discs, bead wraps, rim dots, a chessboard and the filming card come as one PDF at true size. With
    RUN, a run sheet or the folder that holds it, exactly what that sheet names is printed, in its sizes and colours;
    the clip need not be there yet. Without RUN you get a set to begin with:

    \b
        matchvision targets --side-mm 120
        matchvision targets my-run --only card,tags

    Print at 100 % ("actual size", not "fit to page"), on matt paper. Each page carries a ruler: measure it, it must be
    100 mm long. A tag of another size than the sheet says spoils the measuring.
    """  # noqa: D301 - \b keeps click from joining the lines
    chosen = {name: value for name, value in by_hand.items() if value is not None}
    if run is not None and chosen:
        option = next("--" + name.replace("_", "-") for name in _BY_HAND if name in chosen)
        msg = f"with RUN the sheet says what to print; leave away {option}, or leave away RUN"
        raise click.UsageError(msg)

    from matchvision.report.targets import plan_by_hand, plan_from_sheet, print_targets

    if run is None:
        plan = plan_by_hand(**chosen)
    else:
        from matchvision.sheets import load_run

        plan = plan_from_sheet(load_run(run).sheet)
    printed = print_targets(
        plan, out, paper=paper, only=only if only is not None else tuple(KINDS), square_mm=square_mm
    )
    quiet = wishes_of(ctx).quiet
    total = sum(printed.pages.values())
    pages = [f"{count} {KINDS[kind][count > 1]}" for kind, count in printed.pages.items()]
    say(list_points(f"Wrote {out}, {total} page{'s' if total > 1 else ''}:", pages), quiet=quiet)
    if printed.missing:
        say(list_points("Left out:", list(printed.missing)), quiet=quiet)
    say('Print at 100 % ("actual size"), then measure the ruler on a page: it must be 100 mm long.', quiet=quiet)
    if only is not None and printed.missing:
        ctx.exit(SHORT_OF_SOMETHING)
