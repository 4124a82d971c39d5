"""What a practice run measured, as the page's rows."""

from dataclasses import dataclass

from matchvision.records.practice import PracticeParameter
from matchvision.records.results import Analysis
from matchvision.report import wording
from matchvision.uncertainty import format_quantity


@dataclass(frozen=True)
class MeasuredRow:
    """One number: its name, interval, place in a sheet, what it rests on, and its budget as (input, given, adds)."""

    name: str
    value: str
    key: str
    how: str
    lines: tuple[tuple[str, str, str], ...]


def measured_rows(analysis: Analysis) -> tuple[MeasuredRow, ...]:
    """Rows of the section on the practice run; none where it measured nothing, or was a match."""
    return tuple(_row(parameter) for parameter in (analysis.practice.parameters if analysis.practice else ()))


def _row(parameter: PracticeParameter) -> MeasuredRow:
    name = parameter.name[:1].upper() + parameter.name[1:]
    value = wording.standard(parameter.value, parameter.u95, parameter.unit)
    unit = "" if parameter.unit == "1" else f" {parameter.unit}"
    lines = []
    for line in parameter.budget:
        given = ""
        if line.u_value > 0:
            given = format_quantity(line.value, line.u_value, "" if line.value_unit == "1" else line.value_unit)
        lines.append((line.name, given, f"{line.u:.2g}{unit}"))
    how = wording.sentence(parameter.how)
    return MeasuredRow(name, value, ".".join(parameter.key), how, tuple(lines))
