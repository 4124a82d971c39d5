"""Start from a terminal: ``matchvision`` or ``python -m matchvision``."""

import sys
from io import TextIOWrapper


def run() -> None:
    """Run the command line; a terminal that lacks a character gets a question mark in its place."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        # Loaded here, so that whoever presses Ctrl+C before it is done is told so, and in a sentence.
        from matchvision.cli import main

        main(prog_name="matchvision")
    except KeyboardInterrupt:
        sys.stderr.write("Interrupted before anything was begun.\n")
        sys.exit(130)


if __name__ == "__main__":
    run()
