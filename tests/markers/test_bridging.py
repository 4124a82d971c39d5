"""Bridges over short gaps are honest; long gaps and ends stay open."""

import numpy as np
import pytest

from matchvision.markers.bridging import LONGEST_GAP_S, bridge_gaps
from matchvision.records.tracks import TrackState

CLIP_S = np.arange(60) / 60


def track(acceleration_px_s2: float) -> np.ndarray:
    return np.stack([100 + 80 * CLIP_S + 0.5 * acceleration_px_s2 * CLIP_S**2, np.full(60, 50.0)], axis=1)


@pytest.mark.parametrize("acceleration_px_s2", [0.0, 300.0, -3000.0])
def test_a_bridge_holds_an_accelerated_marker_within_its_uncertainty(acceleration_px_s2: float) -> None:
    true = track(acceleration_px_s2)
    seen = true.copy()
    seen[20:26] = np.nan
    place, u, state = bridge_gaps(CLIP_S, seen, np.full((60, 2), 0.1))
    assert np.all(state[20:26] == TrackState.BRIDGED)
    assert np.all(np.abs(place - true)[20:26] < 2 * u[20:26])
    assert u[22, 0] > u[20, 0] > 0.05
    assert np.all(state[np.r_[:20, 26:60]] == TrackState.SEEN)
    assert np.array_equal(place[:20], true[:20])


def test_long_gaps_and_ends_stay_open() -> None:
    seen = track(0.0)
    seen[:5] = np.nan
    seen[20:40] = np.nan
    seen[55:] = np.nan
    place, _u, state = bridge_gaps(CLIP_S, seen, np.full((60, 2), 0.1))
    lost = np.r_[0:5, 20:40, 55:60]
    assert np.all(state[lost] == TrackState.LOST)
    assert np.isnan(place[lost]).all()
    assert LONGEST_GAP_S < 20 / 60


def test_a_marker_never_seen_is_lost_throughout() -> None:
    place, _, state = bridge_gaps(CLIP_S, np.full((60, 2), np.nan), np.full((60, 2), np.nan))
    assert np.all(state == TrackState.LOST)
    assert np.isnan(place).all()
