"""The command that judges footage before the long work, or before filming starts."""

import json
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from matchvision.cli.showing import say, shown_progress, wishes_of
from matchvision.errors import FootageError

if TYPE_CHECKING:
    from matchvision.records.footage import FootageCheck
    from matchvision.records.sheet import Run

_SHEET_ENDINGS: Final = frozenset({".toml"})


@click.command()
@click.argument("clip", type=click.Path(path_type=Path), metavar="CLIP|RUN|STILL")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    help="The run sheet, or its folder: what shall be in view on a clip or still.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Where the picture goes; outputs/NAME-footage.png if not given.",
)
@click.option("--no-picture", is_flag=True, help="Draw none.")
@click.option(
    "--speed-m-s",
    type=click.FloatRange(min=0, min_open=True),
    default=0.5,
    show_default=True,
    help="How fast a marker is meant to move where its smear is told.",
)
@click.option("--shutter-s", type=click.FloatRange(min=0, min_open=True), help="How long the shutter is open: 0.002.")
@click.option(
    "--runs",
    is_flag=True,
    help="List the runs that one clip holds, found by motion, start sound and lamp, as lines for sheets.",
)
@click.option("--colours", is_flag=True, help="Say how surely each marker is found, and which colours are too like.")
@click.option("--json", "as_json", is_flag=True, help="Print the measures as JSON, and nothing else.")
@click.pass_context
def footage(
    ctx: click.Context,
    clip: Path,
    sheet: Path | None,
    picture: Path | None,
    speed_m_s: float,
    shutter_s: float | None,
    *,
    no_picture: bool,
    runs: bool,
    colours: bool,
    as_json: bool,
) -> None:
    """Say whether a clip is good enough.

    On a still: whether you may start. And if not, what to change before filming again. With a run sheet (RUN, or
    --sheet) also what is in view of tags and markers, and how well places will be known over the table, as a picture.

    Exit code 0: usable; 1: usable, but a weakness costs something; 2: it cannot be used.

    \b
        matchvision footage clip.mp4
        matchvision footage still.jpg --sheet practice
    """  # fmt: skip  # noqa: D301 - \b keeps click from joining the lines
    quiet = wishes_of(ctx).quiet or as_json
    run = None
    if sheet is not None or clip.is_dir() or clip.suffix.lower() in _SHEET_ENDINGS:
        from matchvision.sheets import load_run

        run = load_run(clip if sheet is None else sheet)
    if run is not None and sheet is None:
        clip = run.clip
    elif clip.is_dir() or clip.suffix.lower() in _SHEET_ENDINGS:
        raise FootageError(
            "this is a run sheet or a folder, not a clip or still",
            where=str(clip),
            do="leave --sheet out to check the run's own clip, or name the clip or still beside --sheet",
        )
    if runs:
        _list_runs(clip, run, quiet=quiet, as_json=as_json)
        return

    from matchvision.footagecheck import check_footage
    from matchvision.records.naming import name_folder

    if colours and run is None:
        raise FootageError(
            "--colours needs to know which markers to look for",
            where=str(clip),
            do="give the run's folder in place of the clip, or its sheet with --sheet",
        )
    check = check_footage(clip, run, speed_m_s=speed_m_s, shutter_s=shutter_s, each_marker=colours)
    say(tell_check(check), quiet=quiet)
    if colours:
        say(tell_colours(check), quiet=quiet)
    if not no_picture:
        from matchvision.report.footagepicture import draw_footage

        named = run.sheet.run.name if run is not None and not check.is_still else clip.stem
        drawn = draw_footage(check, picture or Path("outputs") / f"{name_folder(named)}-footage.png")
        say(f"Picture: {drawn}", quiet=quiet)
    if as_json:
        click.echo(json.dumps(brief_check(check), indent=1, ensure_ascii=False))
    if check.exit_code:
        ctx.exit(check.exit_code)


def tell_check(check: "FootageCheck") -> str:
    """Facts of the footage, every measure, the answer, and each weakness with what it costs and what to do."""
    from matchvision.report.footagewords import answer, list_measures

    facts = check.facts
    turned = f", turned by {facts.rotation_deg}°" if facts.rotation_deg else ""
    lines = [f"{facts.path.name}: {facts.width_px} x {facts.height_px} pixels{turned}, {facts.codec}"]
    if check.steps is not None:
        lines[0] += f", {check.steps.pictures} pictures in {facts.duration_s:.2f} s"
    measures = list_measures(check)
    widest = max(len(measure.label) for measure in measures)
    lines += [f"  {measure.label.ljust(widest)}  {measure.value}" for measure in measures]
    lines.append(answer(check))
    marks = {"unusable": "!!", "costs": "- ", "remark": ". "}
    for fault in check.faults:
        lines += [f"  {marks[fault.weight]} {fault.what}", f"     costs: {fault.consequence}", f"     do: {fault.do}"]
    return "\n".join(lines)


def tell_colours(check: "FootageCheck") -> str:
    """Each marker: found in how many looks, how strong its colour is, and how far the next colour."""
    if not check.markers:
        return "No marker could be looked for: the sheet names none, or the table was not found."
    head = ["marker", "colour", "found in", "colour strength", "off the sheet's", "next colour"]
    rows = [head]
    for m in check.markers:
        seen = m.found > 0
        rows.append(
            [
                m.name,
                m.colour,
                f"{m.found} of {m.looks} pictures",
                f"{m.strength_levels:.0f} levels" if seen else "-",
                f"{m.turned_deg:.0f} deg" if seen else "-",
                f"{m.rival}, {m.rival_deg:.0f} deg off" if m.rival else "-",
            ]
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    if not check.confusions:
        lines.append("All colours can be told apart in this picture's light.")
    lines += [f"{sentence}." for sentence in check.confusions]
    return "\n".join(lines)


def brief_check(check: "FootageCheck") -> dict[str, Any]:
    """The check as plain numbers and words; what is not known is null."""
    look, places, steps = check.look, check.places, check.steps
    brief: dict[str, Any] = {
        "file": check.facts.path.name,
        "clip_sha256": check.facts.sha256,
        "usable": check.exit_code < 2,
        "exit_code": check.exit_code,
        "width_px": check.facts.width_px,
        "height_px": check.facts.height_px,
        "steps": None if steps is None else _known(vars(steps)),
        "look": _known(vars(look)),
        "smear_px": _number(check.smear_px),
        "tags": [
            {"family": t.family, "id": t.id, "listed": t.listed, "side_px": _number(t.side_px)} for t in check.tags
        ],
        "colours": [
            {"colour": c.colour, "planned": list(c.planned), "missing": list(c.missing)} for c in check.colours
        ],
        "markers": [{**_plain(vars(m))} for m in check.markers],
        "confusions": list(check.confusions),
        "rows": None if check.rows is None else _plain(vars(check.rows)),
        "places": None,
        "faults": [vars(fault) for fault in check.faults],
    }
    if places is not None:
        import numpy as np

        grids = {"scale_px_per_mm": places.scale_px_per_mm, "U95_x_m": places.U95_x_m, "U95_y_m": places.U95_y_m}
        brief["places"] = {
            "height_m": places.height_m,
            "u_px": places.u_px,
            **{
                name: {"least": float(np.nanmin(grid)), "most": float(np.nanmax(grid))}
                for name, grid in grids.items()
                if np.isfinite(grid).any()
            },
        }
    return brief


def _known(values: dict[str, Any]) -> dict[str, Any]:
    return {name: _number(value) for name, value in values.items()}


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    return {name: _number(float(v)) if isinstance(v, float) else v for name, v in values.items()}


def _number(value: float) -> float | None:
    return round(value, 6) if isfinite(value) else None


def _list_runs(clip: Path, run: "Run | None", *, quiet: bool, as_json: bool) -> None:
    from matchvision.cli.runlist import brief_runs, tell_runs
    from matchvision.footage import read_facts
    from matchvision.footage.runs import find_runs

    facts = read_facts(clip)
    sheet = run.sheet if run is not None else None
    with shown_progress(quiet=quiet) as tell:
        found = find_runs(facts, sheet, None if tell is None else lambda done, total: tell("watching", done, total))
    if as_json:
        click.echo(json.dumps(brief_runs(found), indent=1))
        return
    if not found.runs:
        heard = ", ".join(f"{s.clip_s:.3f} s" for s in found.lone_sounds)
        beside = f" Sounds that could be start signals set in at {heard}." if heard else ""
        said = "No stretch of motion between quiet ones was found: name each run's part by hand."
        say(said + beside, quiet=quiet)
        return
    say(tell_runs(found), quiet=quiet)
