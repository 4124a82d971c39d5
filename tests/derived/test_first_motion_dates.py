"""Dates of first motion lie as near the truth as they say, for gentle starts and noise whose neighbours are tied.

A sharp start is dated better than stated, since the frames' distance then rules and the crossing is drawn straight
between them; so only gentle ones test the other part.
"""

import numpy as np

from matchvision.grip.moves import MOVING_M_S, find_first_motion
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, seconds


def test_dates_hold_the_truth() -> None:
    t_s, generator = seconds(4.0), np.random.default_rng(31)
    kernel = np.hanning(9)[1:-1]
    kernel /= np.sqrt(kernel @ kernel)
    ratio = []
    for _ in range(400):
        starts_s, accel, u = 1.1 + generator.random(), generator.uniform(0.1, 0.25), generator.uniform(0.001, 0.004)
        noise = u * np.convolve(generator.standard_normal(len(t_s) + len(kernel) - 1), kernel, "valid")
        speed = np.clip(accel * (t_s - starts_s), 0, 0.1) + noise
        moved = make_machine("heron", len(t_s), speed_m_s=speed, u_speed_m_s=u)
        (event,) = find_first_motion(moved, t_s, MatchClock(1.0, 3.0))
        ratio.append((event.start_s + 1.0 - starts_s - MOVING_M_S / accel) / event.u_start_s)
    z = np.array(ratio)
    assert 0.92 <= np.mean(np.abs(z) < 1.96) <= 0.995
    assert 0.7 < np.sqrt(np.mean(z**2)) < 1.15
