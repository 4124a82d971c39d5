"""The slack cord's shape against what must hold of it."""

import numpy as np
import pytest

from matchvision.motion.slack import slack_heights

RADIUS_M = 0.009


def test_branches_meet() -> None:
    """Where the two rises just meet, the lying and the hanging shape are the same."""
    h, length = np.array([0.052, 0.056]), 1.09
    roots = np.sqrt(2 * (h - RADIUS_M))
    meeting = float((roots.sum() / length) ** 2)
    s = np.linspace(0, length, 50)
    lying, hanging = slack_heights(s, length, h, RADIUS_M, meeting * np.array([1 + 1e-9, 1 - 1e-9]))
    assert lying == pytest.approx(hanging, abs=1e-8)


def test_ends_and_middle() -> None:
    h, length = np.array([0.05, 0.03]), 1.0
    for z in slack_heights(np.array([0.0, 0.5, 1.0]), length, h, RADIUS_M, np.array([0.5, 5.0])):
        assert z[[0, 2]] == pytest.approx(h, abs=1e-12)
        assert z[1] == pytest.approx(RADIUS_M, abs=1e-12)


def test_hanging_sag() -> None:
    """A cord of curvature k over a span L sags by k L²/8 in the middle."""
    z = slack_heights(np.array([0.5]), 1.0, np.array([0.05, 0.05]), RADIUS_M, np.array([0.2]))
    assert z[0, 0] == pytest.approx(0.05 - 0.2 / 8, abs=1e-12)


def test_excess_length_of_the_rises() -> None:
    """The rope is longer than its ground plan by (2/3) (h − r)²/l at each rise of length l."""
    h, length, k = np.array([0.052, 0.04]), 1.1, 0.9
    s = np.linspace(0, length, 200_001)
    z = slack_heights(s, length, h, RADIUS_M, np.array([k]))[0]
    excess = float(np.sum(0.5 * np.diff(z) ** 2 / np.diff(s)))
    rise = np.sqrt(2 * (h - RADIUS_M) / k)
    assert excess == pytest.approx(float(np.sum(2 / 3 * (h - RADIUS_M) ** 2 / rise)), rel=1e-4)
