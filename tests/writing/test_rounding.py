"""Digits that are written."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from matchvision.writing.tables import _round_significant


@given(st.lists(st.floats(-1e12, 1e12) | st.just(float("nan")), min_size=1))
def test_six_digits_are_kept_and_written_short(raw: list[float]) -> None:
    values = np.array([0.0 if abs(v) < 1e-12 else v for v in raw])
    rounded = _round_significant(values, 6)
    np.testing.assert_allclose(rounded, values, rtol=5.1e-6)
    for number in rounded[np.isfinite(rounded)]:
        digits = f"{number!r}".split("(")[-1].rstrip(")").split("e")[0].replace(".", "").replace("-", "")
        assert len(digits.strip("0")) <= 6
