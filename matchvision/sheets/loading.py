"""From a run sheet on disk to a checked run."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from os.path import relpath
from pathlib import Path
from typing import Any, TypeVar

from matchvision.errors import Fault, MatchvisionError, SheetError
from matchvision.records.camera import Calibration
from matchvision.records.sheet import HangTest, LensSheet, LinkSheet, Run
from matchvision.sheets.beside import mends_file
from matchvision.sheets.columns import read_commands, read_curve, read_hang_test
from matchvision.sheets.form import check_form, mend_names
from matchvision.sheets.lines import Key
from matchvision.sheets.mends import read_mends
from matchvision.sheets.reading import SheetSource, find_own_sheet, find_place, locate, merge_sheets, read_sheets
from matchvision.sheets.sense import check_sense

_T = TypeVar("_T")
_DEFAULT_READING_M: float = LinkSheet.model_fields["u_reading_m"].default


def load_run(path: str | Path) -> Run:
    """Load a run: its sheet, what that includes, and the files that it points to.

    Parameters
    ----------
    path : str or Path
        The run sheet, or the folder that holds it as ``run.toml``.

    Returns
    -------
    Run
        Paths in it are absolute. The clip itself is not opened.

    Raises
    ------
    SheetError
        With all faults at once: of form (unknown, missing or wrong keys), of sense (what contradicts itself) and of
        the tables that the sheet points to.

    Notes
    -----
    Checked by: tests/sheets/test_loading.py::test_three_faults_are_listed_at_once
    """
    sources = read_sheets(Path(path))
    run = assemble_run(sources, str(path))
    return add_mends(run, mends_file(find_own_sheet(Path(path))))


def add_mends(run: Run, path: Path) -> Run:
    """A run with the mends by hand that stand in a file beside its sheet, if there is one.

    Raises
    ------
    SheetError
    """
    mends, text = read_mends(path, run.sheet)
    if not text:
        return run
    return replace(run, mends=mends, sheet_texts={**run.sheet_texts, path.name: text})


def assemble_run(sources: Sequence[SheetSource], path: str) -> Run:
    """A checked run from sheets that are laid over each other, later ones above.

    Raises
    ------
    SheetError
        With all faults at once, under ``path`` as the name of the whole.
    """
    data = merge_sheets([source.data for source in sources])
    sheet, form = check_form(data)
    mended = mend_names(data, form)
    spoiled = [fault.key for fault in form if not fault.meant]
    sense = [fault for fault in check_sense(mended) if fault.key not in spoiled]
    in_order = sorted((*form, *sense), key=lambda fault: find_place(sources, fault.key))
    faults = [Fault(locate(sources, fault.key), fault.found, fault.wanted) for fault in in_order]

    folder = sources[-1].path.parent
    files = _FileReader(folder, sources, faults)
    hang_test = files.read(mended, ("rope", "link", "hang_test"), _hang_reader(mended))
    lens = files.read(mended, ("camera", "lens"), _read_lens)
    calibration = files.read(mended, ("camera", "calibration"), _read_calibration)
    curves = files.read_each(mended, "forecast", "curve", read_curve)
    commands = files.read_each(mended, "machine", "commands", read_commands)
    if faults or sheet is None:
        raise SheetError(path, faults, do="mend these places in the sheet and start again")
    return Run(
        sheet=sheet,
        folder=folder,
        hang_test=hang_test,
        lens=lens,
        calibration=calibration,
        curves=curves,
        commands=commands,
        sheet_texts={source.shown: source.text for source in sources},
    )


class _FileReader:
    """Reads the files that a sheet points to; a fault names the file and the key that points to it."""

    def __init__(self, folder: Path, sources: Sequence[SheetSource], faults: list[Fault]) -> None:
        self.folder = folder
        self.sources = sources
        self.faults = faults

    def read(
        self, data: Mapping[str, Any], key: Key, reader: Callable[[Path, str, list[Fault]], _T | None]
    ) -> _T | None:
        """What stands in the file that ``key`` names, or None."""
        path: Any = data
        for part in key:
            path = path.get(part) if isinstance(path, Mapping) else None
        if not isinstance(path, Path):
            return None
        if not path.is_file():
            where = locate(self.sources, key)
            found = f"there is no file {relpath(path, self.folder)}"
            self.faults.append(Fault(where, found, "paths count from the folder of the sheet that names them"))
            return None
        return reader(path, relpath(path, self.folder), self.faults)

    def read_each(
        self, data: Mapping[str, Any], block: str, name: str, reader: Callable[[Path, str, list[Fault]], _T | None]
    ) -> dict[str, _T]:
        """The same for each machine's own file, by machine."""
        machines = data.get(block)
        if not isinstance(machines, Mapping):
            return {}
        read = {machine: self.read(data, (block, machine, name), reader) for machine in machines}
        return {machine: table for machine, table in read.items() if table is not None}


def _hang_reader(data: Mapping[str, Any]) -> Callable[[Path, str, list[Fault]], HangTest | None]:
    rope = data.get("rope")
    link = rope.get("link") if isinstance(rope, Mapping) else None
    stated = link.get("u_reading_m") if isinstance(link, Mapping) else None
    u_reading_m = float(stated) if isinstance(stated, int | float) and stated > 0 else _DEFAULT_READING_M
    return lambda path, shown, faults: read_hang_test(path, shown, u_reading_m, faults)


def _read_calibration(path: Path, shown: str, faults: list[Fault]) -> Calibration | None:
    from matchvision.sheets.calibration import read_calibration

    return read_calibration(path, shown, faults)


def _read_lens(path: Path, shown: str, faults: list[Fault]) -> LensSheet | None:
    from matchvision.sheets.lens import read_lens

    try:
        return read_lens(path)
    except SheetError as error:
        faults.extend(error.faults)
    except MatchvisionError as error:
        faults.append(Fault(shown, error.what, error.do or "a lens sheet is wanted"))
    return None
