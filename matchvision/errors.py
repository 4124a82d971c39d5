"""Everything that can go wrong, said for people.

::

    MatchvisionError            exit code 2, shown as one clear message
    ├── SheetError              a file that a person wrote: all faults at once
    ├── FootageError            the clip cannot be read or does not hold what is needed
    ├── TableError              the table cannot be found or calibrated
    ├── MarkerError             the markers cannot be told apart or found
    ├── OutputError             results cannot be written or read back
    ├── SetupError              the computer lacks something (a system library)
    └── CannotMeasure           one quantity cannot be had from this run; the report goes on without it
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault: where it is, what was found there and what would be right."""

    where: str
    found: str
    wanted: str

    def __str__(self) -> str:
        return f"{self.where}: {self.found}; {self.wanted}"


class MatchvisionError(Exception):
    """Base of all errors that are meant for people.

    Parameters
    ----------
    what : str
        What is wrong, in one sentence.
    where : str
        File, line or key, frame or time; empty where it is plain from ``what``.
    do : str
        What the reader can do about it.
    """

    exit_code = 2

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what = what
        self.where = where
        self.do = do
        super().__init__(self.message())

    def message(self) -> str:
        """The whole message, as shown to a person."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head}\n  What to do: {self.do}" if self.do else head


class SheetError(MatchvisionError):
    """A sheet has faults; all of them are listed."""

    def __init__(self, path: str, faults: Sequence[Fault], *, do: str = "") -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        what = f"{count} fault{'s' if count != 1 else ''} found\n" + "\n".join(f"  - {f}" for f in self.faults)
        super().__init__(what, where=path, do=do)


class FootageError(MatchvisionError):
    """The clip cannot be read, or does not hold what is needed."""


class TableError(MatchvisionError):
    """The table cannot be found or calibrated."""


class MarkerError(MatchvisionError):
    """The markers cannot be found or told apart."""


class OutputError(MatchvisionError):
    """Results cannot be written, or not read back."""


class SetupError(MatchvisionError):
    """The computer lacks something that the program needs."""


class CannotMeasure(MatchvisionError):  # noqa: N818 - reads as the sentence that it is
    """One quantity cannot be had from this run; what does not need it goes on."""

    exit_code = 1
