"""Long work at the desk: one piece at a time, in a thread of its own, told as it goes on."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from matchvision import pipeline
from matchvision.errors import MatchvisionError
from matchvision.marking import mark_run
from matchvision.records.rubric import Rubric
from matchvision.sheets import load_run
from matchvision.writing import check_target, read_brief
from matchvision.writing.adding import add_marks
from matchvision.writing.publishing import add_pictures, publish_causes, publish_first
from matchvision.writing.remedying import add_remedies

#: Told what is being done, how much is done, how much there is in all.
Tell = Callable[[str, int, int], None]


class Work:
    """A piece of long work, its progress and what came of it."""

    def __init__(self) -> None:
        self.state: Literal["idle", "working", "done", "failed"] = "idle"
        self.what, self.done, self.total = "", 0, 0
        self.message, self.advice = "", ""
        self.result: Any = None
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def start(self, work: Callable[[Tell], Any]) -> bool:
        """Begin, unless some work is going on; whether it began."""
        with self._lock:
            if self.state == "working":
                return False
            self.state, self.what, self.done, self.total = "working", "beginning", 0, 0
            self.message = self.advice = ""
            self._thread = threading.Thread(target=self._work, args=(work,), name="desk-work", daemon=True)
            self._thread.start()
            return True

    def wait(self, timeout_s: float) -> None:
        """Wait for the end of what is going on."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def describe(self) -> dict[str, Any]:
        """Progress for the page."""
        return {
            "state": self.state,
            "what": self.what,
            "done": self.done,
            "total": self.total,
            "message": self.message,
            "do": self.advice,
        }

    def _tell(self, what: str, done: int, total: int) -> None:
        self.what, self.done, self.total = what, done, total

    def _work(self, work: Callable[[Tell], Any]) -> None:
        try:
            self.result = work(self._tell)
            self.state = "done"
        except MatchvisionError as error:
            self.message = f"{error.where}: {error.what}" if error.where else error.what
            self.advice = error.do
            self.state = "failed"
        except Exception as error:  # whatever goes wrong is told on the page instead of dying unseen
            self.message = f"matchvision itself has a fault ({type(error).__name__}: {error})"
            self.advice = "run `matchvision --debug analyze` on this run and report what it prints"
            self.state = "failed"


def analyze_run(path: Path, out: Path, tell: Tell, answered: Callable[[str], None]) -> str:
    """The whole analysis as `matchvision analyze` does it; the verdict in a sentence.

    ``answered`` is told the verdict as soon as the report is there; causes, what would have won, figures and marked
    clip follow.
    """
    run = load_run(path)
    check_target(run, out, "csv")
    analysis = pipeline.answer_first(run, tell, told=lambda first: tell(first.ruling.sentence, 0, 1))
    tell("writing the report", 0, 1)
    publish_first(analysis, out)
    ruling = analysis.verdict.ruling
    sentence = ruling.sentence if ruling is not None else "Measured; no verdict was asked for."
    answered(sentence)
    if analysis.verdict.causes_due:
        tell("seeking causes", 0, 1)
        causes, note = pipeline.find_causes(run, analysis.grounds)
        publish_causes(run, analysis.grounds, out, causes, note)
        add_marks(out, mark_run(read_brief(out), Rubric()))
        if ruling is not None and ruling.winner is not None:
            tell("seeking what would have won", 0, 1)
            add_remedies(out, *pipeline.find_remedies(run, analysis.grounds, causes))
    tell("drawing figures", 0, 1)
    add_pictures(analysis, out, progress=tell)
    return sentence
