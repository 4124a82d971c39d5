"""The index of a season in SQLite: fingerprints of clips, so that no clip is read twice, and every run's numbers.

It can be thrown away at any time: what is finished stands in the runs' own folders, and the next start builds it anew.
"""

import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from matchvision.season.keys import fingerprint
from matchvision.season.stamps import settled, spell, stamp
from matchvision.season.unchanged import FILE

_LAYOUT: Final = """
CREATE TABLE IF NOT EXISTS seen (path TEXT PRIMARY KEY, stamp TEXT, read_ns INTEGER, sha256 TEXT);
CREATE TABLE IF NOT EXISTS pace (key TEXT, step TEXT, pictures REAL, took_s REAL, PRIMARY KEY (key, step));
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
        """A clip's fingerprint; read again only where its stamp differs (see `stamp`), or ``anew`` is wished.

        A file that was changed less than two seconds before it was read is not trusted to be the same: it could have
        been changed once more without a later time.

        Raises
        ------
        OSError
            Where it cannot be read.
        """
        shown, now = str(path.resolve()), stamp(path)
        row = self._connection.execute("SELECT stamp, read_ns, sha256 FROM seen WHERE path = ?", (shown,)).fetchone()
        if not anew and row is not None and row[0] == spell(now) and settled(now, row[1]):
            return str(row[2])
        read_ns = time.time_ns()
        sha256 = fingerprint(path)
        with self._connection:
            self._connection.execute(
                "INSERT OR REPLACE INTO seen VALUES (?, ?, ?, ?)", (shown, spell(now), read_ns, sha256)
            )
        return sha256

    def keep_pace(self, key: str, step: str, pictures: float, took_s: float) -> None:
        """Keep how long a worker had a run of so many pictures."""
        with self._connection:
            self._connection.execute("INSERT OR REPLACE INTO pace VALUES (?, ?, ?, ?)", (key, step, pictures, took_s))

    def paces(self, step: str) -> list[tuple[float, float]]:
        """Pictures and seconds of every run that was timed at this step."""
        rows = self._connection.execute("SELECT pictures, took_s FROM pace WHERE step = ? ORDER BY key", (step,))
        return [(float(pictures), float(took_s)) for pictures, took_s in rows]

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
