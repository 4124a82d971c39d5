"""Places of known height on a filmed clip, with and without a lens sheet: a seeded part of benchmarks/table_places.py.

Limits [mm rms, distance along the table]: 0.7 with a lens sheet, 2 without. The sheet does not say how thick the prints
are; the filmed ones have no thickness.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks.scoring import rms
from benchmarks.table_places import draw_scene, draw_sheet, judge_camera, sample_lens
from matchvision.filming import film
from tests.truth import SAMPLE_CLIPS

pytestmark = pytest.mark.slow


def test_places_of_a_filmed_clip(tmp_path: Path) -> None:
    scene = draw_scene("still", 700)
    film(replace(scene, clock=replace(scene.clock, duration_s=0.08, after_s=0.02)), tmp_path)
    missed_m, u_m = judge_camera(tmp_path, None)
    assert rms(missed_m) < 0.002
    assert 0.1 < rms(missed_m) / rms(u_m) < 2.0
    with_sheet_m, u_with_sheet_m = judge_camera(tmp_path, draw_sheet(scene.camera, 700))
    assert rms(with_sheet_m) < 0.0007
    assert rms(u_with_sheet_m) < rms(u_m)


def test_places_of_a_sample_clip_with_its_lens_sheet() -> None:
    """Prints 0.6 mm thick, which the sheet does not say."""
    missed_m, u_m = judge_camera(SAMPLE_CLIPS / "flat-match", sample_lens())
    assert rms(missed_m) < 0.0007
    assert 0.1 < rms(missed_m) / rms(u_m) < 2.0
