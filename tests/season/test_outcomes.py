"""What the class's book says about runs."""

from pathlib import Path

from matchvision.records.season import SPOILING
from matchvision.season.outcomes import chance_of, describe_line, find_doubts, find_reliability, find_upsets
from matchvision.season.running import Played
from matchvision.writing.resultfile import EventBrief, NoteBrief
from tests.season.made import invented_played

GRIP = NoteBrief(stage="grip", status="done", sentence="", warnings=(), advice=())


def event(kind: str, machine: str, start_s: float) -> EventBrief:
    return EventBrief(
        kind=kind, machine=machine, start_s=start_s, end_s=None, u_start_s=0.1, probability=0.9, evidence=""
    )


def changed(one: Played, **updates: object) -> Played:
    assert one.brief is not None
    return Played(one.entry, one.key, one.run, one.folder, one.brief.model_copy(update=updates), one.message)


def test_reliability_counts_what_can_be_judged(tmp_path: Path) -> None:
    _, played = invented_played(tmp_path / "s", tmp_path / "out", 6)
    first = played[0].entry.teams[0]
    runs = [one for one in played if first in one.entry.teams]
    told = [changed(one, notes=(GRIP,), events=()) for one in runs]
    told[0] = changed(told[0], events=(event("drive-loss", first, 4.0), event("drive-loss", first, 3.0)))
    told[1] = changed(told[1], events=(event("rope-off", first, 11.0), event("slip", first, 2.0)))
    unjudged = changed(runs[0], notes=())
    (found,) = find_reliability([first], [*told, unjudged], SPOILING)
    assert (found.good, found.runs, found.unknown) == (len(runs) - 1, len(runs), 1)
    assert found.failures == (f"{runs[0].entry.id}: drive-loss at 3.0 s",)
    assert found.needed == 38 - len(runs)
    assert found.low < found.good / found.runs < found.high


def test_what_needs_an_eye_comes_first(tmp_path: Path) -> None:
    season, played = invented_played(tmp_path / "s", tmp_path / "out", 4)
    plain = [changed(one, notes=(GRIP,)) for one in played]
    assert plain[1].brief is not None
    close = plain[1].brief.verdict.model_copy(update={"sure": False})
    nobody = plain[1].brief.verdict.model_copy(update={"winner": None, "sentence": "The rope was not seen."})
    told = [plain[0], changed(plain[1], verdict=close), plain[2], changed(plain[3], verdict=nobody)]
    lines = [describe_line(season, one) for one in told]
    doubts = find_doubts(lines, told)
    assert [(d.id, d.weight) for d in doubts] == [("r3", 3), ("r1", 2)]
    assert doubts[0].why == ("The rope was not seen.",)


def test_upsets_stand_in_order_of_how_unlikely_they_were(tmp_path: Path) -> None:
    season, played = invented_played(tmp_path / "s", tmp_path / "out", 30)
    lines = [describe_line(season, one) for one in played]
    upsets = find_upsets(lines)
    assert upsets
    assert [u.chance for u in upsets] == sorted(u.chance for u in upsets)
    assert all(u.chance < 0.5 and u.cause == "less-grip" for u in upsets)


def test_a_chance_from_samples_is_never_nought(tmp_path: Path) -> None:
    _, (one,) = invented_played(tmp_path / "s", tmp_path / "out", 1)
    assert one.brief is not None
    assert one.brief.forecast is not None
    winner = str(one.brief.verdict.winner)
    never = one.brief.forecast.model_copy(update={"win_chance": {winner: 0.0}, "samples": 256})
    assert chance_of(one.brief.model_copy(update={"forecast": never}), winner) == 1 / 258
