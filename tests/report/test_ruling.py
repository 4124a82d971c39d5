"""The ruling sheet: what a judge asks is on it, and nothing that the footage cannot carry."""

import math
from dataclasses import replace

import pytest

from matchvision.records.events import Event, Grip
from matchvision.records.results import Analysis, Verdict
from matchvision.report.ruling import margin_drawing, rule_facts
from matchvision.report.rulingpage import render_ruling
from matchvision.report.stills import Still
from tests.report.invented import invent_analysis, shorten

HEADINGS = [
    "The rule as applied", "What was measured, and whether it decides", "Which rope counted", "The clock as seen",
    "Before the start", "Hands and other things that happened", "Set or corrected by hand", "The clip",
]  # fmt: skip


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invent_analysis("flat-match")


def facts(analysis: Analysis) -> dict[str, str]:
    return {heading: " ".join(said) for heading, said in rule_facts(analysis)}


def test_sheet_says_what_a_judge_asks(analysis: Analysis) -> None:
    said = facts(analysis)
    assert list(said) == HEADINGS
    assert "more than 50 % of the rope" in said["The rule as applied"]
    assert "It decides: the margin is" in said[HEADINGS[1]]
    assert "Of its 14 marks 14 were seen then, 0 carried over a short gap, 0 hidden." in said["Which rope counted"]
    assert "1.090 m by the sheet" in said["Which rope counted"]
    assert "given in the sheet" in said["The clock as seen"]
    assert "First motion as seen" in said["The clock as seen"]
    assert "No machine was seen to move or drive before the start" in said["Before the start"]
    assert "No hand was seen" in said[HEADINGS[5]]
    assert "the start of the clock (1.180 s of the clip)" in said["Set or corrected by hand"]
    assert analysis.clip.sha256 in said["The clip"]
    assert "No sign of a cut" in said["The clip"]
    page = render_ruling(analysis, [Still("When the clock <stopped>", b"jpeg", 9.183)])
    assert "The judges decide." in page
    assert "When the clock &lt;stopped&gt;" in page
    assert page.count("https://") == page.count("http://") == 0


def test_a_margin_within_its_interval_does_not_decide(analysis: Analysis) -> None:
    ruling = analysis.verdict.ruling
    assert ruling is not None
    close = replace(ruling, margin_m=0.001, u_margin_m=0.002, sure=False)
    said = facts(replace(analysis, verdict=replace(analysis.verdict, ruling=close)))[HEADINGS[1]]
    assert "It does not decide: the margin is only 0.26 times" in said
    # Where less than half wins, a margin well beyond that does not tell who is ahead.
    both = replace(ruling, margin_m=0.101, u_margin_m=0.002, sure=False)
    said = facts(replace(analysis, verdict=replace(analysis.verdict, ruling=both)))[HEADINGS[1]]
    assert "It does not decide: who has won is not known to 97.5 %" in said
    nobody = replace(ruling, winner=None, margin_m=math.nan, u_margin_m=math.nan, sentence="The end was not seen")
    assert facts(replace(analysis, verdict=replace(analysis.verdict, ruling=nobody)))[HEADINGS[1]] == (
        "The end was not seen."
    )


def test_early_start_and_hands_are_told_with_their_times(analysis: Analysis) -> None:
    events = (
        Event("early-start", "heron", -0.21, math.nan, 0.01, 0.98, "moved 12 mm"),
        Event("touch", "", -3.0, -1.0, 0.02, 0.9, "long before"),
        Event("touch", "", 2.5, 3.1, 0.02, 0.9, "80 cm² over the -x half"),
        Event("rope-off", "plover", 4.0, math.nan, 0.02, 0.9, "gone"),
    )
    said = facts(replace(analysis, grip=Grip(events)))
    assert "heron moved early, at −0.210 ± 0.020 s" in said["Before the start"]
    assert "A hand was over the table from 2.50 to 3.10 s (90 % sure). 80 cm² over" in said[HEADINGS[5]]
    assert "long before" not in said[HEADINGS[5]]
    assert "the rope came off (plover) at 4.00 s" in said[HEADINGS[5]].lower()
    rules = analysis.run.sheet.rules.model_copy(update={"setup_limit_s": 60.0})
    limited = analysis.run.sheet.model_copy(update={"rules": rules})
    before = facts(replace(analysis, grip=Grip(events), run=replace(analysis.run, sheet=limited)))["Before the start"]
    assert "The sheet allows 60 s for setting up. Hands were over the table for at least 2.000 ± 0.039 s" in before
    unseen = facts(replace(analysis, grip=None))
    assert unseen["Before the start"] == unseen[HEADINGS[5]] == "Not looked for."


def test_hidden_marks_are_counted(analysis: Analysis) -> None:
    state = analysis.motion.tracks.state.copy()
    beads = [k for k, plan in enumerate(analysis.motion.tracks.plans) if plan.kind == "bead"]
    state[:, beads[:3]] = 2
    state[:, beads[3]] = 1
    hidden = replace(analysis, motion=replace(analysis.motion, tracks=replace(analysis.motion.tracks, state=state)))
    assert (
        "10 were seen then, 1 carried over a short gap, 3 hidden; what is hidden" in facts(hidden)["Which rope counted"]
    )


def test_margin_is_drawn_to_scale(analysis: Analysis) -> None:
    drawn = margin_drawing(analysis)
    assert drawn is not None
    assert analysis.verdict.ruling is not None
    # Of plover, whose home is +x, beyond half: as it was ruled, not as it lay in the nearest frame.
    middle_mm = 1000 * analysis.verdict.ruling.margin_m
    assert sum(drawn[1]) / 2 == pytest.approx(middle_mm, abs=0.1)
    assert drawn[1][1] - drawn[1][0] == pytest.approx(2 * 1.96 * 2.0, rel=0.05)  # half the sum of both sides' 2 mm


def test_a_bare_analysis_has_a_sheet_too(analysis: Analysis) -> None:
    motion = replace(analysis.motion, machines={}, wheels=(), rope=None)
    bare = replace(analysis, motion=motion, pull=None, grip=None, forecast=None, verdict=Verdict(None, (), ()))
    said = facts(bare)
    assert said[HEADINGS[1]] == "Nothing was measured that a rule could be applied to."
    assert said["Which rope counted"] == "The rope was not measured."
    assert margin_drawing(bare) is None
    assert "The judges decide." in render_ruling(bare)
    single = shorten(analysis, 0, 1)
    assert "The clip ends" in facts(single)["The clip"]
    assert render_ruling(single)
