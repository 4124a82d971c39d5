"""The picture of a footage check, and its words."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from matchvision.errors import OutputError
from matchvision.footagecheck import check_footage
from matchvision.records.footage import FootageCheck
from matchvision.records.frames import FootageFault
from matchvision.report.footagepicture import draw_footage
from matchvision.report.footagewords import answer, list_measures
from matchvision.sheets import load_run

SAMPLES = Path(__file__).parents[2] / "sample_clips"


@pytest.fixture(scope="module")
def check() -> FootageCheck:
    run = load_run(SAMPLES / "flat-match")
    return check_footage(run.clip, run)


@pytest.fixture(scope="module")
def bare() -> FootageCheck:
    return check_footage(SAMPLES / "flat-match" / "clip.mp4")


def test_picture_is_drawn_with_and_without_a_table(check: FootageCheck, bare: FootageCheck, tmp_path: Path) -> None:
    whole = cv2.imread(str(draw_footage(check, tmp_path / "new" / "check.png")))
    part = cv2.imread(str(draw_footage(bare, tmp_path / "bare.png")))
    assert whole is not None
    assert part is not None
    assert whole.shape[1] == part.shape[1]
    assert whole.shape[0] > 1.5 * part.shape[0]  # the plan of the table is missing in the other
    blue = (whole[..., 0].astype(int) - whole[..., 2]) > 40
    assert blue.mean() > 0.05  # the shades of uncertainty
    text = draw_footage(check, tmp_path / "check.svg").read_text(encoding="utf-8")
    assert "in mm (95 %)" in text
    assert "x along the pull / m" in text
    assert draw_footage(check, tmp_path / "again.svg").read_text(encoding="utf-8") == text


def test_a_table_partly_out_of_view_is_drawn(check: FootageCheck, tmp_path: Path) -> None:
    assert check.places is not None
    half = check.places.U95_x_m.copy()
    half[:, :20] = np.nan
    draw_footage(replace(check, places=replace(check.places, U95_x_m=half)), tmp_path / "half.png")
    none = replace(check.places, U95_x_m=np.full_like(half, np.nan), scale_px_per_mm=np.full_like(half, np.nan))
    draw_footage(replace(check, places=none), tmp_path / "none.png")


def test_measures_are_told_where_they_are_known(check: FootageCheck, bare: FootageCheck) -> None:
    known = {m.label: m.value for m in list_measures(check)}
    assert known["tags in view"].startswith("4 of 4, sides 3")
    assert known["rate"].startswith("60.00 pictures a second")
    assert {"place along x", "scale", "markers found", "smear at 0.5 m/s"} <= set(known)
    assert known["smear at 0.5 m/s"].startswith("at most")
    assert not {"place along x", "scale", "markers found", "smear at 0.5 m/s"} & {m.label for m in list_measures(bare)}


def test_the_answer_follows_the_gravest_fault(check: FootageCheck) -> None:
    remark = FootageFault("a", "b", "c", "remark")
    costs, unusable = replace(remark, weight="costs"), replace(remark, weight="unusable")
    for faults, code in (((), 0), ((remark,), 0), ((remark, costs), 1), ((costs, unusable), 2)):
        clip = replace(check, faults=faults)
        assert clip.exit_code == code
        still = answer(replace(clip, is_still=True))
        assert still.startswith("Yes") == (code == 0)


def test_a_place_that_cannot_be_written_is_said(check: FootageCheck, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"ending in \.png, \.svg or \.pdf"):
        draw_footage(check, tmp_path / "check.wishful")
