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


def test_halves_change_places() -> None:
    assert float(beyond_share(0.6, 0.002, 0.4, 0.001)[0]) == pytest.approx(
        -float(beyond_share(0.4, 0.001, 0.6, 0.002)[0])
    )
    assert float(share_of_whole(0.6, 0.002, 0.4, 0.001)[1]) == pytest.approx(
        float(share_of_whole(0.4, 0.001, 0.6, 0.002)[1])
    )
    assert np.isnan(share_of_whole(0.0, 0.001, 0.0, 0.001)[0])
