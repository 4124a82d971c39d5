"""A terminal to type into, and a pipeline that answers at once."""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from matchvision.cli import main
from matchvision.records.results import CauseRow, FirstAnswer, Ruling, StageNote
from matchvision.records.sheet import Run

SHEET = """\
[run]
name = "Tuesday: practice 3"
clip = "clip.mp4"
[clock]
start_s = 1.0
duration_s = 8
[table]
length_m = 2.2
width_m = 1.1
"""

Type = Callable[..., Result]


@pytest.fixture
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def type_in(in_folder: Path) -> Type:
    """Type a command in an empty folder; never a traceback, whatever happens."""
    assert in_folder.is_dir()

    def run(*words: str) -> Result:
        result = CliRunner().invoke(main, list(words), prog_name="matchvision")
        assert "Traceback" not in result.output
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return result

    return run


@dataclass
class StandIn:
    """Stands in for the pipeline and for publishing: notes what it was asked, and gives what it is told to give."""

    notes: tuple[StageNote, ...] = ()
    error: BaseException | None = None
    ruling: Ruling | None = field(
        default_factory=lambda: Ruling("heron", 0.123, 0.004, True, "heron has won.", 0.62, 0.004, 8.0)
    )
    moved: tuple[str, ...] = ()
    early: tuple[str, ...] = ()
    published: dict[str, Any] = field(default_factory=dict)
    causes: tuple[CauseRow, ...] = ()
    causes_error: BaseException | None = None
    added: list[tuple[Any, ...]] = field(default_factory=list)

    def answer_first(
        self,
        run: Run,
        progress: object = None,
        notice: Callable[[str], None] | None = None,
        finished: Callable[[StageNote], None] | None = None,
        told: Callable[[FirstAnswer], None] | None = None,
    ) -> SimpleNamespace:
        del progress
        if notice is not None:
            for sentence in self.early:
                notice(sentence)
        if self.error is not None:
            raise self.error
        if finished is not None:
            for note in self.notes:
                finished(note)
        if told is not None and self.ruling is not None:
            told(FirstAnswer(self.ruling, self.moved))
        verdict = SimpleNamespace(ruling=self.ruling, causes_due=bool(self.causes))
        tracks = SimpleNamespace(plans=(SimpleNamespace(kind="bead"),))
        motion = SimpleNamespace(tracks=tracks, rope=None)
        return SimpleNamespace(
            run=run, notes=self.notes, verdict=verdict, practice=None, grounds="grounds", motion=motion
        )

    def find_causes(self, run: Run, grounds: object) -> tuple[tuple[CauseRow, ...], StageNote]:
        del run
        assert grounds == "grounds"
        if self.causes_error is not None:
            raise self.causes_error
        return self.causes, StageNote("causes", "done", "Weighed.")

    def publish_first(self, analysis: object, folder: Path, **asked: object) -> Path:
        del analysis
        self.published = {"folder": folder, **asked}
        folder.mkdir(parents=True)
        (folder / "result.json").write_text('{"verdict": {"winner": "heron"}}\n')
        return folder / "report.html"

    def publish_causes(self, run: Run, grounds: object, folder: Path, causes: object, note: StageNote) -> None:
        del run
        assert grounds == "grounds"
        self.added.append(("causes", folder, causes, note.sentence))

    def add_marks(self, folder: Path) -> None:
        self.added.append(("marks", folder))

    def add_what_would_have_won(
        self, run: Run, grounds: object, causes: object, folder: Path, told: object = None, *, quiet: bool
    ) -> None:
        del run, told, quiet
        assert grounds == "grounds"
        self.added.append(("remedies", folder, causes))

    def add_pictures(
        self, analysis: object, folder: Path, *, marked_clip: bool, embed_clip: bool, progress: object
    ) -> None:
        del analysis, progress
        self.added.append(("pictures", folder, marked_clip, embed_clip))


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    pipeline = StandIn()
    module = ModuleType("matchvision.pipeline")
    module.answer_first = pipeline.answer_first  # type: ignore[attr-defined]
    module.find_causes = pipeline.find_causes  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "matchvision.pipeline", module)
    monkeypatch.setattr("matchvision.pipeline", module, raising=False)
    for place in ("publishing.publish_first", "publishing.add_pictures", "publishing.publish_causes"):
        monkeypatch.setattr(f"matchvision.writing.{place}", getattr(pipeline, place.rsplit(".", maxsplit=1)[1]))
    monkeypatch.setattr("matchvision.cli.analysing._add_marks", pipeline.add_marks)
    monkeypatch.setattr("matchvision.cli.analysing.add_what_would_have_won", pipeline.add_what_would_have_won)
    return pipeline


@pytest.fixture
def practice(in_folder: Path) -> Path:
    folder = in_folder / "practice"
    folder.mkdir()
    (folder / "run.toml").write_text(SHEET, encoding="utf-8")
    return folder
