"""What a codec adds is learnt from how centres scatter about smooth paths, and from nothing else."""

import numpy as np
import pytest

from matchvision.markers.scattering import Scatter
from matchvision.records.tracks import MarkerPlan

PLANS = [MarkerPlan(f"m{k}", "body", "red", 0.01) for k in range(6)]


def follow(error_px: float, claimed_px: float, speed_px: float, bend_px: float = 0.0, jump_at: int = -1) -> float:
    rng = np.random.default_rng(2)
    scatter = Scatter(PLANS)
    for k in range(120):
        place = np.array([100.0, 50.0]) + speed_px * k + bend_px * k**2 + rng.normal(0, error_px, (len(PLANS), 2))
        place[0] += 30.0 * (k >= jump_at > 0)
        scatter.take(k, place, np.full(place.shape, claimed_px**2))
    return scatter.beyond_px[0]


def test_scatter_beyond_what_is_claimed_is_found_whatever_the_path() -> None:
    plain = follow(0.06, 0.02, 0.3)
    # A share of a codec's error never scatters; the statement allows for it.
    assert plain == pytest.approx(np.sqrt(0.06**2 - 0.02**2) / 0.85, rel=0.1)
    assert follow(0.06, 0.02, 0.3, bend_px=0.004) == pytest.approx(plain, rel=0.05)
    assert follow(0.06, 0.02, 0.3, jump_at=60) == pytest.approx(plain, rel=0.15)


def test_true_claims_leave_next_to_nothing() -> None:
    assert follow(0.06, 0.06, 0.3) < 0.025


def test_what_stands_still_says_nothing_of_the_codec() -> None:
    assert follow(0.002, 0.001, 0.0) == pytest.approx(0.05 / 0.85)


def test_a_gap_in_the_pictures_starts_afresh() -> None:
    scatter = Scatter(PLANS)
    for k in range(40):
        place = np.full((len(PLANS), 2), 100.0 + 0.3 * k)
        scatter.take(2 * k, place, np.full(place.shape, 0.01**2))
    assert scatter.beyond_px[0] == pytest.approx(0.05 / 0.85)


def test_a_marker_hidden_for_a_picture_spoils_nothing() -> None:
    scatter = Scatter(PLANS)
    rng = np.random.default_rng(3)
    for k in range(60):
        place = 100.0 + 0.3 * k + rng.normal(0, 0.05, (len(PLANS), 2))
        place[k % len(PLANS)] = np.nan if k % 9 == 0 else place[k % len(PLANS)]
        scatter.take(k, place, np.full(place.shape, 0.01**2))
    assert scatter.beyond_px[0] == pytest.approx(0.05 / 0.85, rel=0.3)
