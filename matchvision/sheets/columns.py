"""The small tables that people bring along: hang tests, forecast curves and logs of commands, as CSV."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.errors import Fault
from matchvision.records.sheet import ForecastCurve, HangTest
from matchvision.sheets.form import ask_meant, suggest

#: Readings may contradict each other by this many standard uncertainties of their difference.
_READING_WIDTH: Final = 3.0


@dataclass(frozen=True)
class _Layout:
    """Which columns a table must have and may have; cells may be empty where ``gaps`` says so."""

    needed: tuple[str, ...]
    free: tuple[str, ...] = ()
    gaps: bool = False


_HANG: Final = _Layout(("mass_kg", "length_m"), ("loading",))
_CURVE_QUANTITIES: Final = ("position_m", "speed_m_s", "tension_N")
_CURVE: Final = _Layout(("t_s",), (*_CURVE_QUANTITIES, *(f"u_{q}" for q in _CURVE_QUANTITIES)), gaps=True)
_COMMANDS: Final = _Layout(("t_s",), ("share", "left_share", "right_share"))


def read_hang_test(path: Path, shown: str, u_reading_m: float, faults: list[Fault]) -> HangTest | None:
    """Read a hang test: masses hung on the sprung link and its length under each.

    Parameters
    ----------
    path : Path
        CSV with the columns ``mass_kg, length_m`` and, where wanted, ``loading`` (up or down).
    shown : str
        The file's name in messages.
    u_reading_m : float
        Standard uncertainty of one reading [m].
    faults : list of Fault
        What is wrong is added here.

    Returns
    -------
    HangTest or None
        None where there are faults.
    """
    before = len(faults)
    columns = _read_columns(path, shown, _HANG, faults, words=("loading",))
    if columns is None:
        return None
    mass, length = _numbers(columns["mass_kg"]), _numbers(columns["length_m"])
    loading = tuple(str(word) for word in columns.get("loading", [""] * len(mass)))
    for row, word in enumerate(loading):
        if word not in ("up", "down", ""):
            where = f"{shown}, line {row + 2}, loading"
            faults.append(Fault(where, f'found "{word}"', "up, down or nothing is wanted"))
    if np.any(mass < 0) or np.any(length <= 0):
        row = int(np.flatnonzero((mass < 0) | (length <= 0))[0])
        found = f"a mass of {mass[row]:g} kg and a length of {length[row]:g} m"
        faults.append(Fault(f"{shown}, line {row + 2}", found, "masses are not negative, lengths positive"))
    if len(np.unique(mass)) < 3:
        masses = len(np.unique(mass))
        found = f"{len(mass)} row{'s' * (len(mass) != 1)} with {masses} different mass{'es' * (masses != 1)}"
        faults.append(Fault(shown, found, "a hang test needs three different masses or more"))
    else:
        _check_growing(mass, length, loading, shown, u_reading_m, faults)
    return HangTest(mass, length, loading) if len(faults) == before else None


def read_curve(path: Path, shown: str, faults: list[Fault]) -> ForecastCurve | None:
    """Read a forecast from any tool: ``t_s`` and some of ``position_m, speed_m_s, tension_N`` with ``u_`` columns.

    Empty cells become NaN. Faults are added to ``faults``; then nothing is returned.
    """
    before = len(faults)
    columns = _read_columns(path, shown, _CURVE, faults)
    if columns is None:
        return None
    if not any(quantity in columns for quantity in _CURVE_QUANTITIES):
        wanted = f"at least one of {', '.join(_CURVE_QUANTITIES)} is wanted"
        faults.append(Fault(shown, "there is no column with a forecast", wanted))
    numbers = {name: _numbers(cells) for name, cells in columns.items()}
    for name, values in numbers.items():
        if name.startswith("u_") and name[2:] not in numbers:
            faults.append(Fault(f"{shown}, {name}", f"there is no column {name[2:]}", "u_ belongs to a column"))
        if name.startswith("u_") and np.any(values < 0):
            faults.append(Fault(f"{shown}, {name}", "an uncertainty is negative", "uncertainties are not negative"))
    _check_times(numbers["t_s"], shown, faults)
    return ForecastCurve(numbers) if len(faults) == before else None


def read_commands(path: Path, shown: str, faults: list[Fault]) -> npt.NDArray[np.float64] | None:
    """Read what an operator really did: ``t_s`` and ``share``, or ``left_share`` and ``right_share``.

    Returns
    -------
    (n, 3) float array or None
        Match time [s], share of full drive on the left and on the right; None where there are faults.
    """
    before = len(faults)
    columns = _read_columns(path, shown, _COMMANDS, faults)
    if columns is None:
        return None
    both, sides = "share" in columns, [side for side in ("left_share", "right_share") if side in columns]
    if both == bool(sides) or len(sides) == 1:
        wanted = "either the column share, or both left_share and right_share"
        faults.append(Fault(shown, f"the columns are {', '.join(columns)}", wanted))
        return None
    names = ("t_s", "share", "share") if both else ("t_s", "left_share", "right_share")
    table = np.column_stack([_numbers(columns[name]) for name in names])
    _check_times(table[:, 0], shown, faults)
    if np.any(np.abs(table[:, 1:]) > 1):
        row = int(np.flatnonzero(np.any(np.abs(table[:, 1:]) > 1, axis=1))[0])
        faults.append(Fault(f"{shown}, line {row + 2}", "a share beyond 1", "shares of full drive lie from -1 to 1"))
    return table if len(faults) == before else None


def _read_columns(
    path: Path, shown: str, layout: _Layout, faults: list[Fault], words: Sequence[str] = ()
) -> Mapping[str, list[float | str]] | None:
    """Columns by name, checked cell by cell; None where there are faults."""
    before = len(faults)
    rows = _read_rows(path, shown, faults)
    if rows is None:
        return None
    names = [name.strip() for name in rows[0][1]]
    known = (*layout.needed, *layout.free)
    if len(names) == 1 and ";" in names[0]:
        found = "columns are parted by semicolons"
        faults.append(Fault(f"{shown}, line 1", found, "part them by commas, with a decimal point in the numbers"))
        return None
    for name in names:
        if name not in known:
            hint = f'did you mean "{m}"?' if (m := suggest(name, known)) else f"columns allowed: {', '.join(known)}"
            faults.append(Fault(f"{shown}, line 1", f'there is no column "{name}"', hint))
        elif names.count(name) > 1:
            faults.append(Fault(f"{shown}, line 1", f'the column "{name}" stands twice', "once is wanted"))
    faults += [
        Fault(f"{shown}, line 1", f'the column "{name}" is missing', ask_meant(name, names, "column"))
        for name in layout.needed
        if name not in names
    ]
    if len(rows) == 1:
        faults.append(Fault(shown, "there are no rows under the heading", "at least one row is wanted"))
    if len(faults) > before:
        return None
    columns: dict[str, list[float | str]] = {name: [] for name in names}
    for line, cells in rows[1:]:
        if len(cells) != len(names):
            found = f"{len(cells)} cells under {len(names)} columns"
            faults.append(Fault(f"{shown}, line {line}", found, "one cell a column is wanted"))
            continue
        for name, cell in zip(names, cells, strict=True):
            gap = layout.gaps and name != "t_s"
            columns[name].append(
                cell.strip() if name in words else _number(cell, f"{shown}, line {line}, {name}", gap, faults)
            )
    return columns if len(faults) == before else None


def _read_rows(path: Path, shown: str, faults: list[Fault]) -> list[tuple[int, list[str]]] | None:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except FileNotFoundError:
        faults.append(Fault(shown, "there is no such file", "paths count from the sheet that names them"))
        return None
    except UnicodeDecodeError:
        faults.append(Fault(shown, "it is no text in UTF-8", "save it as CSV in UTF-8"))
        return None
    except (OSError, csv.Error) as error:
        faults.append(Fault(shown, f"it cannot be read as a table ({error})", "a CSV file in UTF-8 is wanted"))
        return None
    if not rows:
        faults.append(Fault(shown, "it is empty", "a heading with column names and rows of numbers are wanted"))
        return None
    return rows


def _number(cell: str, where: str, gap: bool, faults: list[Fault]) -> float:
    text = cell.strip()
    if gap and not text:
        return float("nan")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        faults.append(Fault(where, f'found "{text}"', "a number with a decimal point is wanted"))
    return value


def _numbers(cells: Sequence[float | str]) -> npt.NDArray[np.float64]:
    return np.asarray(cells, dtype=np.float64)


def _check_times(t_s: npt.NDArray[np.float64], shown: str, faults: list[Fault]) -> None:
    for row, (first, second) in enumerate(pairwise(t_s)):
        if second <= first:
            where = f"{shown}, line {row + 3}, t_s"
            faults.append(Fault(where, f"{second:g} s does not come after {first:g} s", "times must increase"))
            return


def _check_growing(
    mass: npt.NDArray[np.float64], length: npt.NDArray[np.float64], loading: Sequence[str], shown: str,
    u_reading_m: float, faults: list[Fault],
) -> None:  # fmt: skip
    """A link under more mass is longer, beyond what readings can differ by."""
    allowed_m = _READING_WIDTH * sqrt(2.0) * u_reading_m
    for branch in sorted(set(loading)):
        rows = np.flatnonzero(np.asarray([word == branch for word in loading]))
        rows = rows[np.argsort(mass[rows], kind="stable")]
        for first, second in pairwise(rows):
            if mass[second] > mass[first] and length[second] < length[first] - allowed_m:
                found = (
                    f"{length[second]:g} m under {mass[second]:g} kg, but {length[first]:g} m under {mass[first]:g} kg"
                )
                wanted = f"a link grows with the mass (readings may differ by {allowed_m * 1000:.1f} mm)"
                faults.append(Fault(f"{shown}, line {second + 2}, length_m", found, wanted))
    growth = length[np.argmax(mass)] - length[np.argmin(mass)]
    if growth <= allowed_m:
        found = f"from the least to the greatest mass the link grows by {growth * 1000:.2f} mm"
        faults.append(
            Fault(shown, found, f"more than {allowed_m * 1000:.1f} mm is needed to tell a pull from a reading")
        )
