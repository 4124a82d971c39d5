"""On which line of a TOML text each key stands, so that a fault can point at it.

The text has been parsed before, so it is known to be valid; the scanner here only follows keys, brackets and strings.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

#: A place in a sheet: names of tables and keys, and numbers (from 0) of array entries.
Key = tuple[str | int, ...]

_BLANK: Final = re.compile(r"(?:\s|#[^\n]*)*")
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_STRING: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|' + r"'''.*?'{3,5}|" + r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'", re.DOTALL
)
_SCALAR: Final = re.compile(r"[^,\]}#\n]+")


def list_lines(text: str) -> dict[Key, int]:
    """Line, from 1, of every key and every array entry in a valid TOML text."""
    return _Scanner(text).scan()


def find_line(lines: Mapping[Key, int], key: Key) -> int | None:
    """Line of a key; where it does not stand in the text, that of the nearest thing around it."""
    for end in range(len(key), 0, -1):
        if key[:end] in lines:
            return lines[key[:end]]
    return None


def holds(value: Any, part: str | int) -> bool:  # noqa: ANN401 - whatever stands in the sheet
    """Whether a table has this key, or an array this entry."""
    if isinstance(part, int):
        return isinstance(value, list | tuple) and part < len(value)
    return isinstance(value, Mapping) and part in value


class _Scanner:
    """Walks once through the text and notes where keys begin."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Key, int] = {}
        self.entries: dict[Key, int] = {}

    def scan(self) -> dict[Key, int]:
        table: Key = ()
        self._skip_blank()
        while self.at < len(self.text):
            start = self.at
            if self.text.startswith("[[", self.at):
                table = self._header(2)
                self.entries[table] = self.entries.get(table, -1) + 1
                table = (*table, self.entries[table])
                self._note(table, start)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)
            self._skip_blank()
        return self.lines

    def _header(self, brackets: int) -> Key:
        start = self.at
        self.at += brackets
        path: Key = ()
        for part in self._dotted():
            if path in self.entries:
                path = (*path, self.entries[path])
            path = (*path, part)
            self._note(path, start)
        self.at = self.text.index("]", self.at) + brackets
        return path

    def _pair(self, table: Key) -> None:
        start = self.at
        parts = self._dotted()
        for end in range(1, len(parts) + 1):
            self._note((*table, *parts[:end]), start)
        self.at = self.text.index("=", self.at) + 1
        self._skip_blank()
        self._value((*table, *parts))

    def _dotted(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self._skip_blank()
            match = _STRING.match(self.text, self.at) or _BARE.match(self.text, self.at)
            if match is None:  # cannot be in valid TOML; stop rather than loop
                return tuple(parts)
            parts.append(match[0].strip("\"'"))
            self.at = match.end()
            self._skip_blank()
            if not self.text.startswith(".", self.at):
                return tuple(parts)
            self.at += 1

    def _value(self, path: Key) -> None:
        opening = self.text[self.at : self.at + 1]
        if opening == "[":
            self._listed("]", path)
        elif opening == "{":
            self._listed("}", path)
        else:
            match = _STRING.match(self.text, self.at) or _SCALAR.match(self.text, self.at)
            self.at = match.end() if match else self.at + 1

    def _listed(self, closing: str, path: Key) -> None:
        """Entries of an array, or pairs of an inline table."""
        self.at += 1
        number = 0
        self._skip_blank()
        while self.at < len(self.text) and self.text[self.at] != closing:
            if closing == "]":
                entry = (*path, number)
                self._note(entry, self.at)
                self._value(entry)
                number += 1
            else:
                self._pair(path)
            self._skip_blank()
            if self.text.startswith(",", self.at):
                self.at += 1
                self._skip_blank()
        self.at += 1

    def _note(self, path: Key, at: int) -> None:
        self.lines.setdefault(path, self.text.count("\n", 0, at) + 1)

    def _skip_blank(self) -> None:
        match = _BLANK.match(self.text, self.at)
        if match:
            self.at = match.end()
