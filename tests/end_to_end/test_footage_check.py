"""The whole check on sample clips: what is said of good ones, and of clips that are spoilt one way each."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.footagecheck import check_footage
from matchvision.sheets import load_run
from tests.end_to_end.evening import SAMPLE, move, sample_pictures, write_evening

SAMPLES = SAMPLE.parent


@pytest.mark.slow
@pytest.mark.parametrize("name", ["flat-match", "hand-held", "hitch-slips", "sled-link"])
def test_sample_clips_are_usable(name: str) -> None:
    run = load_run(SAMPLES / name)
    check = check_footage(run.clip, run)
    assert check.exit_code == 0, check.faults
    assert check.places is not None
    assert 0.5e-3 < np.nanmin(check.places.U95_x_m) < np.nanmax(check.places.U95_x_m) < 4e-3
    assert not any(colour.missing for colour in check.colours)
    assert check.look.edge_px < 3
    said = " ".join(fault.what for fault in check.faults)
    assert ("flickers" in said and "100 Hz" in said) == (name == "hand-held")
    assert check.look.wander_px > 10 if name == "hand-held" else check.look.wander_px < 0.2


def spoil(pictures: list[npt.NDArray[np.uint8]], how: str) -> list[npt.NDArray[np.uint8]]:
    rows = pictures[0].shape[0] * 2 // 3
    spoilt = []
    for k, picture in enumerate(pictures):
        changed = picture.copy()
        if how == "knocked" and k >= 30:
            changed = move(picture, 3.0, 0.0)
        elif how == "dark":
            changed[:rows] = 16 + 0.07 * (picture[:rows] - 16.0)
        elif how == "blown out":
            changed[:rows] = np.clip(16 + 1.6 * (picture[:rows] - 16.0), 16, 235)
        elif how == "flickers":
            changed[:rows] = np.clip(16 + (1 + 0.08 * np.sin(2 * np.pi * k / 3)) * (picture[:rows] - 16.0), 16, 235)
        spoilt.append(changed)
    return spoilt


@pytest.mark.parametrize(
    ("how", "said", "code"),
    [("knocked", "the camera moves: the picture lies up to 3.0 px off", 1), ("dark", "the pictures are dark", 2),
     ("blown out", "blown out, white", 1), ("flickers", "Hz in the clip, as lamps of 100 Hz do", 1)],
)  # fmt: skip
def test_a_spoilt_clip_is_told(tmp_path: Path, how: str, said: str, code: int) -> None:
    clip = write_evening(tmp_path / "clip.mp4", spoil(sample_pictures(60), how))
    check = check_footage(clip, load_run(SAMPLE))
    told = [fault for fault in check.faults if said in fault.what]
    assert len(told) == 1, [fault.what for fault in check.faults]
    assert told[0].do
    assert 1 <= check.exit_code <= code


def test_a_shutter_that_is_known_tells_the_smear() -> None:
    run = load_run(SAMPLE)
    open_all_the_time = check_footage(run.clip, run, speed_m_s=1.0)
    quick = check_footage(run.clip, run, speed_m_s=1.0, shutter_s=0.002)
    assert quick.smear_px == pytest.approx(open_all_the_time.smear_px * 0.002 * 60, rel=1e-3)
    assert (open_all_the_time.shutter_known, quick.shutter_known) == (False, True)
    slow = check_footage(run.clip, run, speed_m_s=1.0, shutter_s=0.016)
    assert any("smears over 9 px" in fault.what for fault in slow.faults)
