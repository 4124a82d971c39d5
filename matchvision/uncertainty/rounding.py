"""Numbers as people read them: the uncertainty to two digits at most, the value to match."""

import math
from typing import Final

#: From a standard uncertainty to the half width of an interval that holds 95 % (normal).
K_95: Final = 1.96
#: Beyond the one chance and below the other whole per cents would tell of certainty.
_SURE: Final = 0.99
_HARDLY: Final = 0.01


def round_to_uncertainty(value: float, u: float, digits: int = 2) -> tuple[float, float, int]:
    """Value and u rounded to ``digits`` significant digits of u, and the number of decimals (negative: tens).

    Notes
    -----
    JCGM 100:2008, 7.2.6. An u that rounds up into a new digit (0.0995) keeps ``digits`` digits (0.10).
    Checked by: tests/uncertainty/test_rounding.py::test_uncertainty_keeps_two_digits
    """
    decimals = digits - 1 - math.floor(math.log10(u))
    if round(u, decimals) >= 10.0 ** (digits - decimals):
        decimals -= 1
    return round(value, decimals), round(u, decimals), decimals


def format_quantity(value: float, u: float, unit: str = "", *, digits: int = 2) -> str:
    """A value with its uncertainty and unit, such as ``12.34 ± 0.41 N``.

    Without a usable u (zero, NaN or infinite) the value stands alone with four significant digits; a value that is not
    finite reads "not known".

    Notes
    -----
    What stands behind ± is the u that was passed: say in the text whether it is k = 1 or expanded.
    Checked by: tests/uncertainty/test_rounding.py::test_format
    """
    tail = f" {unit}" if unit else ""
    if not math.isfinite(value):
        return "not known"
    if not (math.isfinite(u) and u > 0):
        return f"{value:.4g}{tail}"
    rounded, u_rounded, decimals = round_to_uncertainty(value, u, digits)
    places = max(decimals, 0)
    return f"{rounded + 0.0:.{places}f} ± {u_rounded:.{places}f}{tail}"


def format_interval(value: float, u: float, unit: str = "") -> str:
    """A value with the half width of its 95 % interval and unit; ``u`` is its standard uncertainty.

    What people read has one meaning of ± throughout, this one; tables and ``result.json`` keep the standard one.

    Notes
    -----
    Checked by: tests/uncertainty/test_rounding.py::test_interval_is_wider_than_the_standard_uncertainty
    """
    return format_quantity(value, K_95 * u, unit)


def format_chance(chance: float) -> str:
    """A chance in per cent, never 0 or 100: what was computed or drawn proves neither.

    Notes
    -----
    Checked by: tests/uncertainty/test_rounding.py::test_no_chance_is_told_as_certain
    """
    if not math.isfinite(chance):
        return "chance not known"
    if chance > _SURE:
        return "over 99 %"
    return "under 1 %" if chance < _HARDLY else f"{100 * chance:.0f} %"


def format_chances(low: float, high: float) -> str:
    """The interval of a chance in per cent; an end that would round to 0 or 100 is left open."""
    if high > _SURE:
        return f"over {math.floor(round(100 * min(low, _SURE), 6))} %"
    if low < _HARDLY:
        return f"under {math.ceil(round(100 * max(high, _HARDLY), 6))} %"
    return f"{100 * low:.0f} to {100 * high:.0f} %"
