"""The page: complete, self-contained, safe against names, honest about what is missing."""

import dataclasses
import json
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchvision.errors import OutputError
from matchvision.records.results import Analysis, Contradiction, Doubts, Ruling
from matchvision.report import write_page
from matchvision.report.charts import nice_ticks, tick_text
from matchvision.report.embedding import MOST_MOMENTS, chosen_frames, deciding_moment, page_data
from matchvision.report.page import render_page
from matchvision.report.readings import rope_middle, ruled_rope, shown_sources
from matchvision.report.ruling import margin_drawing, rule_facts
from matchvision.report.wording import example_citation
from matchvision.verdict.doubting import doubt
from matchvision.writing.summary import sum_up
from tests.report.invented import invent_analysis, rename

SECTIONS = {
    "run", "over-time", "events", "comparison", "causes", "budget", "footage", "advice", "methods", "by-hand",
    "sheets", "cautions", "cite",
}  # fmt: skip
VOID = {"meta", "link", "br", "hr", "img", "input", "path", "rect", "circle", "polygon"}


class Reader(HTMLParser):
    """Collects elements, ids, addresses and text, and checks that elements close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.scripts: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in ("src", "href", "poster", "action", "data", "xlink:href") and value:
                self.addresses.append(value)
            assert not name.startswith("on"), f"{tag} carries {name}"
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        (self.scripts if self.open and self.open[-1] in ("script", "style") else self.words).append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("clip", ["flat-match", "sled-link", "hitch-slips", "hand-held"])
def test_page_has_every_section_and_nothing_from_outside(clip: str, tmp_path: Path) -> None:
    (tmp_path / "marked.mp4").touch()
    path = write_page(invent_analysis(clip), tmp_path)
    assert path == tmp_path / "report.html"
    page = path.read_text(encoding="utf-8")
    reader = read(page)
    assert set(reader.ids) >= SECTIONS
    assert len(reader.ids) == len(set(reader.ids))
    within = {address[1:] for address in reader.addresses if address.startswith("#")}
    assert "events" in within
    assert within <= set(reader.ids)
    outside = sorted({address for address in reader.addresses if not address.startswith("#")})
    assert outside == ["marked.mp4", *(["ruling.html"] if clip != "sled-link" else [])]
    assert "://" not in page
    assert "url(" not in page
    assert "@import" not in page
    assert len(page.encode()) < 1_500_000
    assert sorted(p.name for p in tmp_path.iterdir()) == ["marked.mp4", "report.html"]


def test_page_without_marked_clip_links_none(tmp_path: Path) -> None:
    reader = read(write_page(invent_analysis(), tmp_path).read_text(encoding="utf-8"))
    assert "video" not in reader.tags
    assert [address for address in reader.addresses if not address.startswith("#")] == ["ruling.html"]


@pytest.mark.parametrize(("shift_m", "far"), [(0.044, "44 mm more"), (float("nan"), "by more than any")])
def test_what_contradicts_the_sheet_stands_with_the_verdict(shift_m: float, far: str) -> None:
    """On the page before the cause, on the ruling sheet instead of that it decides, and in result.json."""
    whole = invent_analysis()
    ruling = whole.verdict.ruling
    assert ruling is not None
    against = Contradiction("[camera] moves", "The tags wander by 16.1 px", "set moves = true", off_px=16.1)
    doubted = doubt(ruling, Doubts((against,), shift_m))
    assert not doubted.sure or abs(ruling.margin_m) > shift_m
    whole = dataclasses.replace(whole, verdict=dataclasses.replace(whole.verdict, ruling=doubted))
    text = render_page(whole, has_clip=False)
    beside = text.split("<aside>")[1].split('id="cause"')[0]
    assert "<code>[camera] moves</code> The tags wander by" in beside
    assert "Set moves = true, and analyze again." in beside
    assert far in beside
    facts = dict(rule_facts(whole))
    assert "The tags wander by 16.1 px." in facts["Where the footage contradicts the sheet"][0]
    assert not any(said.startswith("It decides:") for said in facts["What was measured, and whether it decides"])
    brief = sum_up(whole, ()).verdict
    assert brief.doubts[0].key == "[camera] moves"
    assert brief.sure is doubted.sure


@pytest.mark.parametrize(("to_win", "winner"), [(0.5, "plover"), (0.6, "plover"), (0.7, None)])
def test_the_drawn_margin_is_that_of_the_verdict(to_win: float, winner: str | None) -> None:
    """The rope moves on between the nearest frame and the clock's end; the page shows the number that was ruled on."""
    whole = invent_analysis()
    rope = whole.motion.rope
    assert rope is not None
    k = int(chosen_frames(whole)[deciding_moment(whole, chosen_frames(whole))])
    plus_m, minus_m = (float(c[k]) for c in (rope.on_plus_x_m, rope.on_minus_x_m))
    # As read 0.2 mm further on than in the frame.
    share, beyond_half_m = (plus_m + 0.0002) / (plus_m + minus_m), (plus_m - minus_m) / 2 + 0.0002
    margin_m = beyond_half_m - (to_win - 0.5) * (plus_m + minus_m)
    ruling = Ruling(winner, margin_m, 0.00075, True, "", share, 0.0005, whole.clock.duration_s)
    rules = whole.run.sheet.rules.model_copy(update={"share_to_win": to_win})
    sheet = whole.run.sheet.model_copy(update={"rules": rules})
    whole = dataclasses.replace(
        whole,
        run=dataclasses.replace(whole.run, sheet=sheet),
        verdict=dataclasses.replace(whole.verdict, ruling=ruling),
    )
    data = page_data(whole, [], has_clip=False)
    at = data["shown"]
    assert data["middle"][at] == pytest.approx(1000 * beyond_half_m, abs=1e-3)
    assert data["share"][at] == pytest.approx(100 * share, abs=1e-3)
    assert data["uMiddle"][at] == pytest.approx(0.75 if to_win == 0.5 else 1000 * rope_middle(rope)[1][k], abs=1e-4)
    assert data["middle"][at - 1] == pytest.approx(1000 * float(rope_middle(rope)[0][k - 1]), abs=0.1)
    drawn, ruled = margin_drawing(whole), ruled_rope(whole, k)
    assert drawn is not None
    assert ruled is not None
    assert sum(drawn[1]) / 2 == pytest.approx(1000 * beyond_half_m)
    marked = rules.model_copy(update={"decide": "mark-past-line", "mark": "bead_01", "line_m": 0.3})
    other = dataclasses.replace(whole.run, sheet=sheet.model_copy(update={"rules": marked}))
    assert ruled_rope(dataclasses.replace(whole, run=other), k) is None


def test_long_clips_stay_small() -> None:
    analysis = invent_analysis()
    count = 90_000
    long = dataclasses.replace(
        analysis,
        motion=dataclasses.replace(analysis.motion, clip_s=np.linspace(0.0, 900.0, count)),
        clock=dataclasses.replace(analysis.clock, duration_s=880.0),
    )
    frames = chosen_frames(long)
    assert MOST_MOMENTS / 2 < len(frames) <= MOST_MOMENTS
    assert frames[-1] > 0.97 * count * 881 / 900


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", '"><img/src=x>', "{{7*7}}", "</style><b>", "a'b&amp;$x$"]
)
def test_names_are_words_and_never_markup(name: str) -> None:
    plain, hostile = invent_analysis(), rename(invent_analysis(), "heron", name)
    before, after = read(render_page(plain, has_clip=False)), read(render_page(hostile, has_clip=False))
    assert after.tags == before.tags
    text = "".join(after.words)
    assert name in text
    assert "49" not in text or name != "{{7*7}}" or text.count("49") == "".join(before.words).count("49")
    data = json.loads(next(s for s in after.scripts if s.startswith("{")))
    assert {m["name"] for m in data["machines"]} == {name, "plover"}


def test_every_number_of_the_verdict_carries_its_interval() -> None:
    text = "".join(read(render_page(invent_analysis(), has_clip=False)).words)
    # Numbers of the verdict keep their ± and their unit on one line.
    assert "Margin 184.1\u00a0±\u00a03.9\u00a0mm" in text
    text = text.replace("\u00a0", " ")
    assert "Margin 184.1 ± 3.9 mm, share 66.83 ± 0.35 %" in text
    assert "19.4 ± 1.8 N" in text  # peak pull, predicted: u = 0.9 N
    assert "18.20 ± 0.78 N" in text  # and measured: u = 0.4 N
    assert "The forecast was too low by 131 ± 39 mm" in text


def without(analysis: Analysis, part: str) -> Analysis:
    if part == "rope":
        return dataclasses.replace(analysis, motion=dataclasses.replace(analysis.motion, rope=None))
    if part == "machines":
        bare = dataclasses.replace(analysis.motion, machines={}, wheels=())
        return dataclasses.replace(analysis, motion=bare)
    if part == "verdict":
        return dataclasses.replace(
            analysis, verdict=dataclasses.replace(analysis.verdict, ruling=None, comparison=(), causes=())
        )
    if part == "pull":
        return dataclasses.replace(analysis, pull=None)
    if part == "grip":
        return dataclasses.replace(analysis, grip=None)
    return dataclasses.replace(analysis, forecast=None)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("rope", "The rope was not followed"),
        ("machines", "No machine was followed"),
        ("pull", "Pull was not measured"),
        ("grip", "Events were not looked for"),
        ("forecast", "motor, gear, grip and throttle gives this comparison"),
        ("verdict", "No winner can be named from this footage"),
    ],
)
def test_what_is_missing_is_said(part: str, said: str) -> None:
    analysis = without(invent_analysis(), part)
    if part == "forecast":
        analysis = without(analysis, "verdict")
    reader = read(render_page(analysis, has_clip=False))
    assert set(reader.ids) >= SECTIONS
    assert said in " ".join("".join(reader.words).split())


def test_nothing_at_all_still_makes_a_page() -> None:
    analysis = invent_analysis()
    for part in ("rope", "machines", "pull", "grip", "forecast", "verdict"):
        analysis = without(analysis, part)
    assert set(read(render_page(analysis, has_clip=False)).ids) >= SECTIONS


def test_nobody_leads_without_an_opponent() -> None:
    match = invent_analysis()
    sheet = match.run.sheet.model_copy(update={"run": match.run.sheet.run.model_copy(update={"kind": "sled"})})
    alone = dataclasses.replace(match, run=dataclasses.replace(match.run, sheet=sheet))
    assert "share-plus" in read(render_page(match, has_clip=False)).ids
    assert "share-plus" not in read(render_page(alone, has_clip=False)).ids


def test_no_number_is_cited_that_was_not_measured() -> None:
    analysis = invent_analysis()
    bare = dataclasses.replace(analysis, pull=None, verdict=dataclasses.replace(analysis.verdict, ruling=None))
    assert example_citation(bare) == ""
    assert "value ± half of the 95 % interval" in render_page(bare, has_clip=False)


def test_a_source_that_stands_alone_is_not_shown_twice() -> None:
    """Beside a drive that leans on the forecast the link alone makes up the fused pull."""
    analysis = invent_analysis()
    assert analysis.pull is not None
    fused = analysis.pull.source("fused")
    assert fused is not None
    link = dataclasses.replace(fused, source="link", independent=True)
    drive = dataclasses.replace(fused, source="drive", independent=False)
    alone = dataclasses.replace(analysis, pull=dataclasses.replace(analysis.pull, sources=(link, drive, fused)))
    assert [s.source for s in shown_sources(alone)] == ["drive", "link"]
    both = dataclasses.replace(drive, independent=True)
    joined = dataclasses.replace(analysis, pull=dataclasses.replace(analysis.pull, sources=(link, both, fused)))
    assert [s.source for s in shown_sources(joined)] == ["link", "drive", "fused"]


def test_gaps_become_null_and_not_nan() -> None:
    analysis = invent_analysis()
    heron = analysis.motion.machines["heron"]
    holed = np.where(np.arange(len(heron.x_m)) % 3 == 0, np.nan, heron.x_m)
    machines = {**analysis.motion.machines, "heron": dataclasses.replace(heron, x_m=holed)}
    analysis = dataclasses.replace(analysis, motion=dataclasses.replace(analysis.motion, machines=machines))
    page = render_page(analysis, has_clip=False)
    data = json.loads(next(s for s in read(page).scripts if s.startswith("{")))
    assert None in data["machines"][0]["x"]
    assert ">nan" not in page.lower()
    assert "nan " not in page.split("<section id=", maxsplit=1)[0].lower()


def test_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    with pytest.raises(OutputError, match="cannot be written"):
        write_page(invent_analysis(), blocked)


def test_ticks_are_round_numbers_with_true_minus_signs() -> None:
    ticks = nice_ticks(-0.31, 0.52)
    assert np.allclose(ticks, [-0.2, 0.0, 0.2, 0.4])
    assert [tick_text(v, ticks) for v in ticks] == ["−0.2", "0", "0.2", "0.4"]


@given(low=st.floats(-1e3, 1e3), span=st.floats(1e-3, 1e4), about=st.integers(3, 6))
def test_every_scale_has_three_numbers_at_least(low: float, span: float, about: int) -> None:
    ticks = nice_ticks(low, low + span, about)
    assert 3 <= len(ticks) <= 2 * about + 2
    assert low - 1e-6 * span <= ticks[0] < ticks[-1] <= low + span * (1 + 1e-6)
    assert np.allclose(np.diff(ticks), ticks[1] - ticks[0])
