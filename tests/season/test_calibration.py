"""Whether stated uncertainties and chances come true."""

import numpy as np
import pytest

from matchvision.season.calibration import find_chances, find_coverage, find_pairs, find_spreads
from matchvision.season.running import Played
from tests.season.made import TEAMS, invented_played


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Played, ...]:
    folder = tmp_path_factory.mktemp("season")
    return invented_played(folder / "s", folder / "out", 120)[1]


def test_honest_uncertainties_cover_as_stated(played: tuple[Played, ...]) -> None:
    pairs = find_pairs(played, [True] * len(played))
    rows = find_coverage(pairs)
    assert [row.runs for row in rows] == [120] * len(rows)
    assert all(row.low < row.stated < row.high for row in rows)
    assert all(one.rms_zeta == pytest.approx(1, abs=0.35) for one in find_spreads(TEAMS, pairs, played))


def test_bold_uncertainties_are_found_out(played: tuple[Played, ...]) -> None:
    bold = []
    for one in played:
        assert one.brief is not None
        rows = tuple(r.model_copy(update={"u_predicted": (r.u_predicted or 0) / 3}) for r in one.brief.comparison)
        bold.append(
            Played(one.entry, one.key, one.run, one.folder, one.brief.model_copy(update={"comparison": rows}), "")
        )
    (row,) = [r for r in find_coverage(find_pairs(bold, [True] * len(bold))) if r.stated == 0.95]
    assert row.high < 0.95


def test_the_rope_s_own_count_once_in_the_class(played: tuple[Played, ...]) -> None:
    pairs = find_pairs(played[:1], [True])
    assert len([p for p in pairs if p.quantity == "peak pull"]) == 2
    assert find_coverage(pairs)[0].count == len(pairs) - 1


def test_rows_of_a_phase_are_not_counted_again(played: tuple[Played, ...]) -> None:
    one = played[0]
    assert one.brief is not None
    again = tuple(row.model_copy(update={"phase": "contest"}) for row in one.brief.comparison)
    brief = one.brief.model_copy(update={"comparison": (*one.brief.comparison, *again)})
    doubled = Played(one.entry, one.key, one.run, one.folder, brief, "")
    assert find_pairs([doubled], [True]) == find_pairs([one], [True])


def test_chances_are_held_against_what_happened(played: tuple[Played, ...]) -> None:
    bins = find_chances(played)
    assert sum(one.count for one in bins) == 120
    assert all(0.5 <= one.stated <= 1 and one.low < one.stated < one.high for one in bins)
    briers = [one.brier for one in find_spreads(TEAMS, (), played)]
    assert 0.05 < np.nanmean(briers) < 0.25
