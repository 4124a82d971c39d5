"""Two parts of one whole: the line between them moves."""

import numpy as np
import pytest

from matchvision.uncertainty import beyond_share, share_of_whole


@pytest.mark.parametrize("correlation", [-1.0, -0.5, 0.0, 1.0])
def test_opposed_errors_are_the_worst_case(correlation: float) -> None:
    """Against draws: exact for wholly opposed errors, an upper bound for all others."""
    generator = np.random.default_rng(4)
    u_a, u_b, share = 0.002, 0.001, 0.6
    covariance = [[u_a**2, correlation * u_a * u_b], [correlation * u_a * u_b, u_b**2]]
    a, b = generator.multivariate_normal([0.65, 0.35], covariance, size=20_000, method="eigh").T
    for drawn, (value, u) in (
        (a / (a + b), share_of_whole(0.65, u_a, 0.35, u_b)),
        (a - share * (a + b), beyond_share(0.65, u_a, 0.35, u_b, share)),
    ):
        assert float(value) == pytest.approx(np.mean(drawn), abs=1e-4)
        if correlation == -1.0:
            assert float(u) == pytest.approx(np.std(drawn), rel=0.02)
        else:
            assert float(u) > np.std(drawn)


@pytest.mark.parametrize("split", [0.65, 0.5, 0.2])
def test_what_is_uncertain_of_the_whole_is_not_counted_as_opposed(split: float) -> None:
    """Against draws of what makes the errors: a line that is shifted, and a whole that is longer or shorter."""
    generator = np.random.default_rng(6)
    u_line, u_whole, to_win = 0.002, 0.003, 0.5
    line, whole = generator.normal(0, u_line, 40_000), generator.normal(1.0, u_whole, 40_000)
    a = split * whole + line
    u_a, u_b = (np.hypot(u_line, part * u_whole) for part in (split, 1 - split))
    given = (split, u_a, 1 - split, u_b)
    for drawn, u, worst in (
        (a / whole, share_of_whole(*given, u_whole)[1], share_of_whole(*given)[1]),
        (a - to_win * whole, beyond_share(*given, to_win, u_whole)[1], beyond_share(*given, to_win)[1]),
    ):
        assert float(u) == pytest.approx(np.std(drawn), rel=0.02)
        assert float(worst) > 1.1 * np.std(drawn)


def test_halves_change_places() -> None:
    assert float(beyond_share(0.6, 0.002, 0.4, 0.001)[0]) == pytest.approx(
        -float(beyond_share(0.4, 0.001, 0.6, 0.002)[0])
    )
    assert float(share_of_whole(0.6, 0.002, 0.4, 0.001)[1]) == pytest.approx(
        float(share_of_whole(0.4, 0.001, 0.6, 0.002)[1])
    )
    assert np.isnan(share_of_whole(0.0, 0.001, 0.0, 0.001)[0])
