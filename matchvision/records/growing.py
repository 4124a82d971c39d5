"""Rows that come one at a time for as long as a clip lasts, in memory that does not grow with their number."""

import mmap
import tempfile
import weakref
from typing import IO, Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.errors import OutputError

#: Rows wait in memory up to this size, so that a usual clip never touches the disk [bytes].
_HELD_BYTES: Final = 4 * 1024 * 1024
#: Rows without anything in them, as a sheet without markers gives, take no room.
_MOST_EMPTY_ROWS: Final = 2**32


class GrowingRows:
    """Rows of one shape and type; those beyond the first few thousand lie in a file that has no name.

    Half an hour before a hand-held camera leaves 200 MB of cameras and 75 MB of marker places. Kept in memory they
    would outgrow everything else that a pass needs; in a file the system holds as much of them as it has room for.

    Parameters
    ----------
    shape : tuple of int
        Of a row.
    dtype : data type
    held_bytes : int
        Size up to which rows wait in memory.
    """

    def __init__(
        self, shape: tuple[int, ...], dtype: npt.DTypeLike = np.float64, held_bytes: int = _HELD_BYTES
    ) -> None:
        row_bytes = np.dtype(dtype).itemsize * int(np.prod(shape))
        rows = max(1, held_bytes // row_bytes) if row_bytes else _MOST_EMPTY_ROWS
        # Memory that nothing was written to is not taken yet.
        self._held = np.empty((rows, *shape), dtype=dtype)
        self._waiting = 0
        self._filed = 0
        self._file: IO[bytes] | None = None

    def __len__(self) -> int:
        return self._filed + self._waiting

    def append(self, row: npt.ArrayLike) -> None:
        """Add a row.

        Raises
        ------
        OutputError
            Where the system's folder for temporary files is full or cannot be written.
        """
        if self._waiting == len(self._held):
            self._file_rows()
        self._held[self._waiting] = row
        self._waiting += 1

    def extend(self, rows: npt.NDArray[Any]) -> None:
        """Add several rows (k, …), as `append` does."""
        for row in rows:
            self.append(row)

    def whole(self) -> npt.NDArray[Any]:
        """All rows so far, (n, …); what is written to it changes nothing here.

        Raises
        ------
        OutputError
            As `append`.

        Notes
        -----
        Rows in a file are not read: they are looked into, and come into memory where and while somebody looks.
        Checked by: tests/records/test_growing.py::test_rows_come_back_as_they_were_put_in
        """
        if self._file is None:
            return self._held[: self._waiting].copy()
        self._file_rows()
        mapped = mmap.mmap(self._file.fileno(), 0, access=mmap.ACCESS_COPY)
        return np.frombuffer(mapped, dtype=self._held.dtype).reshape(self._filed, *self._held.shape[1:])

    def _file_rows(self) -> None:
        """Move the rows that wait to the file."""
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile(prefix="matchvision-")  # noqa: SIM115
                weakref.finalize(self, self._file.close)
            self._file.write(self._held[: self._waiting].data)
            self._file.flush()
        except OSError as error:
            raise OutputError(
                f"what was seen of the clip so far cannot be set aside ({error.strerror or error})",
                where=tempfile.gettempdir(),
                do="free some space there, or name another folder in the environment variable TMPDIR; "
                "or analyse a part of the clip, with [clock] from_s and until_s",
            ) from error
        self._filed += self._waiting
        self._waiting = 0
