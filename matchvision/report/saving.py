"""Pages and pictures as files: whole or not at all, and told plainly where a file cannot be written."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from matchvision.errors import OutputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@contextlib.contextmanager
def told_if_unwritable(what: str, where: Path, do: str = "choose another folder with --out") -> Iterator[None]:
    """Turn what the system refuses while ``what`` is written into a message for people.

    Raises
    ------
    OutputError
        In place of any `OSError`.
    """
    try:
        yield
    except OSError as reason:
        said = f"{what} cannot be written: {reason.strerror or reason}"
        raise OutputError(said, where=str(where), do=do) from reason


def save_page(text: str, path: Path, what: str = "the page") -> Path:
    """Write a page, in the place of an earlier one only once it is whole; returns its path.

    Raises
    ------
    OutputError
        Where it cannot be written.

    Notes
    -----
    Checked by: tests/report/test_saving.py::test_a_page_that_cannot_be_written_leaves_the_former_one
    """
    unfinished = path.with_name(f".{path.name}.unfinished")
    with told_if_unwritable(what, path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            unfinished.write_text(text, encoding="utf-8")
            unfinished.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                unfinished.unlink()
            raise
    return path


def save_figure(figure: "Figure", path: Path) -> Path:
    """Write a figure; its path's ending says in which form. The same drawing gives the same file, at any date."""
    figure.savefig(path, metadata={"Date": None} if path.suffix == ".svg" else None)
    return path


def save_picture(figure: "Figure", path: Path) -> Path:
    """Write a figure where a person asked for it with ``--picture``; returns its path.

    Raises
    ------
    OutputError
        Where it cannot be written, or its ending names no kind of picture.
    """
    do = "choose another place with --picture, ending in .png, .svg or .pdf"
    with told_if_unwritable("the picture", path, do):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            return save_figure(figure, path)
        except ValueError as reason:  # an ending that matplotlib does not know
            raise OutputError(f"the picture cannot be written ({reason})", where=str(path), do=do) from reason
