"""Several tensions made one, or not where they contradict each other."""

import numpy as np
import pytest

from matchvision.pull.fusing import fuse_sources
from matchvision.records.pull import PullSource
from tests.made_motion import Values, seconds, spread

T_S = seconds(3.0)


def source(name: str, tension_N: Values, own_N: float, common_N: float, *, independent: bool = True) -> PullSource:
    n = len(T_S)
    u = spread(float(np.hypot(own_N, common_N)), n)
    return PullSource(name, spread(tension_N, n), u, spread(common_N, n), independent, ())


def test_two_agreeing_sources_weigh_by_inverse_variance() -> None:
    fused, contradictions = fuse_sources([source("link", 10.0, 0.3, 0.0), source("inertia", 10.4, 0.0, 0.6)], T_S)
    weight = np.array([1 / 0.3**2, 1 / 0.6**2])
    assert not contradictions
    assert fused.tension_N == pytest.approx((10.0 * weight[0] + 10.4 * weight[1]) / weight.sum())
    assert fused.u_tension_N == pytest.approx(1 / np.sqrt(weight.sum()))
    # The second source's error is common to all frames and stays so, by its weight.
    assert fused.u_common_N == pytest.approx(0.6 * weight[1] / weight.sum())


def test_contradiction_is_said_and_not_averaged() -> None:
    wrong = np.where((T_S > 1.0) & (T_S < 2.0), 4.0, 10.0)
    fused, (found,) = fuse_sources([source("inertia", wrong, 0.1, 0.4), source("link", 10.0, 0.3, 0.1)], T_S)
    assert (found.source, found.believed) == ("inertia", "link")
    assert fused.tension_N[(T_S > 0.9) & (T_S < 2.1)] == pytest.approx(10.0)
    assert 0.5 < T_S[found.frames].min() < 1.1
    assert 1.9 < T_S[found.frames].max() < 2.5
    assert np.abs(found.difference_N[found.frames]).max() == pytest.approx(6.0, abs=0.01)


def test_forecast_supported_source_joins_only_where_there_is_no_other() -> None:
    drive = source("drive", 15.0, 1.0, 1.0, independent=False)
    fused, _ = fuse_sources([source("link", 10.0, 0.3, 0.1), drive], T_S)
    assert fused.independent
    assert fused.tension_N == pytest.approx(10.0)
    alone, _ = fuse_sources([drive], T_S)
    assert not alone.independent
    assert alone.tension_N == pytest.approx(15.0)


def test_gap_in_one_source_is_filled_by_the_other() -> None:
    gappy = np.where(T_S < 1.0, np.nan, 10.0)
    fused, _ = fuse_sources([source("link", gappy, 0.3, 0.1), source("inertia", 10.0, 0.1, 0.4)], T_S)
    assert np.isfinite(fused.tension_N).all()
    assert fused.u_tension_N[0] > fused.u_tension_N[-1]


def test_slack_rope_counts_once() -> None:
    both = [source("link", 0.0, 0.3, 0.0), source("inertia", 0.0, 0.3, 0.0)]
    fused, contradictions = fuse_sources(both, T_S)
    assert not contradictions
    assert fused.u_tension_N == pytest.approx(0.3)
