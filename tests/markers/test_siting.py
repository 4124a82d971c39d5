"""Chroma that lies elsewhere than the file says is noticed by the markers themselves."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.markers.centres import find_centres
from matchvision.markers.siting import measure_siting
from tests.markers.discs import draw_discs, windows_for

PLACES = np.array([(30.3 + 35 * i, 30.6 + 30 * j) for i in range(5) for j in range(3)])
COLOURS = ["red", "cyan", "green"] * 5


@pytest.mark.parametrize(("true_col", "stated_col"), [(0.5, 0.0), (0.5, 0.5), (0.1, 0.0), (0.5, 1.0)])
def test_midway_chroma_is_noticed(true_col: float, stated_col: float) -> None:
    rng = np.random.default_rng(2)
    frame = draw_discs(PLACES, 4.5, COLOURS, rng, offset=(true_col, 0.5))
    frame = replace(frame, chroma_offset_px=(stated_col, 0.5))
    windows = windows_for(PLACES, 4.5, COLOURS)
    found = measure_siting(frame, windows, find_centres(frame, windows).place_px, np.ones(15, dtype=np.bool_))
    assert found == (0.5 if true_col == 0.5 else stated_col, 0.5)


def test_the_file_is_believed_where_luma_shows_nothing() -> None:
    rng = np.random.default_rng(2)
    frame = draw_discs(PLACES, 4.5, COLOURS, rng, offset=(0.5, 0.5), luma_contrast=2.0)
    frame = replace(frame, chroma_offset_px=(0.0, 0.5))
    windows = windows_for(PLACES, 4.5, COLOURS)
    assert measure_siting(frame, windows, find_centres(frame, windows).place_px, np.ones(15, dtype=np.bool_)) == (
        0.0,
        0.5,
    )
