"""Wrong inputs: one clear message, the documented exit code, no traceback, and earlier outputs left as they were."""

import shutil
import subprocess
import sys
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"
EARLIER = "an earlier report"


@pytest.fixture
def run_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "run"
    folder.mkdir()
    shutil.copy(SAMPLE / "run.toml", folder)
    (folder / "clip.mp4").symlink_to(SAMPLE / "clip.mp4")
    return folder


@pytest.fixture
def outputs(tmp_path: Path) -> Path:
    folder = tmp_path / "outputs"
    folder.mkdir()
    (folder / "report.html").write_text(EARLIER)
    return folder


def edit(folder: Path, *changes: tuple[str, str]) -> None:
    text = (folder / "run.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "run.toml").write_text(text)


def replace_clip(folder: Path, content: bytes) -> None:
    (folder / "clip.mp4").unlink()
    (folder / "clip.mp4").write_bytes(content)


def refuse(folder: Path, outputs: Path, *said: str) -> None:
    command = [sys.executable, "-m", "matchvision", "analyze", str(folder), "--out", str(outputs)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=240)
    message = done.stdout + done.stderr
    assert done.returncode == 2, message
    assert "Traceback" not in message
    for words in said:
        assert words in message
    assert (outputs / "report.html").read_text() == EARLIER
    assert [path.name for path in outputs.parent.iterdir() if path.name not in ("run", "outputs")] == []


def test_missing_clip(run_folder: Path, outputs: Path) -> None:
    (run_folder / "clip.mp4").unlink()
    refuse(run_folder, outputs, "clip.mp4")


def test_text_file_as_clip(run_folder: Path, outputs: Path) -> None:
    replace_clip(run_folder, b"dear diary, today the heron pulled hard\n" * 50)
    refuse(run_folder, outputs, "clip.mp4")


def test_truncated_clip(run_folder: Path, outputs: Path) -> None:
    whole = (SAMPLE / "clip.mp4").read_bytes()
    replace_clip(run_folder, whole[: len(whole) // 3])
    refuse(run_folder, outputs, "clip.mp4", "breaks off")


def test_clip_without_video(run_folder: Path, outputs: Path) -> None:
    (run_folder / "clip.mp4").unlink()
    with av.open(str(run_folder / "clip.mp4"), "w") as out:
        stream = out.add_stream("aac", rate=44100)
        sound = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        sound.sample_rate = 44100
        for frame in (sound, None):
            out.mux(stream.encode(frame))
    refuse(run_folder, outputs, "video")


def test_photograph_as_clip(run_folder: Path, outputs: Path) -> None:
    replace_clip(run_folder, cv2.imencode(".png", np.full((90, 160, 3), 128, np.uint8))[1].tobytes())
    refuse(run_folder, outputs, "clip.mp4", "a single picture")


def test_sheet_with_three_faults(run_folder: Path, outputs: Path) -> None:
    edit(run_folder, ("duration_s = 8", "durration_s = 8"), ("width_m = 1.1", "width_m = -1.1"), ('"+x"', '"+y"'))
    refuse(run_folder, outputs, "3 faults", "duration_s", "width_m", "home")


def test_tags_not_in_view(run_folder: Path, outputs: Path) -> None:
    edit(run_folder, *((f"\nid = {i}\n", f"\nid = {i + 20}\n") for i in range(4)))
    refuse(run_folder, outputs, "tag", "20")


def test_clock_start_beyond_the_end(run_folder: Path, outputs: Path) -> None:
    edit(run_folder, ("start_s = 1.18", "start_s = 1180"))
    refuse(run_folder, outputs, "1180", "start_s")


@pytest.mark.slow
def test_no_colour_in_view(run_folder: Path, outputs: Path) -> None:
    text = (run_folder / "run.toml").read_text()
    for name in ("red", "cyan", "green", "magenta", "orange", "blue"):
        head, tail = text.split(f"[colour.{name}]\nsrgb = ", 1)
        text = f'{head}[colour.{name}]\nsrgb = "#ff00ff"{tail[tail.index(chr(10)) :]}'
    (run_folder / "run.toml").write_text(text)
    refuse(run_folder, outputs, "colour")
