"""Practice runs side by side: from folders to what they have in common."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from matchvision.errors import OutputError
from matchvision.records.repeats import Repeats
from matchvision.repeats import compare_readings
from matchvision.season.readings import read_readings
from matchvision.writing import read_brief

_COLUMNS = (
    "machine", "quantity", "unit", "runs_before", "mean_before", "half_95_before", "runs_after", "mean_after",
    "half_95_after", "s_r", "s_r_low", "s_r_high", "degrees", "u_within", "s_between", "p_alike", "difference", "low",
    "high", "p", "chance_more", "seen", "runs_to_see_a_tenth",
)  # fmt: skip


def find_results(run: Path, results: Path = Path("outputs")) -> Path:
    """The folder of results that ``run`` means: itself, or that of the run sheet in it.

    Raises
    ------
    OutputError
        Where there are none.
    SheetError
        Where it is a run sheet with faults.
    """
    if (run / "result.json").is_file():
        return run
    if run.is_file() or (run / "run.toml").is_file():
        from matchvision.records.naming import name_folder
        from matchvision.sheets import load_run

        folder = results / name_folder(load_run(run).sheet.run.name)
        if (folder / "result.json").is_file():
            return folder
        do = f"analyse it first: matchvision analyze {run}"
        raise OutputError(f"this run has no results yet (none in {folder})", where=str(run), do=do)
    do = "give folders that `matchvision analyze` wrote, or run folders that were analysed"
    raise OutputError("there are neither results nor a run sheet here", where=str(run), do=do)


def compare_runs(
    groups: Sequence[Sequence[Path]], machine: str | None = None
) -> tuple[tuple[Repeats, ...], list[list[str]], list[str]]:
    """Compare the results of one group of runs, or of two: before and after a change.

    Returns
    -------
    rows : every quantity that they have in common.
    names : of the runs in each group.
    lacking : what some have and others do not, in words.

    Raises
    ------
    OutputError
        Where a run has no results, one is named twice, or the runs have no machine and quantity in common.
    """
    folders = [[find_results(run) for run in group] for group in groups]
    everyone = [folder.resolve() for group in folders for folder in group]
    twice = next((f for f in everyone if everyone.count(f) > 1), None)
    if twice is not None:
        raise OutputError("this run is named twice", where=str(twice), do="name each run once: a repeat is another run")
    if len(everyone) < 2:
        raise OutputError("one run alone cannot be compared", where=str(everyone[0]), do="name two runs or more")
    names = _tell_apart(folders)
    read = [
        [one for folder, name in zip(group, said, strict=True) for one in read_readings(folder, name)]
        for group, said in zip(folders, names, strict=True)
    ]
    known = dict.fromkeys(r.machine for group in read for r in group if r.machine)
    if machine is not None and machine not in known:
        do = f"choose among {', '.join(known)}" if known else "look into the runs' reports why nothing was measured"
        raise OutputError(f"no run measured a machine called {machine}", where="--machine", do=do)
    read = [[r for r in group if machine is None or r.machine in (machine, "")] for group in read]
    rows = compare_readings(read)
    if not rows:
        where = ", ".join(name for group in names for name in group)
        do = "compare runs of one machine and one kind; a machine has the same name in all its sheets"
        raise OutputError("these runs have nothing in common that was measured", where=where, do=do)
    done = {(row.machine, row.quantity) for row in rows}
    rest = dict.fromkeys(
        (r.machine, r.quantity) for group in read for r in group if (r.machine, r.quantity) not in done
    )
    return rows, names, [f"{quantity}, {whose}" if whose else quantity for whose, quantity in rest]


def _tell_apart(folders: Sequence[Sequence[Path]]) -> list[list[str]]:
    """The runs' own names; where two are called alike, with their folders behind."""
    names = [[read_brief(folder).run.name for folder in group] for group in folders]
    everyone = [name for group in names for name in group]
    return [
        [f"{n} ({f.resolve().name})" if everyone.count(n) > 1 else n for f, n in zip(group, said, strict=True)]
        for group, said in zip(folders, names, strict=True)
    ]


def format_repeats(rows: Sequence[Repeats]) -> str:
    """The comparison as CSV, in SI units; an empty cell is not known. A single group stands under "before"."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for row in rows:
        first, last = row.groups[0], row.groups[1] if len(row.groups) > 1 else None
        change = row.change
        cells: list[object] = [row.machine, row.quantity, row.unit, len(first.readings), first.mean, first.half_95]
        cells += [len(last.readings), last.mean, last.half_95] if last else [None] * 3
        cells += [row.s_r, row.s_r_low, row.s_r_high, row.degrees, first.u_within, first.s_between, first.p_alike]
        cells += [change.difference, change.low, change.high, change.p, change.chance_more] if change else [None] * 5
        cells += [row.seen, row.runs_to_see or None]
        writer.writerow([_cell(cell) for cell in cells])
    return text.getvalue()


def _cell(cell: object) -> object:
    if isinstance(cell, float):
        return "" if cell != cell else f"{cell:.6g}"  # NaN is not equal to itself
    return "" if cell is None else cell
