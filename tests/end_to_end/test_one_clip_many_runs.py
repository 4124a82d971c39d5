"""A clip of a whole evening: each run is cut out by clip times, and one calibration serves all while it holds."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import FootageError, SheetError, TableError
from matchvision.footage import first_look, look_at_scene, read_facts
from matchvision.pipeline import analyze, answer_first
from matchvision.records.camera import TableView
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from matchvision.sheets.calibration import format_calibration
from matchvision.table import find_or_hold_table
from tests.end_to_end.evening import RATE, SAMPLE, move, sample_pictures, write_evening, write_sheet

#: Pictures of each stretch of the short evening: as it was, the same again, and after somebody knocked the tripod.
STRETCH = 60
KNOCK_PX = (2.4, 1.0)


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    pictures = sample_pictures(STRETCH)
    knocked = [move(p, *KNOCK_PX) for p in pictures]
    return write_evening(tmp_path_factory.mktemp("evening") / "evening.mp4", [*pictures, *pictures, *knocked])


@pytest.fixture(scope="module")
def kept(evening: Path) -> Path:
    """The first run's calibration, as results hold it."""
    run = load_part(evening, evening.parent / "first", 0)
    view, _ = find(run)
    path = evening.parent / "camera.json"
    path.write_text(format_calibration("Tuesday 1", "0" * 64, view), encoding="utf-8")
    return path


def load_part(evening: Path, folder: Path, part: int, kept: Path | None = None, *, tags: bool = True) -> Run:
    begin_s = part * STRETCH / RATE
    clock = f"start_s = {begin_s + 0.5}\nduration_s = 8\nfrom_s = {begin_s}\nuntil_s = {begin_s + 0.98}\n"
    camera = "" if kept is None else f'calibration = "{kept.as_posix()}"'
    return load_run(write_sheet(folder, evening, clock=clock, camera=camera, tags=tags))


def find(run: Run) -> tuple[TableView, StageNote]:
    clock = run.sheet.clock
    looked = first_look(read_facts(run.clip), from_s=clock.from_s, until_s=clock.until_s)
    return find_or_hold_table(looked, run.sheet, run.lens, run.calibration, look_at_scene(looked, run.calibration))


def test_a_calibration_that_holds_is_shared(evening: Path, kept: Path, tmp_path: Path) -> None:
    run = load_part(evening, tmp_path, 1, kept)
    view, note = find(run)
    assert run.calibration is not None
    assert np.array_equal(view.camera.parameters, run.calibration.view.camera.parameters)
    assert "The calibration of 'Tuesday 1' serves this run too" in note.sentence
    assert view.rms_px < 0.3


def test_a_run_without_tags_lives_on_the_shared_calibration(evening: Path, kept: Path, tmp_path: Path) -> None:
    run = load_part(evening, tmp_path, 1, kept, tags=False)
    run = replace(
        run, sheet=run.sheet.model_copy(update={"table": run.sheet.table.model_copy(update={"edges": False})})
    )
    view, note = find(run)
    assert run.calibration is not None
    assert np.array_equal(view.camera.parameters, run.calibration.view.camera.parameters)
    assert "parts compared" in note.sentence
    assert note.status == "done"


def test_a_moved_camera_is_refused_with_numbers(evening: Path, kept: Path, tmp_path: Path) -> None:
    """The picture was moved by (2.4, 1.0) px, 2.6 px in all; at 0.35 to 0.59 px a millimetre that is about 6 mm."""
    run = load_part(evening, tmp_path, 2, kept, tags=False)
    with pytest.raises(TableError, match=r"camera has moved since 'Tuesday 1'.* 2\.6 px \(about [4-7]\.\d mm") as told:
        find(run)
    assert "cannot be calibrated anew" in told.value.what


def test_a_moved_camera_with_tags_is_calibrated_anew(evening: Path, kept: Path, tmp_path: Path) -> None:
    run = load_part(evening, tmp_path, 2, kept)
    view, note = find(run)
    assert run.calibration is not None
    assert not np.array_equal(view.camera.parameters, run.calibration.view.camera.parameters)
    (warning,) = [w for w in note.warnings if "The camera has moved since 'Tuesday 1'" in w]
    assert "2.6 px" in warning
    assert "calibrated anew" in warning


def test_parts_that_make_no_sense_are_refused(evening: Path, kept: Path, tmp_path: Path) -> None:
    for clock, said in (
        ("start_s = 1\nduration_s = 8\nfrom_s = 2\nuntil_s = 1.5\n", "ends before it begins"),
        ("start_s = 5\nduration_s = 8\nfrom_s = 1\nuntil_s = 2\n", "outside the run's part"),
    ):
        with pytest.raises(SheetError, match=said):
            load_run(write_sheet(tmp_path, evening, clock=clock))
    late = load_run(write_sheet(tmp_path, evening, clock="start_s = 50\nduration_s = 8\nfrom_s = 49\n"))
    with pytest.raises(FootageError, match=r"begins at 49\.00 s, but the clip is only 2\.98 s"):
        analyze(late)
    text = kept.read_text(encoding="utf-8").replace('"width_px"', '"width"', 1)
    spoilt = tmp_path / "camera.json"
    spoilt.write_text(text, encoding="utf-8")
    with pytest.raises(SheetError, match="earlier run is wanted, unchanged"):
        load_part(evening, tmp_path, 1, spoilt)


@pytest.mark.slow
def test_a_run_inside_an_evening_reads_as_the_run_alone(tmp_path: Path) -> None:
    """The sample match after 1.5 s of others' business: the same motion and verdict, later by as much."""
    pictures = sample_pictures()
    lead = 90
    clip = write_evening(tmp_path / "evening.mp4", [*pictures[200 : 200 + lead], *pictures[:400]])
    later_s = lead / RATE
    alone = load_run(
        write_sheet(tmp_path / "alone", SAMPLE / "clip.mp4", clock="start_s = 1.18\nduration_s = 5\nuntil_s = 6.6\n")
    )
    clock = f"start_s = {1.18 + later_s}\nduration_s = 5\nfrom_s = {later_s}\nuntil_s = {6.6 + later_s}\n"
    inside = load_run(write_sheet(tmp_path / "inside", clip, clock=clock))
    one, other = answer_first(alone), answer_first(inside)
    assert other.motion.clip_s[0] == pytest.approx(later_s, abs=1e-6)
    assert other.motion.frame[0] == lead
    assert np.allclose(other.motion.clip_s - later_s, one.motion.clip_s, atol=1e-6)
    for name, moved in one.motion.machines.items():
        apart_m = other.motion.machines[name].x_m - moved.x_m
        assert float(np.sqrt(np.nanmean(apart_m**2))) < 0.001
    assert one.verdict.ruling is not None
    assert other.verdict.ruling is not None
    assert other.verdict.ruling.winner == one.verdict.ruling.winner
    assert other.verdict.ruling.margin_m == pytest.approx(one.verdict.ruling.margin_m, abs=0.002)
    assert not any("missing at the file's end" in fault.what for fault in other.faults)
