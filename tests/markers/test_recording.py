"""Tracks kept in blocks come out as they were put in."""

import numpy as np

from matchvision.markers.recording import Record


def test_every_frame_is_kept_and_struck_columns_are_forgotten() -> None:
    rng = np.random.default_rng(4)
    places, u = rng.normal(0, 1, (2, 1200, 3, 2))
    record = Record(3)
    for k in range(1200):
        if k == 700:
            record.strike([1])
        record.take(k + 5, k / 60, places[k], u[k])
    places[:700, 1], u[:700, 1] = np.nan, np.nan
    found, found_u = record.places()
    np.testing.assert_array_equal(found, places)
    np.testing.assert_array_equal(found_u, u)
    assert (record.frame[0], record.frame[-1], len(record.clip_s)) == (5, 1204, 1200)


def test_no_frame_gives_no_place() -> None:
    found, found_u = Record(3).places()
    assert found.shape == found_u.shape == (0, 3, 2)
