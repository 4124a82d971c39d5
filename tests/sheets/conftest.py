"""A small sound run sheet, and a way to load it with something changed."""

from collections.abc import Callable
from pathlib import Path

import pytest

from matchvision.errors import Fault, SheetError
from matchvision.sheets import load_run

SOUND_SHEET = """\
[run]
name = "practice"
clip = "clip.mp4"

[clock]
start_s = 1.0
duration_s = 8

[table]
length_m = 2.2
width_m = 1.1

[[table.tag]]
id = 0
side_m = 0.11
centre_m = [-1.0, 0.45]

[[table.tag]]
id = 1
side_m = 0.11
centre_m = [1.0, 0.45]

[colour.red]
srgb = "#d7231e"

[colour.cyan]
srgb = "#0ab4cd"

[rope]
length_m = 1.0
ends = ["heron", "plover"]
beads = [
  { name = "bead_01", at_m = 0.1, colour = "red" },
  { name = "bead_02", at_m = 0.2, colour = "cyan" },
]

[rope.link]
from_m = 0.4
markers = [{ name = "link_1", colour = "red" }, { name = "link_2", colour = "red" }]
hang_test = "hang.csv"
u_reading_m = 0.0003

[machine.heron]
home = "-x"
mass_kg = 2.5
hitch = { at_m = [-0.145, 0, 0.05] }
start = { at_m = [-0.7, 0.0], heading_deg = 180 }

[[machine.heron.marker]]
name = "front"
colour = "red"
radius_m = 0.014
at_m = [0.09, 0, 0.12]

[[machine.heron.wheel]]
name = "front left"
radius_m = 0.045
face_m = [0.085, 0.118, 0.045]
rim = [{ name = "wheel_1", colour = "red", radius_m = 0.008, circle_m = 0.03 }]

[machine.plover]
home = "+x"
mass_kg = 3.1

[forecast.heron]
gear_ratio = 236
throttle = [[0, 0], [0.5, 1]]
"""

SOUND_HANG_TEST = "mass_kg,length_m\n0,0.060\n1,0.080\n2,0.100\n"


@pytest.fixture
def run_folder(tmp_path: Path) -> Path:
    (tmp_path / "run.toml").write_text(SOUND_SHEET, encoding="utf-8")
    (tmp_path / "hang.csv").write_text(SOUND_HANG_TEST, encoding="utf-8")
    return tmp_path


@pytest.fixture
def faults_with(run_folder: Path) -> Callable[..., list[Fault]]:
    """Faults of the sound sheet with texts replaced: ``faults_with(("old", "new"), …)``."""

    def load(*changes: tuple[str, str], hang_test: str = SOUND_HANG_TEST) -> list[Fault]:
        text = SOUND_SHEET
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} must stand once in the sound sheet"
            text = text.replace(old, new)
        (run_folder / "run.toml").write_text(text, encoding="utf-8")
        (run_folder / "hang.csv").write_text(hang_test, encoding="utf-8")
        with pytest.raises(SheetError) as caught:
            load_run(run_folder)
        return list(caught.value.faults)

    return load
