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
from matchvision.records.results import Ruling, StageNote
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
    early: tuple[str, ...] = ()
    published: dict[str, Any] = field(default_factory=dict)

    def analyze(
        self, run: Run, progress: object = None, notice: Callable[[str], None] | None = None
    ) -> SimpleNamespace:
        del progress
        if notice is not None:
            for sentence in self.early:
                notice(sentence)
        if self.error is not None:
            raise self.error
        verdict = SimpleNamespace(ruling=self.ruling)
        return SimpleNamespace(run=run, notes=self.notes, verdict=verdict, practice=None)

    def publish(self, analysis: object, folder: Path, **asked: object) -> Path:
        del analysis
        self.published = {"folder": folder, **asked}
        folder.mkdir(parents=True)
        (folder / "result.json").write_text('{"verdict": {"winner": "heron"}}\n')
        return folder / "report.html"


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    pipeline = StandIn()
    module = ModuleType("matchvision.pipeline")
    module.analyze = pipeline.analyze  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "matchvision.pipeline", module)
    monkeypatch.setattr("matchvision.pipeline", module, raising=False)
    monkeypatch.setattr("matchvision.writing.publishing.publish", pipeline.publish)
    return pipeline


@pytest.fixture
def practice(in_folder: Path) -> Path:
    folder = in_folder / "practice"
    folder.mkdir()
    (folder / "run.toml").write_text(SHEET, encoding="utf-8")
    return folder
