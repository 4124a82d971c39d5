"""The readout of a rolling shutter is read from the bands of lamps on the mains, or said to be unknown."""

from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import read_facts, read_frames
from matchvision.footage.readout import BandWatch, scan_share
from matchvision.records.footage import RowTiming
from tests.footage.bands import write_bands
from tests.footage.boxes import set_capture_rate
from tests.footage.clips import write_clip


def timing(clip: Path, readout_s: float | None = None) -> RowTiming:
    facts = read_facts(clip)
    watch = BandWatch(facts)
    for frame in islice(read_frames(facts), 32):
        watch.see(frame)
    return watch.timing(readout_s)


@pytest.mark.parametrize(
    ("readout_s", "frames_per_s", "lamp_Hz", "ripple"),
    [(0.016, 60.0, 99.95, 0.08), (0.0083, 30000 / 1001, 100.1, 0.15), (0.031, 30.0, 100.0, 0.05),
     (0.018, 50.0, 119.9, 0.06), (0.022, 25.0, 120.0, 0.10), (0.0075, 120.0, 100.05, 0.10)],
)  # fmt: skip
def test_bands_of_a_known_readout_give_it_back(
    tmp_path: Path, readout_s: float, frames_per_s: float, lamp_Hz: float, ripple: float
) -> None:
    clip = write_bands(
        tmp_path / "a.mp4", readout_s, frames_per_s=frames_per_s, lamp_Hz=lamp_Hz, ripple=ripple, pictures=34
    )
    found = timing(clip)
    assert found.source == f"from the bands of lamps at {lamp_Hz:.0f} Hz"
    assert abs(found.readout_s - readout_s) < 1.96 * found.u_s
    assert found.u_s < 0.0006


def test_a_second_lamp_on_another_phase_and_something_that_moves_do_not_mislead(tmp_path: Path) -> None:
    clip = write_bands(tmp_path / "a.mp4", 0.016, ripple=0.12, second_lamp=0.3, moving=True, pictures=40, seed=3)
    found = timing(clip)
    assert found.known
    assert abs(found.readout_s - 0.016) < 1.96 * found.u_s
    assert found.u_s < 0.0006


@pytest.mark.parametrize(("lamp_Hz", "ripple"), [(100.0, 0.0), (120.0, 0.1)])
def test_without_bands_that_wander_nothing_is_claimed(tmp_path: Path, lamp_Hz: float, ripple: float) -> None:
    """No flicker, and lamps at twice the picture rate, whose bands stand still."""
    found = timing(write_bands(tmp_path / "a.mp4", 0.016, lamp_Hz=lamp_Hz, ripple=ripple, pictures=34))
    assert not found.known
    assert "at 120 Hz they stand still at this picture rate" in found.reason
    # Zero is taken; anything up to the time between pictures goes into u.
    assert found.readout_s == 0
    assert found.u_s == pytest.approx(1 / 60 / np.sqrt(3), rel=1e-3)


def test_drawn_pictures_without_any_noise_tell_nothing(tmp_path: Path) -> None:
    still = timing(write_clip(tmp_path / "a.mp4", range(0, 3000 * 30, 3000)))
    assert not still.known
    assert still.u_s == pytest.approx(1 / 30 / np.sqrt(3), rel=1e-3)


def test_a_short_readout_is_known_to_be_short(tmp_path: Path) -> None:
    found = timing(write_bands(tmp_path / "a.mp4", 0.003, ripple=0.15, pictures=34))
    assert "shorter than 7 ms" in found.source
    assert abs(found.readout_s - 0.003) < 1.96 * found.u_s


@pytest.mark.parametrize(("turned_deg", "along", "backwards"), [(90, 0, False), (180, 1, True), (270, 0, True)])
def test_a_turned_clip_is_read_along_its_sensor_rows(
    tmp_path: Path, turned_deg: int, along: int, backwards: bool
) -> None:
    clip = write_bands(tmp_path / "a.mp4", 0.016, ripple=0.1, rotation_deg=turned_deg, pictures=34)
    found = timing(clip)
    assert (found.along, found.backwards) == (along, backwards)
    assert found.readout_s == pytest.approx(0.016, abs=0.0004)
    facts = read_facts(clip)
    assert facts.rotation_deg == turned_deg
    # The sensor's first row: at the left, at the bottom, at the right.
    first = {90: (0.0, 50.0), 180: (50.0, facts.height_px - 1.0), 270: (facts.width_px - 1.0, 50.0)}[turned_deg]
    assert scan_share(first, facts) == pytest.approx(-0.5)
    share = found.share(np.array([first]), facts.width_px, facts.height_px)
    assert share == pytest.approx([-0.5])


def test_a_sensor_that_reads_from_below_is_noticed(tmp_path: Path) -> None:
    found = timing(write_bands(tmp_path / "a.mp4", 0.016, ripple=0.1, backwards=True, pictures=34))
    assert found.readout_s == pytest.approx(-0.016, abs=0.0004)


def test_slow_motion_counts_real_time(tmp_path: Path) -> None:
    """Recorded at 240 a second, played at 30: the time line of the file is eight times too long."""
    clip = write_bands(tmp_path / "a.mp4", 0.004 * 8, frames_per_s=30.0, lamp_Hz=100.0 / 8, ripple=0.15, pictures=48)
    found = timing(set_capture_rate(clip, 240.0))
    assert "shorter than 4 ms" in found.source
    assert 0 < found.readout_s <= 0.004


def test_what_the_sheet_gives_is_taken(tmp_path: Path) -> None:
    clip = write_bands(tmp_path / "a.mp4", 0.016, pictures=3)
    assert timing(clip, 0.012) == RowTiming(0.012, 0.0, 1, False, "given in the sheet")
    few = timing(clip)
    assert "bands need 24 pictures in a row, and 3 were looked at" in few.reason


@pytest.mark.parametrize(
    ("key", "number", "readout_s"),
    [("com.example.camera.framereadouttimeinmicroseconds", 12500.0, 0.0125),
     ("com.example.Readout_milliseconds", 8.0, 0.008),
     ("com.example.readout", 8.0, np.nan),
     ("com.example.exposuremilliseconds", 8.0, np.nan)],
)  # fmt: skip
def test_the_cameras_own_note_of_its_readout_is_read(tmp_path: Path, key: str, number: float, readout_s: float) -> None:
    clip = set_capture_rate(write_bands(tmp_path / "a.mp4", 0.016, pictures=3), number, key)
    assert read_facts(clip).readout_s == pytest.approx(readout_s, nan_ok=True)
    if np.isfinite(readout_s):
        assert timing(clip).source == "by the camera's own note in the file"
        assert timing(clip, 0.010).readout_s == 0.010
