"""``measured.toml``: what a practice run measured, as a piece of a run sheet that others include."""

import math

from matchvision.records.practice import PracticeParameter, PracticeResult
from matchvision.records.results import Analysis
from matchvision.uncertainty import K_95, format_interval, round_to_uncertainty

#: Characters in a line of the sheet, its comment sign apart.
_WIDTH = 116


def format_measured(analysis: Analysis, practice: PracticeResult) -> str:
    """The numbers of a practice run as commented TOML.

    Every ``u`` is the half width of the 95 % interval over 1.96: a standard uncertainty that gives the right interval
    to whoever takes it for a normal one, however few readings it rests on.

    Notes
    -----
    Checked by: tests/writing/test_measured.py::test_what_is_written_can_be_included
    """
    run, clip = analysis.run.sheet.run, analysis.clip
    lines = [
        *_comment(
            f'Measured from "{run.name}" ({practice.kind} run), clip {clip.path.name}, SHA-256 {clip.sha256[:16]}.'
        ),
        *_comment(
            'To use it, write include = ["measured.toml"] at the top of a run sheet. What stands in [machine.X.drive] '
            "serves a prediction where [forecast.X] says nothing else; its lines may be copied into [forecast.X]."
        ),
    ]
    blocks: dict[str, list[PracticeParameter]] = {}
    for parameter in (p for p in practice.parameters if p.stated):
        blocks.setdefault(".".join(parameter.key[:-1]), []).append(parameter)
    for block, parameters in blocks.items():
        lines += ["", f"[{block}]"]
        for parameter in parameters:
            lines += [*_explain(parameter), f"{parameter.key[-1]} = {_number(parameter)}"]
    by_hand = [p for p in practice.parameters if not p.stated]
    if by_hand:
        lines += ["", *_comment("To be written by hand where they belong:")]
    for parameter in by_hand:
        block = (
            "[[" + ".".join(parameter.key[:-1]) + "]]"
            if "wheel" in parameter.key
            else f"[{'.'.join(parameter.key[:-1])}]"
        )
        lines += [*_explain(parameter), f"# {block} {parameter.key[-1]} = {_number(parameter)}"]
    for text in (*practice.warnings, *practice.missing):
        lines += ["", *_comment(text)]
    return "\n".join(lines) + "\n"


def _explain(parameter: PracticeParameter) -> list[str]:
    unit = "" if parameter.unit == "1" else parameter.unit
    interval = format_interval(parameter.value, parameter.u95 / K_95, unit)
    span = (
        f"{parameter.since_s:.2f} s to {parameter.until_s:.2f} s"
        if parameter.until_s > parameter.since_s
        else f"{parameter.since_s:.2f} s"
    )
    name = parameter.name[:1].upper() + parameter.name[1:]
    return _comment(f"{name}: {interval} (95 %), from {span} of the run's clock. {parameter.how}")


def _number(parameter: PracticeParameter) -> str:
    """A number for the sheet, rounded to its uncertainty."""
    u = parameter.u95 / K_95
    if not (math.isfinite(u) and u > 0):
        return f"{parameter.value:.6g}"
    value, u, decimals = round_to_uncertainty(parameter.value, u)
    text, u_text = (f"{number:.{max(decimals, 0)}f}" for number in (value, u))
    return f"{{ value = {text}, u = {u_text} }}" if parameter.takes_u else text


def _comment(text: str) -> list[str]:
    """A text as comment lines of at most `_WIDTH` characters."""
    lines = ["#"]
    for word in text.split():
        if len(lines[-1]) + 1 + len(word) > _WIDTH:
            lines.append("#")
        lines[-1] += f" {word}"
    return lines
