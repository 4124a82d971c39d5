"""Rounding of numbers for people."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchvision.uncertainty import (
    format_chance,
    format_chances,
    format_interval,
    format_quantity,
    round_to_uncertainty,
)


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (12.3456, 0.4123, "12.35 ± 0.41 N"),
        (0.123456, 0.00995, "0.123 ± 0.010 N"),
        (1234.0, 118.0, "1230 ± 120 N"),
        (-0.001, 0.5, "0.00 ± 0.50 N"),
        (3.14159, 0.0, "3.142 N"),
        (3.14159, math.nan, "3.142 N"),
        (math.nan, 0.1, "not known"),
    ],
)
def test_format(value: float, u: float, text: str) -> None:
    assert format_quantity(value, u, "N") == text


def test_interval_is_wider_than_the_standard_uncertainty() -> None:
    assert format_interval(10.0, 1.0, "N") == "10.0 ± 2.0 N"


@pytest.mark.parametrize(
    ("chance", "text"),
    [(1.0, "over 99 %"), (0.9951, "over 99 %"), (0.99, "99 %"), (0.5, "50 %"), (0.01, "1 %"), (0.004, "under 1 %"),
     (0.0, "under 1 %"), (math.nan, "chance not known")],
)  # fmt: skip
def test_no_chance_is_told_as_certain(chance: float, text: str) -> None:
    assert format_chance(chance) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.44, 0.56, "44 to 56 %"), (0.978, 0.999, "over 97 %"), (0.995, 1.0, "over 99 %"), (0.001, 0.022, "under 3 %"),
     (0.0, 0.005, "under 1 %")],
)  # fmt: skip
def test_an_intervals_end_is_left_open_where_it_would_be_certain(low: float, high: float, text: str) -> None:
    assert format_chances(low, high) == text


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
def test_uncertainty_keeps_two_digits(value: float, u: float) -> None:
    rounded, u_rounded, decimals = round_to_uncertainty(value, u)
    step = 10.0**-decimals
    assert abs(rounded - value) <= 0.5001 * step
    assert abs(u_rounded - u) <= 0.5001 * step
    assert 9.99 * step < u_rounded < 99.6 * step
