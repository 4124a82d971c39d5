"""A series read at one moment."""

import numpy as np
import pytest

from matchvision.verdict.reading import read_at
from tests.made_motion import seconds

T_S = seconds(4.0)
U = np.full(len(T_S), 0.001)


def test_value_between_frames_with_noise() -> None:
    noise = 0.001 * np.random.default_rng(1).standard_normal(len(T_S))
    value, u = read_at(0.1 * T_S + noise, U, T_S, 3.005)
    assert value == pytest.approx(0.3005, abs=0.001)
    assert u == pytest.approx(0.001)


def test_first_value_of_a_series_is_read_as_it_is() -> None:
    """A predicted run begins with the match: where it stood then is no line through how it then gathered speed."""
    value, u = read_at(0.2 + 0.5 * T_S**2, U, T_S, 0.0)
    assert value == pytest.approx(0.2, abs=1e-12)
    assert u == pytest.approx(0.001)


def test_series_that_ends_early_is_carried_on() -> None:
    """Ends at 2.7 s at 0.1 m/s: carried on for 0.3 s, with 30 mm of uncertainty."""
    known = np.where(T_S <= 2.7, 0.1 * T_S, np.nan)
    value, u = read_at(known, U, T_S, 3.0)
    assert value == pytest.approx(0.3)
    assert u == pytest.approx(np.hypot(0.001, 0.03), rel=0.05)


def test_too_long_a_gap_is_not_bridged() -> None:
    known = np.where(T_S <= 2.0, 0.1 * T_S, np.nan)
    assert np.isnan(read_at(known, U, T_S, 3.0)).all()
    assert np.isnan(read_at(np.full(len(T_S), np.nan), U, T_S, 3.0)).all()


def test_gap_at_the_moment_itself_is_read_across() -> None:
    known = np.where((T_S > 2.95) & (T_S < 3.05), np.nan, 0.1 * T_S)
    assert read_at(known, U, T_S, 3.0)[0] == pytest.approx(0.3)


def test_what_follows_the_moment_does_not_bend_it() -> None:
    """Drivers let go when the clock stops: 0.1 m/s until 3 s, at rest from then on."""
    stopped = 0.1 * np.minimum(T_S, 3.0)
    assert read_at(stopped, U, T_S, 3.0)[0] == pytest.approx(0.3, abs=1e-9)
