"""What the program's exit code says, in one place."""

from typing import Final

#: Done, but the footage or the sheet could not support something that was asked for.
SHORT_OF_SOMETHING: Final = 1
#: The input cannot be used.
UNUSABLE: Final = 2
#: matchvision itself has a fault: nobody's input is to blame. As other programs have it (EX_SOFTWARE of sysexits.h).
OWN_FAULT: Final = 70
INTERRUPTED: Final = 130
#: Whoever read the output has left: as a shell tells of a program that SIGPIPE (13) ended.
READER_LEFT: Final = 128 + 13
