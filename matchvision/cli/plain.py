"""Everything that goes wrong as a plain sentence and an exit code; tracebacks only where they are asked for."""

import errno
import os
import re
import select
import sys
from contextlib import suppress
from typing import Any, Final

import click

from matchvision.cli.exits import INTERRUPTED, OWN_FAULT, READER_LEFT
from matchvision.errors import MatchvisionError, SetupError

_MISSING_LIBRARY: Final = re.compile(r"(lib[\w.+-]+?\.so[.\d]*): cannot open shared object file")
#: Debian's package for a system library that OpenCV needs.
_DEBIAN_PACKAGES: Final = {
    "libGL.so.1": "libgl1",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libglib-2.0.so.0": "libglib2.0-0",
}


class PlainGroup(click.Group):
    """A group of commands whose errors are told plainly."""

    def main(self, *words: Any, **more: Any) -> Any:  # noqa: ANN401 - as click has it
        """Run the program; where whoever read its output has left (`… | head`), end quietly."""
        written_to = sys.stdout
        try:
            return super().main(*words, **more)
        except (SystemExit, BrokenPipeError) as error:
            # click notices by itself, puts others in the streams' places and exits as if a command had been given wrong
            noticed = isinstance(error, BrokenPipeError) or sys.stdout is not written_to
            if not (noticed and _lost_reader()):
                raise
            _drop_output()
            sys.exit(READER_LEFT)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - whatever the command gives back
        """Run a command; turn what it raises into a message and an exit code."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except (KeyboardInterrupt, Exception) as error:
            if was_interrupted(error):
                click.echo("Interrupted; earlier results are as they were.", err=True)
                ctx.exit(INTERRUPTED)
            if isinstance(error, BrokenPipeError) and _lost_reader():
                raise  # told to nobody: see `main`
            if ctx.params.get("debug"):
                raise
            plain = explain(error)
            click.echo(f"Error: {plain.message()}", err=True)
            ctx.exit(OWN_FAULT if isinstance(plain, OwnFaultError) else plain.exit_code)


class OwnFaultError(SetupError):
    """Something went wrong that no input should bring about."""


def _lost_reader() -> bool:
    """Whether standard output or error is a pipe that nobody reads any more."""
    if not hasattr(select, "poll"):  # Windows: a broken pipe is taken for one of these
        return True
    watch = select.poll()
    for number in (1, 2):
        watch.register(number, 0)  # errors are told of unasked
    return any(happened & select.POLLERR for _, happened in watch.poll(0))


def _drop_output() -> None:
    """Let what was not read go nowhere, else Python would say so once more when it ends."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def was_interrupted(error: BaseException) -> bool:
    """Whether an interrupt lies behind an error: compiled code tells of one as a fault of its own."""
    behind: BaseException | None = error
    while behind is not None and not isinstance(behind, KeyboardInterrupt):
        behind = behind.__cause__ or behind.__context__
    return behind is not None


def explain(error: BaseException) -> MatchvisionError:
    """Any error as one that is meant for people."""
    if isinstance(error, MatchvisionError):
        return error
    if isinstance(error, ImportError):
        return _explain_import(error)
    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
        what = "the disk is full; nothing is left half-written"
        return SetupError(what, where=str(error.filename or ""), do="free some space there and start again")
    if isinstance(error, OSError):
        what = f"the system refuses: {error.strerror or error}"
        return SetupError(
            what, where=str(error.filename or ""), do="check that the file is there and free space is left"
        )
    what = f"matchvision itself has a fault ({type(error).__name__}: {error})"
    return OwnFaultError(what, do="run the command again as `matchvision --debug …` and report what it prints")


def _explain_import(error: ImportError) -> SetupError:
    missing = _MISSING_LIBRARY.search(str(error))
    if missing:
        library = missing[1]
        package = _DEBIAN_PACKAGES.get(library)
        if package:
            do = f"on Debian or Ubuntu: sudo apt-get install {package}"
        else:
            do = f"install the system package that holds {library}"
        return SetupError(f"this computer lacks the system library {library}, which reading pictures needs", do=do)
    if isinstance(error, ModuleNotFoundError) and error.name and not error.name.startswith("matchvision"):
        package = error.name.split(".")[0]
        return SetupError(f"the Python package {package} is not installed", do="install matchvision again with pip")
    return SetupError(f"a part of the program cannot be loaded ({error})", do="install matchvision again with pip")
