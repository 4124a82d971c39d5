"""A commented run sheet to start from."""

from importlib.resources import files
from pathlib import Path

from matchvision.errors import OutputError


def write_new_sheet(folder: str | Path) -> Path:
    """Write a commented run sheet into a folder, which is made if need be.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    Path
        The new ``run.toml``.

    Raises
    ------
    OutputError
        Where there is a run sheet already, or the folder cannot be written.

    Notes
    -----
    Checked by: tests/sheets/test_starting.py::test_new_sheet_loads
    """
    sheet = Path(folder) / "run.toml"
    text = files("matchvision.sheets").joinpath("templates/run.toml").read_text(encoding="utf-8")
    try:
        sheet.parent.mkdir(parents=True, exist_ok=True)
        with sheet.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        where, do = str(error.filename or sheet), "choose another folder, or take the old sheet away first"
        raise OutputError("it exists already and is left as it is", where=where, do=do) from error
    except OSError as error:
        where, do = str(sheet), "choose a folder in which you may write"
        raise OutputError(f"the sheet cannot be written ({error.strerror})", where=where, do=do) from error
    return sheet
