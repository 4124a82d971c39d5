"""What a run's results depend on, as one key: the content of its clip, of its sheets and of every file they name."""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from matchvision import __version__
from matchvision.records.sheet import Run
from matchvision.season.program import name_analysis

#: First line of what is hashed; results of another form are made anew.
_FORM: Final = "matchvision season 2\n"
_BLOCK: Final = 1 << 20
#: Digits of a key that name a folder: that two of a million runs share them has a chance below 1e-7.
SHOWN_DIGITS: Final = 16


def key_of(run: Run, clip_sha256: str) -> str:
    """SHA-256 over program, clip, sheets and the files that the sheets name, whatever they are called.

    The program is its version and its state: see `fingerprint_program`. A file's content stands where the sheet names
    it, so that two files that change places are not the same as before.

    Notes
    -----
    Checked by: tests/season/test_keys.py::test_what_changes_a_result_changes_its_key
    """
    content = {
        "version": __version__,
        "program": name_analysis(),
        "clip": clip_sha256,
        "sheet": _with_content(run.sheet.model_dump(mode="python"), run.clip),
        "texts": sorted(run.sheet_texts.values()),
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256((_FORM + text).encode("utf-8")).hexdigest()[:SHOWN_DIGITS]


def fingerprint(path: Path) -> str:
    """SHA-256 of a file, read in blocks: a clip need not fit into memory."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def list_named_files(run: Run) -> tuple[Path, ...]:
    """Every file that the run's sheet names and that is there: clip, hang test, lens, curves, logs."""
    return tuple(_named_files(run.sheet.model_dump()))


def _named_files(value: Any) -> Iterator[Path]:  # noqa: ANN401 - whatever stands in a sheet
    if isinstance(value, Path):
        if value.is_file():
            yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _named_files(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _named_files(inner)


def _with_content(value: Any, clip: Path) -> Any:  # noqa: ANN401 - whatever stands in a sheet
    """The same with each file's content in place of its path; the clip's is known already."""
    if isinstance(value, Path):
        return None if value == clip or not value.is_file() else fingerprint(value)
    if isinstance(value, dict):
        return {str(key): _with_content(inner, clip) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_with_content(inner, clip) for inner in value]
    return value
