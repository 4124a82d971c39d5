"""One short filmed run for all tests of the desk, and a desk that serves a copy of it."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchvision.desk import OpenDesk, open_desk
from tests.desk.filmed import filmed_once


@pytest.fixture(scope="session")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filmed_once(tmp_path_factory)


@pytest.fixture
def folder(filmed: Path, tmp_path: Path) -> Path:
    """A copy that a test may write into; the clip is only linked."""
    copy = tmp_path / "run"
    copy.mkdir()
    shutil.copy(filmed / "run.toml", copy)
    (copy / "clip.mp4").hardlink_to(filmed / "clip.mp4")
    return copy


@pytest.fixture
def desk(folder: Path, tmp_path: Path) -> Iterator[OpenDesk]:
    opened = open_desk(folder, tmp_path / "results")
    thread = opened.serve_aside()
    yield opened
    opened.stop()
    thread.join(10)
