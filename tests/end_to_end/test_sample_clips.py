"""The sample clips through the whole pipeline, against the exact truth of the physics engine that made them.

Limits are what a user may count on, not what was reached on the day; the figures reached are in benchmarks/results.
"""

import json
import re
from pathlib import Path

import pytest

from benchmarks.scoring import score_results
from matchvision.pipeline import analyze
from matchvision.records.results import Analysis
from matchvision.sheets import load_run
from matchvision.writing import write_results

SAMPLES = Path(__file__).parents[2] / "sample_clips"

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def analyses() -> dict[str, Analysis]:
    return {name: analyze(load_run(SAMPLES / name)) for name in ("flat-match", "sled-link")}


@pytest.fixture(scope="module")
def figures(
    analyses: dict[str, Analysis], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, dict[str, float]]:  # fmt: skip
    scores = {}
    for name, analysis in analyses.items():
        folder = tmp_path_factory.mktemp("results") / name
        write_results(analysis, folder)
        scores[name] = {score.name: score.value for score in score_results(folder, SAMPLES / name)}
    return scores


def test_what_was_at_work_comes_first_among_the_causes(analyses: dict[str, Analysis]) -> None:
    """A match that went as its sheets say, and a sled that came onto a rough patch which no sheet mentions."""
    first = analyses["flat-match"].verdict.causes[0]
    assert (first.cause, first.probability > 0.5) == ("as-predicted", True)
    first = analyses["sled-link"].verdict.causes[0]
    assert (first.cause, first.machine, first.probability > 0.5) == ("rough-stretch", "sled", True)
    truth = json.loads((SAMPLES / "sled-link" / "truth.json").read_text(encoding="utf-8"))
    stated = load_run(SAMPLES / "sled-link").sheet.forecast["sled"].grip_sliding
    assert stated is not None
    dragged = r"dragged ([\d.]+) ± ([\d.]+) % more at sled below x = ([\d.]+) ± ([\d.]+) m"
    told = re.search(dragged, first.statement)
    assert told is not None
    more, u95_more, edge_m, u95_m = (float(word) for word in told.groups())
    assert abs(more - 100 * (truth["patch"]["mu"] / stated.value - 1)) < u95_more
    assert abs(edge_m - truth["patch"]["x1"]) < u95_m


@pytest.mark.parametrize("clip", ["flat-match", "sled-link"])
def test_markers_are_seen_where_they_are(figures: dict[str, dict[str, float]], clip: str) -> None:
    assert figures[clip]["tracks seen"] >= 0.95
    assert figures[clip]["tracks wrong"] == 0
    assert figures[clip]["tracks rms"] <= 3.0
    assert 0.3 <= figures[clip]["tracks z"] <= 3.0


@pytest.mark.parametrize("clip", ["flat-match", "sled-link"])
def test_speed_is_better_than_a_central_difference(figures: dict[str, dict[str, float]], clip: str) -> None:
    assert figures[clip]["speed rms"] <= 8.0
    assert figures[clip]["speed rms over central difference"] <= 0.7
    assert 0.3 <= figures[clip]["speed z"] <= 3.0


@pytest.mark.parametrize("clip", ["flat-match", "sled-link"])
def test_rope_share_at_the_end(figures: dict[str, dict[str, float]], clip: str) -> None:
    assert abs(figures[clip]["rope error at the end"]) <= 5.0
    assert 0.3 <= figures[clip]["rope z"] <= 3.0


def test_link_tension(figures: dict[str, dict[str, float]]) -> None:
    assert figures["sled-link"]["pull link rms over peak"] <= 0.04
    assert 0.3 <= figures["sled-link"]["pull link z"] <= 3.0


@pytest.mark.parametrize(
    ("clip", "machine"), [("flat-match", "heron"), ("flat-match", "plover"), ("sled-link", "heron")]
)
def test_slip_intervals(figures: dict[str, dict[str, float]], clip: str, machine: str) -> None:
    assert figures[clip][f"{machine} slip overlap"] >= 0.8
    assert 0.3 <= figures[clip][f"{machine} slip speed z"] <= 3.0


def test_winner_and_margin(figures: dict[str, dict[str, float]]) -> None:
    flat = figures["flat-match"]
    assert flat["winner right"] == 1
    assert flat["margin U95"] <= 10.0
    assert abs(flat["margin error"]) <= flat["margin U95"]
