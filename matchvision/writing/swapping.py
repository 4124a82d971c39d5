"""A folder of results that appears at once or not at all."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from matchvision.errors import OutputError
from matchvision.records.columns import TABLES

#: The file that tells what a folder of results consists of.
MARK = "result.json"
#: What results are made of. A folder that holds nothing else may be replaced though that file is gone.
PRODUCTS = frozenset(
    {MARK, "report.html", "ruling.html", "marked.mp4", "figures", "camera.json", "measured.toml", "causes-due.npz"}
    | {f"{n}.{e}" for n in TABLES for e in ("csv", "parquet")}
)


@contextmanager
def replaced_whole(folder: Path, former_files: Callable[[Path], frozenset[str]]) -> Iterator[Path]:
    """A fresh folder to fill; when the block ends well it takes the place of ``folder``, else nothing has changed.

    Parameters
    ----------
    folder : Path
        Where the results shall stand. Results that stand there already are replaced only at the end.
    former_files : function
        Names in a folder of earlier results that may be thrown away with them; what else lies there is kept.

    Raises
    ------
    OutputError
        Where ``folder`` holds something else than results, or cannot be written.
    """
    folder = folder.resolve()
    refuse_foreign(folder)
    with told_plainly(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        unfinished = Path(tempfile.mkdtemp(prefix=f".{folder.name}.unfinished-", dir=folder.parent))
    try:
        yield unfinished
        with told_plainly(folder):
            unfinished.chmod(0o777 & ~_umask())
            _swap(unfinished, folder, former_files)
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


def _swap(unfinished: Path, folder: Path, former_files: Callable[[Path], frozenset[str]]) -> None:
    """Two renames; were the second to fail or be interrupted, the first is taken back."""
    if not folder.exists():
        unfinished.rename(folder)
        return
    disposable = former_files(folder)
    former = Path(tempfile.mkdtemp(prefix=f".{folder.name}.former-", dir=folder.parent))
    folder.rename(former)  # renaming onto an empty folder replaces it
    try:
        unfinished.rename(folder)
    except BaseException:
        if not folder.exists():
            former.rename(folder)
        raise
    _keep_foreign(former, folder, disposable)
    shutil.rmtree(former, ignore_errors=True)


def _keep_foreign(former: Path, folder: Path, disposable: frozenset[str]) -> None:
    """Carry over what somebody else has laid into the folder: a team's notes, say."""
    for entry in former.iterdir():
        if entry.name not in disposable and not (folder / entry.name).exists():
            entry.rename(folder / entry.name)


def refuse_unwritable(folder: Path) -> None:
    """Refuse a place in which no folder can be made: tried by making one, since rights alone do not tell."""
    standing = next(place for place in folder.parents if place.exists())
    with told_plainly(folder), tempfile.TemporaryDirectory(prefix=f".{folder.name}.tried-", dir=standing):
        pass


def refuse_foreign(folder: Path) -> None:
    """Refuse a folder that exists and holds something else than results, so that nothing precious is replaced."""
    if not folder.exists():
        return
    do = "choose another folder with --out; only a folder of earlier results is replaced"
    if not folder.is_dir():
        raise OutputError("this is a file, not a folder", where=str(folder), do=do)
    if not (folder / MARK).is_file() and any(entry.name not in PRODUCTS for entry in folder.iterdir()):
        raise OutputError("the folder holds other things than results", where=str(folder), do=do)


@contextmanager
def told_plainly(folder: Path) -> Iterator[None]:
    """The system's refusals in the block as errors for people."""
    try:
        yield
    except OSError as error:
        what = f"the results cannot be written ({error.strerror or error})"
        raise OutputError(what, where=str(folder), do="check free space and your rights there") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
