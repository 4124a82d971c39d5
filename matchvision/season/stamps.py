"""What the system knows of a file without reading it: enough to tell that it is the same as before."""

from pathlib import Path
from typing import Final

#: Size, time of change of the content, time of change of anything, and the file's number on its disk.
Stamp = tuple[int, int, int, int]
#: Clocks of file systems tick in steps of up to so much [ns] (FAT: 2 s).
TICK_NS: Final = 2_000_000_000


def stamp(path: Path) -> Stamp:
    """A file's stamp. Whoever sets back the time of the content moves the other one.

    Raises
    ------
    OSError
        Where there is no such file.
    """
    facts = path.stat()
    return facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns, facts.st_ino


def settled(known: Stamp, at_ns: int) -> bool:
    """Whether a file of this stamp that was read at ``at_ns`` cannot have changed since without another stamp."""
    return max(known[1], known[2]) < at_ns - TICK_NS


def spell(known: Stamp) -> str:
    """A stamp as one word."""
    return "/".join(map(str, known))
