"""The forecast against what was measured, in brief."""

from dataclasses import replace

import pytest

from matchvision.records.results import Analysis
from matchvision.report.forecastcards import MOST_IN_BRIEF, brief_words, choose_brief, draw_cards
from tests.report.invented import invent_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invent_analysis()


def test_in_brief_every_number_is_counted_once(analysis: Analysis) -> None:
    row = next(row for row, drawn in draw_cards(analysis) if drawn is not None)
    picture = next(drawn for _, drawn in draw_cards(analysis) if drawn is not None)
    kinds = ["inconclusive", "yes", "no", "yes", *["inconclusive"] * MOST_IN_BRIEF]
    cards = [(replace(row, quantity=f"n{k}", within=kind), picture) for k, kind in enumerate(kinds)]
    assert brief_words(cards) == "Of 10 forecast numbers 1 was off, 2 hold, 7 cannot be told."
    brief = choose_brief(cards)
    assert [name for name, *_ in brief] == ["n2", "n1", "n3", "n0", "n4", "n5"]
    assert [outcome for _, _, outcome, _ in brief][:4] == ["off", "holds", "holds", "cannot tell"]


def test_without_a_forecast_nothing_is_said() -> None:
    assert brief_words([]) == ""
    assert choose_brief([]) == []
