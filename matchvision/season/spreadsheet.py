"""All forecasts of a class in one spreadsheet: a row a team, a column a key of [forecast.X]."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, get_args

from matchvision.errors import Fault, SetupError, SheetError
from matchvision.records.sheet import Forecast
from matchvision.season.lists import check_rows, read_list

#: Keys that a cell cannot hold: curves over time, and drives of left and right apart. They come in sheets.
_NOT_IN_CELLS: Final = frozenset({"left", "right", "curve", "throttle", "stage"})
_WORDS: Final = frozenset({"failure_named", "throttle_acts_on"})
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}\b")


@dataclass(frozen=True)
class ForecastRow:
    """One team's row: key -> what stands in the cell, empty ones left out."""

    team: str
    line: int
    cells: Mapping[str, str]


def list_columns() -> tuple[str, ...]:
    """Columns that a spreadsheet may have beside ``team``: each key, and ``u_key`` where it may have an uncertainty."""
    columns = []
    for name, field in Forecast.model_fields.items():
        if name in _NOT_IN_CELLS:
            continue
        columns.append(name)
        if "Quantity" in str(field.annotation) or any("Quantity" in str(part) for part in get_args(field.annotation)):
            columns.append(f"u_{name}")
    return tuple(columns)


def read_spreadsheet(path: Path) -> tuple[ForecastRow, ...]:
    """Rows of a CSV or XLSX file (its first sheet).

    Raises
    ------
    SheetError
        With every fault of its form: unknown columns, a team twice, a cell that is no number.
    SetupError
        Where an XLSX file is given and the package openpyxl is not installed.

    Notes
    -----
    Checked by: tests/season/test_receiving.py::test_csv_and_xlsx_say_the_same
    """
    faults: list[Fault] = []
    columns = list_columns()
    if path.suffix.lower() == ".xlsx":
        rows = check_rows(_read_xlsx(path), path.name, ("team",), columns, faults)
    else:
        rows = read_list(path, path.name, ("team",), columns, faults)
    found: list[ForecastRow] = []
    for line, cells in rows:
        team = cells["team"]
        if not team:
            faults.append(Fault(f"{path.name}, line {line}", "no team is named", "each row begins with a team"))
        if any(row.team == team for row in found):
            faults.append(Fault(f"{path.name}, line {line}", f"{team} stands there twice", "one row a team is wanted"))
        for key, text in cells.items():
            if key != "team" and key not in _WORDS and text and not _is_number(text):
                faults.append(Fault(f"{path.name}, line {line}, {key}", *_no_number(text)))
        found.append(ForecastRow(team, line, {key: text for key, text in cells.items() if text and key != "team"}))
    if faults:
        raise SheetError(str(path), faults, do="mend these cells and hand the file in again")
    return tuple(found)


def _no_number(text: str) -> tuple[str, str]:
    """What was found in a cell that is no number, and what is wanted."""
    if text.startswith("="):
        return f'found the formula "{text}", not computed', "open the file in a spreadsheet program and save it there"
    if _DATE.match(text):
        said = "a number is wanted: the spreadsheet took what was typed for a date; format the cell as a number"
        return f'found the date "{text}"', said
    return f'found "{text}"', "a number is wanted, as in 12.5"


def sheet_of_row(row: ForecastRow) -> str:
    """The row as a sheet in TOML with [forecast.TEAM]."""
    # What the machine is stands in the team's own sheet; a forecast has to name one.
    lines = [f"[machine.{_quoted(row.team)}]", "", f"[forecast.{_quoted(row.team)}]"]
    for key, text in row.cells.items():
        if key.startswith("u_") and key[2:] in row.cells:
            continue
        if key in _WORDS:
            lines.append(f"{key} = {_quoted(text)}")
        elif f"u_{key}" in row.cells:
            lines.append(f"{key} = {{ value = {_number(text)}, u = {_number(row.cells[f'u_{key}'])} }}")
        else:
            lines.append(f"{key} = {_number(text)}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{"".join(c for c in escaped if c.isprintable())}"'


def _number(text: str) -> str:
    value = float(text.replace(",", "."))
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text.replace(",", ".")))
    except ValueError:
        return False


def _read_xlsx(path: Path) -> list[Sequence[str]]:
    try:
        from openpyxl import load_workbook
    except ImportError as error:
        do = 'install it: pip install "matchvision[xlsx]", or save the spreadsheet as CSV'
        raise SetupError("XLSX files need the package openpyxl, which is not installed", do=do) from error
    try:
        # Once for what the formulas gave when the file was saved, once for the formulas that gave nothing.
        rows, typed = (_first_sheet(load_workbook(path, read_only=True, data_only=given)) for given in (True, False))
    except Exception as error:
        fault = Fault(path.name, f"it cannot be read as XLSX ({error})", "save it anew, or as CSV")
        raise SheetError(str(path), [fault]) from error
    return [
        [
            str(was if cell is None and str(was).startswith("=") else "" if cell is None else cell).strip()
            for cell, was in zip(row, as_typed, strict=True)
        ]
        for row, as_typed in zip(rows, typed, strict=True)
    ]


def _first_sheet(book: Any) -> list[tuple[Any, ...]]:  # noqa: ANN401 - the package is an extra
    """Cells of a workbook's first sheet."""
    rows = list(book.worksheets[0].iter_rows(values_only=True))
    book.close()
    return rows
