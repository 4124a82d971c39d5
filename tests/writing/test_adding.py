"""A first answer, and what is added to it later."""

import base64
from dataclasses import replace
from pathlib import Path

import pytest

from matchvision import open_result
from matchvision.records.marks import Mark, Marks, Scores
from matchvision.records.results import Analysis, CauseRow, StageNote
from matchvision.report import write_page
from matchvision.writing.adding import add_causes, add_marks, adding_to, hold_marked_clip
from matchvision.writing.keeping import KEPT, recall_grounds
from matchvision.writing.publishing import publish_first
from tests.report.invented import invent_analysis

NOTE = StageNote("causes", "done", "Every explanation was <refitted>.", advice=("give the mass",))


@pytest.fixture(scope="module")
def whole() -> Analysis:
    return invent_analysis("flat-match")


@pytest.fixture
def first(whole: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the first answer."""
    monkeypatch.setattr("matchvision.writing.publishing.cut_strips", lambda *_: [])
    answer = replace(whole, verdict=replace(whole.verdict, causes=(), causes_due=True))
    publish_first(answer, tmp_path / "out", marked_clip=False)
    return tmp_path / "out"


def test_causes_are_added_to_a_first_answer(whole: Analysis, first: Path, tmp_path: Path) -> None:
    before = open_result(first)
    assert before.brief.causes_due
    assert before.brief.verdict.winner == "plover"
    assert len(before.causes) == 0
    page = (first / "report.html").read_text(encoding="utf-8")
    assert page.count("causes are still being sought") == 2
    assert recall_grounds(whole.run, first).ruling == whole.verdict.ruling

    add_causes(first, whole.verdict.causes, NOTE)
    after = open_result(first)
    assert not after.brief.causes_due
    assert list(after.causes["cause"]) == [cause.cause for cause in whole.verdict.causes]
    assert [cause.cause for cause in after.brief.causes] == list(after.causes["cause"])
    assert after.brief.notes[-1].stage == "causes"
    assert KEPT not in after.brief.files
    assert not (first / KEPT).exists()
    assert sorted(after.brief.files) == sorted({p.name for p in first.iterdir()} - {"result.json"})

    # Filled in later, the page is letter for letter the one that is drawn at once.
    write_page(whole.with_causes(whole.verdict.causes, NOTE), tmp_path, with_clip=False)
    assert (first / "report.html").read_text(encoding="utf-8") == (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "&lt;refitted&gt;" in (first / "report.html").read_text(encoding="utf-8")


def test_figures_come_in_two_goes(first: Path) -> None:
    """The second adds to the folder of the first and replaces only what bears the same name."""
    for name, text in (("explained.svg", "a"), ("pull.svg", "b"), ("pull.svg", "c")):
        with adding_to(first) as unfinished:
            (unfinished / "figures").mkdir()
            (unfinished / "figures" / name).write_text(text)
    assert {p.name: p.read_text() for p in (first / "figures").iterdir()} == {"explained.svg": "a", "pull.svg": "c"}
    assert open_result(first).brief.files.count("figures") == 1


def test_clip_and_marks_find_their_place(whole: Analysis, first: Path) -> None:
    with adding_to(first) as unfinished:
        (unfinished / "marked.mp4").write_bytes(b"\x00clip\xff")
        hold_marked_clip(first, unfinished)
    mark = Mark("heron", "verdict", 1.0, 2.0, "heron <was> named")
    score = Scores("heron", 0.1, 8, 7, 1.1, 0.4, 0.2)
    add_marks(first, Marks("flat-match", (mark,), (score,), (("heron", 50.0),)))
    add_causes(first, whole.verdict.causes, NOTE)
    page = (first / "report.html").read_text(encoding="utf-8")
    assert base64.b64encode(b"\x00clip\xff").decode() in page
    assert "Heron &lt;was&gt; named." in page
    assert "Every explanation was" in page
    assert "marked.mp4" in open_result(first).brief.files


def test_words_in_a_statement_cannot_disturb_the_page(first: Path) -> None:
    sly = CauseRow("late-start", "heron", 0.9, 0.5, 0.1, "s", 0.5, r"heron \1 <!--cause-list--> <b>late</b>, 90 %.")
    page = (first / "report.html").read_text(encoding="utf-8")
    for _ in range(2):
        add_causes(first, (sly,), NOTE)
    filled = (first / "report.html").read_text(encoding="utf-8")
    assert r"eron \1 &lt;!--cause-list--&gt; &lt;b&gt;late&lt;/b&gt;, 90 %." in filled.replace("\u00a0", " ")
    assert filled.count("<!--cause-list-->") == page.count("<!--cause-list-->") == 1


def test_a_failure_while_adding_leaves_the_first_answer(first: Path) -> None:
    before = {path.name: path.read_bytes() for path in first.iterdir() if path.is_file()}

    def add_half(error: BaseException) -> None:
        with adding_to(first) as unfinished:
            (unfinished / "marked.mp4").write_bytes(b"half")
            raise error

    for error in (RuntimeError("the pen broke"), KeyboardInterrupt()):
        with pytest.raises(type(error)):
            add_half(error)
    assert {path.name: path.read_bytes() for path in first.iterdir() if path.is_file()} == before
    assert [path.name for path in first.parent.iterdir()] == ["out"]
