"""What was done by hand is told on the page and on the ruling sheet, with when and why."""

from dataclasses import replace

import numpy as np

from matchvision.records.mends import Cut, End, Mends, Put, Strike, Tie
from matchvision.records.results import Analysis
from matchvision.records.tracks import TrackState
from matchvision.report.byhand import tell_mends, tell_settings
from matchvision.report.page import render_page
from matchvision.report.ruling import MOST_MENDS, rule_facts
from tests.report.invented import invent_analysis

MENDS = (
    Cut(do="cut", marker="heron.front", frame=200, why="a sleeve <was> followed"),
    Strike(do="strike", marker="bead_03", frame=210, until_frame=214),
    Tie(do="tie", marker="bead_04", followed_as="bead_05", frame=220),
    Put(do="set", marker="heron.front", frame=230, pixel=(400.25, 300.5), u_px=1.5),
    End(do="end", end="plover", frame=240, pixel=(800.0, 310.0)),
)


def mended(*mends: Cut | Strike | Tie | Put | End) -> Analysis:
    analysis = invent_analysis("flat-match")
    return replace(analysis, run=replace(analysis.run, mends=Mends(mend=mends)))


def test_every_mend_is_told_in_its_order() -> None:
    analysis = mended(*MENDS)
    told = tell_mends(analysis)
    assert [one.words for one in told] == [
        "heron.front: what was followed from picture 200 on was taken away",
        "bead_03: struck out in pictures 210 to 214",
        "bead_04: what was followed as bead_05 is this marker, from picture 220 on",
        "heron.front: set in picture 230 at (400.2, 300.5) ± 2.9 px",
        "rope end at plover: set in picture 240 at (800.0, 310.0) ± 2.0 px",
    ]
    t_s = analysis.clock.match_time(analysis.motion.clip_s)
    np.testing.assert_allclose([one.at_s for one in told], t_s[[200, 210, 220, 230, 240]])
    page = render_page(analysis, has_clip=False)
    assert "a sleeve &lt;was&gt; followed" in page
    assert page.count("not written down") == 4
    assert "No track was cut, tied, struck or set by hand." not in page
    assert "No track was cut, tied, struck or set by hand." in render_page(mended(), has_clip=False)


def test_ruling_sheet_tells_the_first_mends_and_how_many_there_are() -> None:
    said = dict(rule_facts(mended(*MENDS)))["Set or corrected by hand"]
    assert said[0] == "Set in the sheet: the start of the clock (1.180 s of the clip)."
    assert said[1] == "5 mends of the tracking by hand:"
    assert len(said) == 2 + len(MENDS)
    many = dict(rule_facts(mended(*MENDS, *MENDS)))["Set or corrected by hand"]
    assert many[-1] == f"And {10 - MOST_MENDS} more, all listed in the report."


def test_points_set_by_hand_are_counted_apart_on_the_ruling_sheet() -> None:
    analysis = invent_analysis("flat-match")
    tracks = analysis.motion.tracks
    state = tracks.state.copy()
    beads = [k for k, plan in enumerate(tracks.plans) if plan.kind == "bead"]
    state[:, beads[0]] = TrackState.SET
    state[:, beads[1]] = TrackState.TIED
    by_hand = replace(analysis, motion=replace(analysis.motion, tracks=replace(tracks, state=state)))
    told = " ".join(dict(rule_facts(by_hand))["Which rope counted"])
    assert "Of its 14 marks 13 were seen then, 0 carried over a short gap, 1 set by hand, 0 hidden." in told


def test_what_the_sheet_sets_is_told() -> None:
    analysis = invent_analysis("hand-held")
    told = ", ".join(tell_settings(analysis))
    assert "the start of the clock" in told
    clock = analysis.run.sheet.clock.model_copy(update={"start_s": None, "start": "sound", "from_s": 1.0})
    sheet = analysis.run.sheet.model_copy(update={"clock": clock})
    found = tell_settings(replace(analysis, run=replace(analysis.run, sheet=sheet)))
    assert found[0] == "which part of the clip is this run"
