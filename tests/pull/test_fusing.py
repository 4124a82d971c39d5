"""Several tensions made one, or not where they contradict each other."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.pull.fusing import ROPE, fuse_sources
from matchvision.pull.measuring import describe_contradiction
from matchvision.records.pull import ErrorPart, PullSource
from tests.made_motion import Values, seconds, spread

T_S = seconds(3.0)


def source(name: str, tension_N: Values, own_N: float, common_N: float, *, independent: bool = True) -> PullSource:
    n = len(T_S)
    u = spread(float(np.hypot(own_N, common_N)), n)
    return PullSource(name, spread(tension_N, n), u, spread(common_N, n), independent, ())


def test_two_agreeing_sources_weigh_by_inverse_variance() -> None:
    found = fuse_sources([source("link", 10.0, 0.3, 0.0), source("inertia", 10.4, 0.0, 0.6)], T_S)
    fused = found.source
    weight = np.array([1 / 0.3**2, 1 / 0.6**2])
    assert not found.contradictions
    assert found.birge == pytest.approx(0.4 / np.hypot(0.3, 0.6))
    assert fused.tension_N == pytest.approx((10.0 * weight[0] + 10.4 * weight[1]) / weight.sum())
    assert fused.u_tension_N == pytest.approx(1 / np.sqrt(weight.sum()))
    # The second source's error is common to all frames and stays so, by its weight.
    assert fused.u_common_N == pytest.approx(0.6 * weight[1] / weight.sum())


def test_contradiction_is_said_and_not_averaged() -> None:
    wrong = np.where((T_S > 1.0) & (T_S < 2.0), 4.0, 10.0)
    both = fuse_sources([source("inertia", wrong, 0.1, 0.4), source("link", 10.0, 0.3, 0.1)], T_S)
    fused, (found,) = both.source, both.contradictions
    assert (found.source, found.believed) == ("inertia", "link")
    assert fused.tension_N[(T_S > 1.02) & (T_S < 1.98)] == pytest.approx(10.0)
    assert T_S[found.frames].min() == pytest.approx(1.0, abs=0.02)
    assert T_S[found.frames].max() == pytest.approx(2.0, abs=0.02)
    assert np.abs(found.difference_N[found.frames]).max() == pytest.approx(6.0, abs=0.01)


def test_contradicted_source_is_not_believed_against_a_third() -> None:
    """Link and drive agree; the load's friction is wrong for a second: that is one contradiction, not two."""
    wrong = np.where((T_S > 1.0) & (T_S < 2.0), 4.0, 10.0)
    sources = [source("link", 10.0, 0.3, 0.1), source("inertia", wrong, 0.1, 0.4), source("drive", 10.2, 0.2, 0.5)]
    (found,) = fuse_sources(sources, T_S).contradictions
    assert (found.source, found.believed) == ("inertia", "link")


def test_source_that_says_the_rope_pushes_is_left_out() -> None:
    """For a quarter of a second a machine's place is wrong: its momentum would have the rope push with 20 N."""
    wrong = np.where((T_S > 1.0) & (T_S < 1.25), -20.0, 10.0)
    momentum, drive = source("momentum", wrong, 1.0, 1.0), source("drive", 10.5, 1.0, 1.0)
    both = fuse_sources([momentum, drive], T_S)
    (found,) = both.contradictions
    assert (found.source, found.believed) == ("momentum", ROPE)
    assert T_S[found.frames].min() == pytest.approx(1.0, abs=0.02)
    assert T_S[found.frames].max() == pytest.approx(1.25, abs=0.02)
    assert both.source.tension_N[found.frames] == pytest.approx(10.5)
    said = describe_contradiction(found, T_S)
    assert "momentum would have the rope push" in said
    alone = fuse_sources([momentum], T_S).source
    assert np.isnan(alone.tension_N[found.frames]).all()


def test_noise_about_a_loose_rope_is_no_push_and_leaves_nothing_below_zero() -> None:
    """A rope that hangs loose for a second without being told so; errors of 1 N, half of them the same throughout."""
    generator = np.random.default_rng(5)
    true_N = np.where((T_S > 1.0) & (T_S < 2.0), 0.0, 10.0)
    for _ in range(20):
        seen_N = (
            true_N + 0.7 * generator.standard_normal(len(T_S)) + np.clip(0.7 * generator.standard_normal(), -1.4, 1.4)
        )
        found = fuse_sources([source("momentum", seen_N, 0.7, 0.7)], T_S)
        assert not found.contradictions
        assert found.source.tension_N.min() >= 0.0
        assert (np.abs(found.source.tension_N - true_N) <= np.abs(seen_N - true_N)).all()


def test_forecast_supported_source_joins_only_where_there_is_no_other() -> None:
    drive = source("drive", 15.0, 1.0, 1.0, independent=False)
    fused = fuse_sources([source("link", 10.0, 0.3, 0.1), drive], T_S).source
    assert fused.independent
    assert fused.tension_N == pytest.approx(10.0)
    alone = fuse_sources([drive], T_S).source
    assert not alone.independent
    assert alone.tension_N == pytest.approx(15.0)


def test_gap_in_one_source_is_filled_by_the_other() -> None:
    gappy = np.where(T_S < 1.0, np.nan, 10.0)
    fused = fuse_sources([source("link", gappy, 0.3, 0.1), source("inertia", 10.0, 0.1, 0.4)], T_S).source
    assert np.isfinite(fused.tension_N).all()
    assert fused.u_tension_N[0] > fused.u_tension_N[-1]


def test_slack_rope_counts_once() -> None:
    both = [source("link", 0.0, 0.3, 0.0), source("inertia", 0.0, 0.3, 0.0)]
    fused = fuse_sources(both, T_S)
    assert not fused.contradictions
    assert fused.source.u_tension_N == pytest.approx(0.3)


def test_shared_error_does_not_average_out() -> None:
    """Each has 0.3 N of its own and both 0.4 N of the same input: 0.3/√2 and 0.4 together, never 0.5/√2."""
    shared = ErrorPart("local gravity", spread(0.4, len(T_S)), common=True)
    sources = [
        replace(
            source(name, value, 0.3, 0.4),
            parts=(ErrorPart(f"reading of {name}", spread(0.3, len(T_S)), common=False), shared),
        )
        for name, value in (("link", 10.0), ("inertia", 10.2))
    ]
    found = fuse_sources(sources, T_S)
    assert found.source.tension_N == pytest.approx(10.1)
    assert found.source.u_tension_N == pytest.approx(np.hypot(0.3 / np.sqrt(2), 0.4))
    assert found.source.u_common_N == pytest.approx(0.4)
    # What they share is in neither's difference from the other.
    assert found.birge == pytest.approx(0.2 / (0.3 * np.sqrt(2)))
    lines = {line.name: line.u for line in found.source.budget}
    assert lines["link and inertia: local gravity"] == pytest.approx(0.4)
