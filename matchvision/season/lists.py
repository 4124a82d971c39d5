"""Small lists that people keep as CSV: read with every fault named by its line."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from matchvision.errors import Fault
from matchvision.sheets.form import suggest

#: A row by column, and the line on which it stands.
Row = tuple[int, Mapping[str, str]]


def read_list(
    path: Path, shown: str, needed: Sequence[str], free: Sequence[str], faults: list[Fault]
) -> tuple[Row, ...]:
    """Rows of a CSV file with blanks taken off; empty lines are passed over, faults are added.

    Parameters
    ----------
    path, shown : the file, and its name in messages.
    needed, free : columns that it must and may have; what a row lacks is empty.
    faults : what is wrong is added here.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        faults.append(Fault(shown, f"it cannot be read ({error.strerror})", "a CSV file is wanted"))
        return ()
    except UnicodeDecodeError:
        faults.append(Fault(shown, "it is no text in UTF-8", "save it as CSV in UTF-8"))
        return ()
    return check_rows(_split(text), shown, needed, free, faults)


def _split(text: str) -> list[list[str]]:
    """Cells by line; the mark between cells is a semicolon where the first line has more of these than commas."""
    first = text.split("\n", 1)[0]
    mark = ";" if first.count(";") > first.count(",") else ","
    return [[cell.strip() for cell in row] for row in csv.reader(io.StringIO(text), delimiter=mark)]


def check_rows(
    rows: Iterable[Sequence[str]], shown: str, needed: Sequence[str], free: Sequence[str], faults: list[Fault]
) -> tuple[Row, ...]:
    """Rows of cells, headed by their columns, as `read_list` gives them."""
    numbered = [(line, list(cells)) for line, cells in enumerate(rows, start=1) if any(cells)]
    if not numbered:
        faults.append(Fault(shown, "it is empty", f"a first line with {', '.join(needed)} is wanted"))
        return ()
    (line, head), *body = numbered
    known = (*needed, *free)
    by_lower = {name.lower(): name for name in known}
    head = [by_lower.get(name.strip().lower(), name.strip()) for name in head]
    wrong = [name for name in head if name and name not in known]
    for name in wrong:
        meant = suggest(name, known)
        wanted = f'did you mean "{meant}"?' if meant else f"columns: {', '.join(known)}"
        faults.append(Fault(f"{shown}, line {line}", f'there is no column "{name}"', wanted))
    faults += [
        Fault(f"{shown}, line {line}", f"the column {name} is missing", f"columns: {', '.join(known)}")
        for name in needed
        if name not in head
    ]
    if wrong or any(name not in head for name in needed):
        return ()
    found = []
    for at, cells in body:
        if len(cells) > len(head) and any(cells[len(head) :]):
            faults.append(
                Fault(f"{shown}, line {at}", f"{len(cells)} cells", f"{len(head)} are wanted, as in the first line")
            )
            continue
        filled = dict(zip(head, [*cells, *[""] * len(head)], strict=False))
        found.append((at, {name: filled.get(name, "") for name in known}))
    return tuple(found)


def read_number(row: Row, column: str, shown: str, faults: list[Fault]) -> float | None:
    """A cell as a number; None where it is empty or, with a fault, where it is none."""
    line, cells = row
    text = cells[column]
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        faults.append(Fault(f"{shown}, line {line}, {column}", f'found "{text}"', "a number is wanted, as in 12.5"))
        return None
    if not abs(number) < float("inf"):
        faults.append(Fault(f"{shown}, line {line}, {column}", f'found "{text}"', "a finite number is wanted"))
        return None
    return number
