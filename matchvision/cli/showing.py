"""What a person sees in the terminal while work goes on and when it is done."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from matchvision.records.results import StageNote

#: Told what is being done, how much is done and how much there is in all.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Wishes:
    """How the person wants to be talked to."""

    quiet: bool
    verbose: bool = False


def wishes_of(ctx: click.Context) -> Wishes:
    """How the person wants to be talked to, as said before the command's name."""
    wishes = ctx.find_object(Wishes)
    return wishes if wishes is not None else Wishes(quiet=False)


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Progress | None]:
    """A progress bar for each piece of work on a terminal; nothing where the output goes to a file."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        tasks: dict[str, TaskID] = {}

        def tell(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bars.add_task(what, total=total)
            bars.update(tasks[what], completed=done, total=total)

        yield tell


class StageTeller:
    """Tells on standard error what each stage did, and how long after the stage before it."""

    def __init__(self) -> None:
        self._since_s = time.perf_counter()

    def __call__(self, note: "StageNote") -> None:
        """Tell of a stage."""
        self.tell(note.stage, note.sentence)

    def tell(self, what: str, sentence: str) -> None:
        """Tell of any piece of work that is done."""
        now_s = time.perf_counter()
        click.echo(f"{now_s - self._since_s:6.1f} s  {what}: {sentence}", err=True)
        self._since_s = now_s


def say(text: str, *, quiet: bool = False) -> None:
    """A line for the person, on standard output; nothing where there is nothing to say."""
    if text and not quiet:
        click.echo(text)


def list_points(heading: str, points: list[str]) -> str:
    """A heading with a dash for each point, or nothing where there are none."""
    return "\n".join([heading, *(f"  - {point}" for point in points)]) if points else ""
