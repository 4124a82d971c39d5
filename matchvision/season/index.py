"""The index of a season in SQLite: fingerprints of clips, so that no clip is read twice, and every run's numbers.

It can be thrown away at any time: what is finished stands in the runs' own folders, and the next start builds it anew.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from matchvision.season.keys import fingerprint

FILE: Final = "season.sqlite"
_LAYOUT: Final = """
CREATE TABLE IF NOT EXISTS clip (path TEXT PRIMARY KEY, size INTEGER, mtime_ns INTEGER, sha256 TEXT);
CREATE TABLE IF NOT EXISTS state (name TEXT PRIMARY KEY, value TEXT);
CREATE TABLE IF NOT EXISTS run (
    entry TEXT PRIMARY KEY, key TEXT, round TEXT, desk TEXT, minus_x TEXT, plus_x TEXT, status TEXT, winner TEXT,
    margin_m REAL, u_margin_m REAL, sure INTEGER, message TEXT);
CREATE TABLE IF NOT EXISTS number (
    entry TEXT, quantity TEXT, unit TEXT, predicted REAL, u_predicted REAL, measured REAL, u_measured REAL);
CREATE TABLE IF NOT EXISTS event (entry TEXT, kind TEXT, machine TEXT, start_s REAL, probability REAL);
CREATE TABLE IF NOT EXISTS cause (entry TEXT, cause TEXT, machine TEXT, probability REAL, statement TEXT);
CREATE INDEX IF NOT EXISTS number_of_entry ON number (entry, quantity);
"""


class Index:
    """The open index; use `open_index`."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def clip_sha256(self, path: Path, *, anew: bool = False) -> str:
        """A clip's fingerprint; read again only where its size or time of change differ, or ``anew`` is wished.

        Raises
        ------
        OSError
            Where it cannot be read.
        """
        facts = path.stat()
        shown = str(path.resolve())
        row = self._connection.execute("SELECT size, mtime_ns, sha256 FROM clip WHERE path = ?", (shown,)).fetchone()
        if not anew and row is not None and row[:2] == (facts.st_size, facts.st_mtime_ns):
            return str(row[2])
        sha256 = fingerprint(path)
        with self._connection:
            self._connection.execute(
                "INSERT OR REPLACE INTO clip VALUES (?, ?, ?, ?)", (shown, facts.st_size, facts.st_mtime_ns, sha256)
            )
        return sha256

    def state(self, name: str) -> str:
        """A word kept from the last time, or an empty one."""
        row = self._connection.execute("SELECT value FROM state WHERE name = ?", (name,)).fetchone()
        return "" if row is None else str(row[0])

    def keep_state(self, name: str, value: str) -> None:
        """Keep a word for the next time."""
        with self._connection:
            self._connection.execute("INSERT OR REPLACE INTO state VALUES (?, ?)", (name, value))

    def fill(self, tables: Iterable[tuple[str, Sequence[Sequence[object]]]]) -> None:
        """Replace whole tables by these rows, all or none."""
        with self._connection:
            for table, rows in tables:
                self._connection.execute(f"DELETE FROM {table}")
                if rows:
                    marks = ", ".join("?" * len(rows[0]))
                    self._connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)


@contextmanager
def open_index(folder: Path) -> Iterator[Index]:
    """The index of a season's results; a broken one is thrown away and built anew."""
    path = folder / FILE
    try:
        connection = _connect(path)
    except sqlite3.DatabaseError:
        path.unlink(missing_ok=True)
        connection = _connect(path)
    with closing(connection):
        yield Index(connection)


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=30)
    try:
        connection.executescript(_LAYOUT)
        connection.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.DatabaseError:
        connection.close()
        raise
    return connection
