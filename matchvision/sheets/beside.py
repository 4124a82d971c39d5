"""Files that the program writes beside a run sheet: what the desk has learnt, and what was mended by hand."""

import json
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from matchvision.errors import OutputError

_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")


def desk_file(sheet: Path) -> Path:
    """Where the desk keeps what it learns for a run sheet: ``desk.toml`` beside ``run.toml``."""
    return _beside(sheet, "desk")


def mends_file(sheet: Path) -> Path:
    """Where a run's mends by hand are kept: ``mends.toml`` beside ``run.toml``."""
    return _beside(sheet, "mends")


def _beside(sheet: Path, what: str) -> Path:
    """Several run sheets may share a folder, as those of one clip do: then the file is named after its sheet."""
    name = f"{what}.toml" if sheet.name == "run.toml" else f"{sheet.stem}.{what}.toml"
    return sheet.with_name(name)


def format_toml(data: Mapping[str, Any], path: tuple[str, ...] = ()) -> str:
    """Data of a sheet as TOML: numbers, texts, arrays, blocks in blocks, and arrays of blocks.

    Notes
    -----
    Checked by: tests/sheets/test_beside.py::test_what_is_written_is_read_back
    """
    own, blocks = [], []
    for key, value in data.items():
        here = (*path, key)
        if isinstance(value, Mapping):
            blocks.append((f"[{_dotted(here)}]\n" if _has_own_keys(value) else "") + format_toml(value, here))
        elif isinstance(value, list | tuple) and value and all(isinstance(entry, Mapping) for entry in value):
            blocks += [f"[[{_dotted(here)}]]\n{format_toml(entry, here)}" for entry in value]
        else:
            own.append(f"{_spell(key)} = {_format_value(value)}\n")
    return "".join([*own, *(["\n"] if own and blocks else []), *blocks, *(["\n"] if own and not blocks else [])])


def write_whole(path: Path, text: str) -> None:
    """Put a text in a file, whole or not at all: whoever reads meanwhile finds the former text or the new one.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            unfinished.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as reason:
        raise OutputError(
            f"it cannot be written ({reason.strerror or reason})", where=str(path), do="check free space and rights"
        ) from reason


def _has_own_keys(block: Mapping[str, Any]) -> bool:
    """Whether a block needs a heading of its own: it holds a plain value, or nothing at all."""
    return not block or any(not _is_block(value) for value in block.values())


def _is_block(value: object) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(entry, Mapping) for entry in value)


def _dotted(path: Sequence[str]) -> str:
    return ".".join(_spell(part) for part in path)


def _spell(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _quote(key)


def _quote(text: str) -> str:
    """A text as TOML takes it: as JSON does, which alone leaves the delete sign as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _format_value(value: Any) -> str:  # noqa: ANN401 - whatever stands in a sheet
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        return _quote(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_format_value(entry) for entry in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_spell(k)} = {_format_value(v)}" for k, v in value.items()) + " }"
    msg = f"a {type(value).__name__} has no place in a sheet"
    raise TypeError(msg)
