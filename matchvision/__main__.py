"""Start from a terminal: ``matchvision`` or ``python -m matchvision``."""

import sys
from io import TextIOWrapper

from matchvision.cli import main


def run() -> None:
    """Run the command line; a terminal that lacks a character gets a question mark in its place."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    main(prog_name="matchvision")


if __name__ == "__main__":
    run()
