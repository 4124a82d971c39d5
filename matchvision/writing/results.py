"""Write results whole or not at all, and read them back as typed tables."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pydantic import ValidationError

from matchvision.errors import OutputError, SetupError
from matchvision.records.columns import TABLES
from matchvision.records.results import Analysis
from matchvision.records.sheet import Run
from matchvision.writing.resultfile import ResultFile
from matchvision.writing.summary import sum_up
from matchvision.writing.swapping import MARK, PRODUCTS, refuse_foreign, refuse_unwritable, replaced_whole

# What makes tables is loaded where tables are made: whether results could be written is asked before a clip is watched,
# which needs the memory.
if TYPE_CHECKING:
    import pandas as pd

_FORMATS: Final = ("csv", "parquet")


@dataclass(frozen=True, eq=False)
class Results:
    """Results read back: each table with its columns and types as listed in ``records/columns.py``, and the brief."""

    folder: Path
    brief: ResultFile
    tracks: "pd.DataFrame"
    motion: "pd.DataFrame"
    wheels: "pd.DataFrame"
    rope: "pd.DataFrame"
    pull: "pd.DataFrame"
    traction: "pd.DataFrame"
    grip_map: "pd.DataFrame"
    events: "pd.DataFrame"
    comparison: "pd.DataFrame"
    curves: "pd.DataFrame"
    causes: "pd.DataFrame"


def write_results(
    analysis: Analysis,
    folder: str | Path,
    *,
    tables: str = "csv",
    also: Callable[[Path], None] | None = None,
) -> None:
    """Write all tables and ``result.json``; the folder appears whole, and earlier results stay until it does.

    Parameters
    ----------
    analysis : Analysis
    folder : str or Path
        Made if need be. Earlier results in it are replaced; what else lies beside them there is kept.
    tables : "csv" or "parquet"
        CSV is rounded to digits that mean something; Parquet keeps every digit and needs pyarrow.
    also : function or None
        Called with the unfinished folder before it takes its place, to add files that belong to the same whole.

    Raises
    ------
    OutputError
        Where the folder holds something else than results or cannot be written.
    SetupError
        Where Parquet is asked for and pyarrow is not installed.

    Notes
    -----
    Checked by: tests/writing/test_results.py::test_a_failure_midway_leaves_the_old_results
    """
    from matchvision.writing.tables import build_tables

    folder = Path(folder)
    check_target(analysis.run, folder, tables)
    built = build_tables(analysis)
    with replaced_whole(folder, _former_files) as unfinished:
        for name, table in built.items():
            write_table(unfinished / f"{name}.{tables}", name, table)
        if also is not None:
            also(unfinished)
        brief = sum_up(analysis, [entry.name for entry in unfinished.iterdir()])
        (unfinished / MARK).write_text(brief.model_dump_json(indent=1) + "\n", encoding="utf-8")


def check_target(run: Run, folder: Path, tables: str = "csv") -> None:
    """Refuse a place or form in which results could not be written: before the long work, not after it.

    Raises
    ------
    OutputError
        Where the folder holds something else than results, or the run itself; where nothing can be written there; or
        there is no such form of tables.
    SetupError
        Where Parquet is asked for and pyarrow is not installed.
    """
    if tables not in _FORMATS:
        raise OutputError(f'there is no table format "{tables}"', do=f"choose one of {', '.join(_FORMATS)}")
    if tables == "parquet":
        _need_pyarrow()
    target = folder.resolve()
    for precious in (run.folder, run.clip.parent):  # results may lie below the run's folder, but not in its place
        if precious.resolve().is_relative_to(target):
            do = "choose another folder with --out, such as a folder in it"
            raise OutputError("the run sheet or the clip lies in this folder", where=str(folder), do=do)
    refuse_foreign(target)
    refuse_unwritable(target)


def open_result(folder: str | Path) -> Results:
    """Read results back.

    Parameters
    ----------
    folder : str or Path
        As written by ``matchvision analyze``.

    Returns
    -------
    Results
        Missing numbers are NaN, missing words empty texts.

    Raises
    ------
    OutputError
        Where a file is missing, was written by another version or has been changed so that it no longer fits.

    Notes
    -----
    Checked by: tests/writing/test_results.py::test_what_was_written_is_read_back
    """
    folder = Path(folder)
    brief = read_brief(folder)
    frames = {name: read_table(folder, name) for name in TABLES}
    return Results(folder=folder, brief=brief, **frames)


def write_table(path: Path, name: str, table: "pd.DataFrame") -> None:
    """One table as CSV or Parquet, by the path's ending."""
    from matchvision.writing.tables import round_table

    if path.suffix == ".parquet":
        table.to_parquet(path, index=False)
    else:
        round_table(name, table).to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def read_brief(folder: Path) -> ResultFile:
    """Read ``result.json`` alone.

    Raises
    ------
    OutputError
        Where it is missing, was written by another version or has been changed so that it no longer fits.
    """
    path = folder / MARK
    do = "give a folder that `matchvision analyze` wrote, and do not change its files by hand"
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise OutputError(f"there are no results here ({error.strerror})", where=str(path), do=do) from error
    try:
        return ResultFile.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"]) or "the file"
        raise OutputError(f"{place} does not fit: {first['msg']}", where=str(path), do=do) from error


def read_table(folder: Path, name: str) -> "pd.DataFrame":
    """Read one table alone, as `open_result` does.

    Raises
    ------
    OutputError
        Where it is missing or has been changed so that it no longer fits.
    """
    import pandas as pd

    from matchvision.writing.tables import DTYPES, check_table

    do = "analyse the run again; the tables are written together and belong together"
    kinds = {column.name: DTYPES[column.dtype] for column in TABLES[name]}
    for path in (folder / f"{name}.csv", folder / f"{name}.parquet"):
        if not path.is_file():
            continue
        if path.suffix == ".parquet":
            _need_pyarrow()
            return check_table(name, pd.read_parquet(path))
        try:
            words = [column.name for column in TABLES[name] if column.dtype == "word"]
            table = pd.read_csv(
                path, dtype=kinds, keep_default_na=False, na_values={c: [""] for c in kinds if c not in words}
            )
        except (ValueError, OSError) as error:
            raise OutputError(f"the table cannot be read ({error})", where=str(path), do=do) from error
        return check_table(name, table)
    raise OutputError(f"the table {name} is missing", where=str(folder), do=do)


def _former_files(folder: Path) -> frozenset[str]:
    """What earlier results consist of, by their own account."""
    try:
        listed = json.loads((folder / MARK).read_text(encoding="utf-8"))["files"]
        return frozenset(str(name) for name in listed) | {MARK}
    except (OSError, ValueError, KeyError, TypeError):
        return PRODUCTS


def _need_pyarrow() -> None:
    if find_spec("pyarrow") is None:
        do = "install it with `pip install pyarrow`, or write CSV"
        raise SetupError("tables in Parquet need the package pyarrow, which is not installed", do=do)
