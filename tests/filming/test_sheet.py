"""Scene sheets: the example loads, faults are all named."""

from pathlib import Path

import numpy as np
import pytest

import matchvision.filming
from matchvision.errors import SheetError
from matchvision.filming import hang_test, play, read_scene, run_sheet
from matchvision.sheets import load_run

EXAMPLES = sorted((Path(matchvision.filming.__file__).parent / "scenes").glob("*.toml"))
SLED = next(path for path in EXAMPLES if path.stem == "sled-on-rough-stretch")
RIDGE = next(path for path in EXAMPLES if path.stem == "match-over-ridge")


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_load_and_run(path: Path) -> None:
    scene = read_scene(path)
    assert scene.name == path.stem
    course = play(scene)
    for name, machine in scene.machine.items():
        reach = np.abs(course.machines[name].x_m) + machine.size_m[0] / 2
        assert reach.max() < scene.table.length_m / 2


def test_the_example_does_what_its_story_says() -> None:
    """The pull doubles on the rough stretch and the wheels begin to spin there, not before."""
    scene = read_scene(SLED)
    course = play(scene)
    puller, sled = course.machines["plover"], course.machines["sled"]
    slip = puller.wheel_rate_rad_s * 0.045 - puller.speed_m_s
    onset = np.flatnonzero(slip > 0.03)[0]
    front = sled.x_m[onset] + scene.machine["sled"].size_m[0] / 2
    assert scene.table.patch[0].from_m < front < scene.table.patch[0].to_m
    before = (course.clip_s > scene.clock.start_s + 0.6) & (sled.x_m + 0.13 < scene.table.patch[0].from_m - 0.01)
    assert course.tension_N[before].max() < 0.7 * course.tension_N[onset:].max()


def broken(tmp_path: Path, *changes: tuple[str, str], example: Path = SLED) -> Path:
    text = example.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_fault_is_listed(tmp_path: Path) -> None:
    path = broken(
        tmp_path,
        ("mass_kg = 3.6", "mass_kgs = 3.6"),
        ("f_px = ", "f_pixel = "),
        ("frames_per_s = 60.0", 'frames_per_s = "fast"'),
        ('colour = "blue", radius_m', 'colour = "blue", radius'),
        ("seed = 11", "seed = -1"),
        ('shape = "ball"', 'shape = "egg"'),
    )
    with pytest.raises(SheetError) as caught:
        read_scene(path)
    faults = {fault.where: fault for fault in caught.value.faults}
    assert faults["machine.sled.mass_kgs"].wanted == "did you mean 'mass_kg'?"
    assert faults["camera.f_pixel"].wanted == "did you mean 'f_px'?"
    assert faults["machine.sled.marker.0.radius"].wanted == "did you mean 'radius_m'?"
    assert faults["camera.frames_per_s"].found == "found 'fast'"
    assert {"machine.sled.mass_kg", "camera.f_px", "machine.sled.marker.0.radius_m", "seed", "thing.0.shape"} <= set(
        faults
    )
    assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ('ends = ["sled", "plover"]', 'ends = ["sled", "gull"]', "rope.ends.1", "no machine here"),
        (
            'name = "front", colour = "green"',
            'name = "front", colour = "teal"',
            "machine.plover.marker 'front'",
            "teal",
        ),
        ('kind = "sled" ', 'kind = "match"', "machine.sled.drive", "missing"),
        ("from_m = 0.53", "from_m = 0.78", "rope.link.from_m", "reaches 0.84 m"),
        ('name = "rear", colour = "magenta"', 'name = "front", colour = "magenta"', "machine.plover", "named twice"),
        (
            "[2.4, 1.0], [4.6, 1.0]]    #",
            "[4.8, 1.0], [4.6, 1.0]]    #",
            "machine.plover.drive.throttle",
            "do not rise",
        ),
        ("hitch_x_m = 0.35", "hitch_x_m = -0.5", "machine.sled.hitch_x_m", "not left of"),
        ("length_m = 0.80", "length_m = 0.60", "rope.length_m", "apart"),
        ('home = "-x"', 'home = "+x"', "machine", "two machines"),
    ],
)
def test_what_contradicts_itself_is_named(tmp_path: Path, old: str, new: str, where: str, words: str) -> None:
    with pytest.raises(SheetError) as caught:
        read_scene(broken(tmp_path, (old, new)))
    assert any(fault.where == where and words in str(fault) for fault in caught.value.faults), str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ("[[-1.2, -0.1261], ", "[", "table.profile_m", "goes from 0 to 1.2 m"),
        ("[0.0, 0.0], ", "[0.0, 0.01], ", "table.profile_m", "z = 0.01 m at x = 0"),
        ("[0.0, 0.0], ", "[2.0, 0.0], ", "table.profile_m", "from -x to +x"),
        ("1.2, -0.1261]]", "1.2, -2.6]]", "table.profile_m", "seen from below"),
        ("centre_m = [0.3, -0.46]", "centre_m = [0.05, -0.46]", "table.tag", "tag 15 lies over a bend"),
    ],
)
def test_a_profile_that_cannot_be_is_named(tmp_path: Path, old: str, new: str, where: str, words: str) -> None:
    position = ("position_m = [-0.12,", "position_m = [-0.92,")
    with pytest.raises(SheetError) as caught:
        read_scene(broken(tmp_path, (old, new), position, example=RIDGE))
    assert any(fault.where == where and words in str(fault) for fault in caught.value.faults), str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ('told_by = "sound"', 'told_by = "lamp"', "clock.told_by", "no [lamp]"),
        ("readout_s = 0.016", "sway = { move_m = 0.01, turn_deg = 0.3 }", "clock.told_by", "sways"),
        ('kind = "horn"', "at_s = 9.0", "sound.at_s", "in a clip of 5.9 s"),
        ("until_s = 3.7", "until_s = 3.0", "hand.0.until_s", "not after"),
    ],
)
def test_signals_that_cannot_be_are_named(tmp_path: Path, old: str, new: str, where: str, words: str) -> None:
    text = RIDGE.read_text(encoding="utf-8").replace(old, new, 1)
    if "sways" in words:
        text = text.replace('told_by = "sound"', 'told_by = "lamp"')
    if "lamp" in words:
        text = text.replace("[lamp] ", "# ").replace("at_m = [-0.55", "# at_m = [-0.55")
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SheetError) as caught:
        read_scene(path)
    assert any(fault.where == where and words in str(fault) for fault in caught.value.faults), str(caught.value)


def test_a_missing_or_unreadable_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="No such file"):
        read_scene(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("name = ")
    with pytest.raises(SheetError, match="valid TOML"):
        read_scene(tmp_path / "bad.toml")


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_the_run_sheet_of_every_example_is_read_without_fault(path: Path, tmp_path: Path) -> None:
    scene = read_scene(path)
    (tmp_path / "run.toml").write_text(run_sheet(scene), encoding="utf-8")
    (tmp_path / "clip.mp4").touch()
    if scene.rope.link is not None:
        (tmp_path / "hang.csv").write_text(hang_test(scene.rope.link, scene.seed), encoding="utf-8")
    sheet = load_run(tmp_path).sheet
    assert sheet.table.profile_m == scene.table.profile_m
    assert sheet.clock is not None
    assert sheet.clock.start == (None if scene.clock.told_by == "time" else scene.clock.told_by)
    assert sheet.clock.start_s == (scene.clock.start_s if scene.clock.told_by == "time" else None)
