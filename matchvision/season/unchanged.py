"""Whether anything has changed since a season was last held, told without loading what would do the work.

Looked at are the stamps of every file in the season's folder, of all files beside those elsewhere that a run was read
from, and of what came out; the program's own content; and what was asked for. Where all of it is as it was, the same
would come out again. Where any of it differs, or cannot be told, the season is looked through in full.
"""

import hashlib
import json
import os
import sqlite3
import time
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from matchvision.season.program import fingerprint_program
from matchvision.season.stamps import settled, spell, stamp

#: The index of a season, in the folder of its results.
FILE: Final = "season.sqlite"
#: The word in the index under which all this is kept.
STATE: Final = "unchanged"
#: What was written just before is compared by its content, since its time alone proves nothing; no clip is that small.
_SMALL: Final = 1 << 24


@dataclass(frozen=True)
class LastTime:
    """What came out the last time, and would again: the page's name, and how many runs have no answer."""

    page: str
    failed: int


def list_steps(*, causes: bool, remedies: bool) -> list[str]:
    """The steps that are wished; what would have won cannot be sought before the causes."""
    return ["answer", *(["causes"] if causes else []), *(["remedies"] if causes and remedies else [])]


def name_roughly(folder: Path) -> str:
    """A season's name as its sheet gives it, if that can be read; faults are told by whoever reads it in full."""
    try:
        said = tomllib.loads((folder / "season.toml").read_text(encoding="utf-8-sig"))["season"]["name"]
    except (OSError, ValueError, KeyError, TypeError):
        said = None
    return said if isinstance(said, str) and said else folder.resolve().name


def find_unchanged(folder: Path, out: Path, wishes: Mapping[str, object]) -> LastTime | None:
    """What came out the last time, if nothing at all has changed since; None where that cannot be told.

    Parameters
    ----------
    folder, out : the season's folder and that of its results.
    wishes : what is asked for, in what JSON can hold.

    Notes
    -----
    Checked by: tests/season/test_unchanged.py::test_whatever_changes_is_seen
    """
    if not (out / FILE).is_file():
        return None
    try:
        address = f"{(out / FILE).resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True, timeout=1)) as connection:
            row = connection.execute("SELECT value FROM state WHERE name = ?", (STATE,)).fetchone()
        kept = json.loads(row[0]) if row else {}
        if not kept or kept["asked"] != _asked(folder, wishes):
            return None
        now = {str(path): path for path in _list_files(folder, out, map(Path, kept["beside"]))}
        if now.keys() != kept["stamps"].keys():
            return None
        if not all(_same(path, kept["stamps"][name], kept["contents"]) for name, path in now.items()):
            return None
        return LastTime(str(kept["page"]), int(kept["failed"]))
    except (OSError, ValueError, KeyError, TypeError, sqlite3.Error):
        return None


def describe_unchanged(
    folder: Path, out: Path, wishes: Mapping[str, object], read: Iterable[Path], page: str, failed: int
) -> str:
    """What `find_unchanged` compares, as one text to keep in the index; "" where it could not be told.

    ``read``: every file that a run was read from, wherever it lies.
    """
    root, at_ns = folder.resolve(), time.time_ns()
    beside = sorted({path.resolve().parent for path in read if not path.resolve().is_relative_to(root)})
    stamps: dict[str, str] = {}
    contents: dict[str, str] = {}
    try:
        for path in _list_files(folder, out, beside):
            known = stamp(path)
            stamps[str(path)] = spell(known)
            if not settled(known, at_ns):
                if known[0] > _SMALL:
                    return ""
                contents[str(path)] = _content(path)
        kept: dict[str, Any] = {
            "asked": _asked(folder, wishes),
            "beside": [str(path) for path in beside],
            "stamps": stamps,
            "contents": contents,
            "page": page,
            "failed": failed,
        }
    except OSError:
        return ""
    return json.dumps(kept)


def _asked(folder: Path, wishes: Mapping[str, object]) -> dict[str, object]:
    # Deadlines without a zone are read in the computer's own.
    return {**wishes, "folder": str(folder.resolve()), "program": fingerprint_program(), "zone": list(time.tzname)}


def _list_files(folder: Path, out: Path, beside: Iterable[Path]) -> Iterator[Path]:
    """Every file that may matter; a folder that is gone is an OSError."""
    results = out.resolve()
    seen: set[Path] = set()
    waiting = [folder.resolve()]
    while waiting:
        at = waiting.pop().resolve()
        if at == results or at in seen:
            continue
        seen.add(at)
        for entry in os.scandir(at):
            if entry.is_dir():
                waiting.append(Path(entry.path))
            else:
                yield Path(entry.path)
    for one in beside:
        if one not in seen:
            yield from (Path(entry.path) for entry in os.scandir(one) if not entry.is_dir())
    for entry in os.scandir(results):
        if entry.name.endswith((".csv", ".html", ".json")):
            yield Path(entry.path)
    yield from (Path(entry.path) for entry in os.scandir(results / "teams"))
    for entry in os.scandir(results / "runs"):
        # A run's folder may be gone, or hold no results any more.
        yield (
            Path(entry.path, "result.json")
            if entry.is_dir() and not entry.name.endswith(".later")
            else Path(entry.path)
        )


def _same(path: Path, known: str, contents: Mapping[str, str]) -> bool:
    return spell(stamp(path)) == known and (str(path) not in contents or _content(path) == contents[str(path)])


def _content(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
