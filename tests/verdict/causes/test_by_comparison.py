"""Explanations and their probabilities."""

import math

import numpy as np
import pytest

from matchvision.records.events import Event, Grip
from matchvision.records.results import CauseRow
from matchvision.verdict.causes.by_comparison import weigh_causes
from matchvision.verdict.comparing import Compared, compare_quantity


def row(z: float, group: str = "pull", machine: str = "", name: str = "peak pull") -> Compared:
    return Compared(group, machine, compare_quantity(name, "N", (20.0 + z, 0.8), (20.0, 0.6), 20.0))


def by_name(*rows: Compared, grip: Grip | None = None) -> dict[str, CauseRow]:
    return {cause.cause: cause for cause in weigh_causes(rows, grip)}


@pytest.mark.parametrize("z", [0.0, 1.0, 2.5, 4.0])
def test_bayes_factor_of_one_error(z: float) -> None:
    """Ratio of the normal densities N(0, 1) and N(0, 10) at z."""
    narrow = math.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    broad = math.exp(-(z**2) / 20) / math.sqrt(20 * math.pi)
    causes = by_name(row(z))
    assert causes["as-predicted"].probability == pytest.approx(narrow / (narrow + broad))
    assert sum(c.probability for c in causes.values()) == pytest.approx(1.0)


def test_chances_are_calibrated_between_the_two() -> None:
    """Errors drawn half from either: of the runs called with p about 0.8, four fifths are what they were called."""
    generator = np.random.default_rng(8)
    called, truly = [], []
    for _ in range(3000):
        plain = bool(generator.random() < 0.5)
        wide = 1.0 if plain else math.sqrt(10)
        rows = [row(wide * generator.standard_normal(), group) for group in ("place", "pull", "speed")]
        called.append(by_name(*rows)["as-predicted"].probability)
        truly.append(plain)
    chance, plain_runs = np.array(called), np.array(truly)
    for low, high in ((0.1, 0.5), (0.5, 0.8), (0.8, 1.0)):
        inside = (chance >= low) & (chance < high)
        assert np.mean(plain_runs[inside]) == pytest.approx(np.mean(chance[inside]), abs=0.07)


def test_rows_of_one_group_count_once() -> None:
    alone = by_name(row(3.0, "place", name="rope on the +x side at the end"))
    with_kin = by_name(
        row(2.9, "place", "heron", "distance towards home, heron"),
        row(3.0, "place", name="rope on the +x side at the end"),
        row(3.1, "place", "plover", "distance towards home, plover"),
    )
    assert with_kin["unexplained"].probability == pytest.approx(alone["unexplained"].probability)


def test_largest_disagreement_is_named() -> None:
    cause = by_name(row(1.0), row(5.0, "slip", "heron", "first slip, heron"))["unexplained"]
    assert cause.machine == "heron"
    assert "first slip, heron" in cause.statement
    assert "5.0 times" in cause.statement
    assert [cause.estimate, cause.u_estimate] == pytest.approx([5.0, 1.0])


def test_hitch_seen_to_let_go_explains_what_was_not_predicted() -> None:
    loss = Grip((Event("rope-off", "plover", 1.84, math.nan, 0.01, 0.999, "the last bead ran away."),))
    causes = by_name(row(6.0), grip=loss)
    assert causes["hitch-released"].probability > 0.9
    assert causes["hitch-released"].since_s == 1.84
    assert "under 1 %" in causes["as-predicted"].statement


def test_nothing_predicted_gives_no_causes() -> None:
    assert weigh_causes((), None) == ()


def test_what_was_too_blunt_to_tell_is_no_evidence() -> None:
    """Agreement within ±16 of 20 speaks for nothing: neither alone nor beside something that tells."""
    blunt = Compared("speed", "", compare_quantity("peak speed", "N", (20.0, 8.0), (20.0, 0.6), 20.0))
    assert weigh_causes((blunt,), None) == ()
    beside, alone = by_name(row(1.0), blunt), by_name(row(1.0))
    assert beside["as-predicted"].probability == pytest.approx(alone["as-predicted"].probability)
    loss = Grip((Event("rope-off", "plover", 1.84, math.nan, 0.01, 0.999, "the last bead ran away."),))
    assert by_name(blunt, grip=loss)["hitch-released"].probability > 0.9
