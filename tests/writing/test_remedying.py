"""What would have won, added to results that stand on disk."""

from pathlib import Path

import pytest

from matchvision import open_result
from matchvision.records.results import StageNote
from matchvision.writing.publishing import publish_first
from matchvision.writing.remedying import add_remedies
from tests.report.invented import invent_analysis
from tests.report.test_remedying import NOTE, remedies


@pytest.fixture
def results(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("matchvision.writing.publishing.cut_strips", lambda *_: [])
    publish_first(invent_analysis("flat-match"), tmp_path / "out", marked_clip=False)
    return tmp_path / "out"


def test_remedies_are_added_to_results(results: Path) -> None:
    assert open_result(results).brief.remedies is None
    add_remedies(results, remedies(), NOTE)
    told = open_result(results).brief
    assert told.remedies is not None
    assert told.remedies.machine == "heron"
    assert [remedy.lever for remedy in told.remedies.remedies] == ["gear", "grip"]
    assert told.remedies.remedies[1].setting is None  # none was found
    assert told.remedies.points[0].value == 140.0
    assert told.notes[-1].stage == "remedies"
    page = (results / "report.html").read_text(encoding="utf-8")
    assert "504 instead of 280" in page
    assert page.count("What would have won") == 1

    refused = StageNote("remedies", "skipped", "Skipped, because nobody has lost.")
    add_remedies(results, None, refused)
    assert open_result(results).brief.remedies is None
    assert "504 instead of 280" not in (results / "report.html").read_text(encoding="utf-8")
