"""Parts of a mark: what they reward over many runs."""

import numpy as np
import pytest

from matchvision.marking.parts import mark_honesty, mark_win_chance
from matchvision.records.rubric import Rubric
from tests.marking.made_result import HERON, make_result, row

RUBRIC = Rubric()


def honesty_points(sizes: np.ndarray, u_stated: float) -> float:
    rows = [row(f"quantity {k}", "m", (1.0 + error, u_stated), (1.0, 0.001)) for k, error in enumerate(sizes)]
    return mark_honesty(make_result(rows=rows), "heron", RUBRIC).points


def test_honest_statements_earn_full_points_in_95_per_cent() -> None:
    generator = np.random.default_rng(5)
    full = [honesty_points(generator.normal(scale=0.05, size=4), 0.05) == RUBRIC.weights.honesty for _ in range(400)]
    assert 0.91 < np.mean(full) < 0.98


def test_over_and_under_confidence_lose_points() -> None:
    generator = np.random.default_rng(6)
    drawn = generator.normal(scale=0.05, size=(200, 4))
    honest, over, far_over = (np.mean([honesty_points(e, u) for e in drawn]) for u in (0.05, 0.02, 0.005))
    assert honest > over > far_over
    assert far_over < 0.2 * RUBRIC.weights.honesty
    # Four times too wide: the size of the errors gives it away.
    assert np.mean([honesty_points(e, 0.2) for e in drawn]) < 0.8 * honest
    # So wide that nothing could contradict it.
    assert honesty_points(drawn[0], 0.5) == 0.0


def test_no_other_chance_pays_more_than_the_honest_one() -> None:
    """Strictly proper: for a machine that wins in 70 % of its runs, stating 0.7 earns most on average."""
    stated = np.arange(0.0, 1.01, 0.05)
    means = []
    for chance in stated:
        said = {"heron": {**HERON, "win_chance": float(chance)}}
        won, lost = (
            mark_win_chance(make_result(stated=said, winner=w), "heron", RUBRIC).points for w in ("heron", "plover")
        )
        means.append(0.7 * won + 0.3 * lost)
    assert stated[int(np.argmax(means))] == pytest.approx(0.7)
