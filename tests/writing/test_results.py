"""Results appear whole or not at all, and come back as they were written."""

import json
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import matchvision
from matchvision.errors import OutputError, SetupError
from matchvision.records.columns import TABLES, UNIT_SUFFIXES
from matchvision.records.results import Analysis, Verdict
from matchvision.writing import Results, open_result, write_results

NAN = float("nan")


def _names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_every_table_is_written_with_its_columns(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    assert _names(tmp_path / "out") == {f"{name}.csv" for name in TABLES} | {"result.json"}
    for name in TABLES:
        heading = (tmp_path / "out" / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0]
        assert tuple(heading.split(",")) == tuple(column.name for column in TABLES[name])


def test_what_was_written_is_read_back(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    results = matchvision.open_result(tmp_path / "out")
    assert isinstance(results, Results)
    motion = analysis.motion
    assert list(results.tracks["marker"][:3]) == ["bead_01", "heron.front", "heron.wheel_1"]
    np.testing.assert_allclose(results.tracks["col_px"], motion.tracks.col_px.ravel(), atol=6e-5)
    np.testing.assert_allclose(results.tracks["x_m"], motion.places.x_m.ravel(), atol=6e-7)
    assert results.tracks["state"][7] == "lost"
    np.testing.assert_allclose(results.tracks["t_s"][::3], motion.clip_s - 0.1, atol=1e-6)
    plover = results.motion[results.motion["machine"] == "plover"]
    np.testing.assert_allclose(plover["x_m"], motion.machines["plover"].x_m, atol=6e-7)
    np.testing.assert_allclose(plover["u_x_m"], motion.machines["plover"].u_x_m, rtol=6e-4)
    assert list(results.wheels["grip_state"]) == ["gripping", "slipping", "slipping", "", "gripping"]
    np.testing.assert_allclose(results.wheels["slip_ratio"], motion.wheels[0].slip_ratio)
    np.testing.assert_array_equal(results.rope["slack"], [1, 0, 0, NAN, 0])
    assert results.events["evidence"][0] == 'slip speed 0.05 m/s, "sudden", for 0.2 s'
    assert np.isnan(results.events["end_s"][0])
    assert results.causes["machine"][0] == ""
    assert results.tracks["frame"].dtype == np.int64


def test_result_file_in_brief(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    raw = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))
    assert raw["verdict"]["winner"] == "heron"
    assert (raw["verdict"]["margin_m"], raw["verdict"]["u_margin_m"], raw["verdict"]["sure"]) == (0.123, 0.004, True)
    assert raw["clip"]["sha256"] == "ab" * 32
    assert raw["software"] == {"name": "matchvision", "version": matchvision.__version__}
    assert raw["events"][0]["end_s"] is None
    assert raw["forecast"]["u_margin_m"] is None
    assert raw["camera"]["u_fx_px"] == 2.0
    assert raw["budget"] == [
        {
            "source": "link",
            "name": "reading",
            "u": 0.4,
            "unit": "N",
            "common": False,
            "value": 0.08,
            "u_value": 0.0008,
            "value_unit": "m",
            "sensitivity": 500.0,
        }
    ]
    tension = next(peak for peak in raw["peaks"] if peak["quantity"] == "tension")
    assert (tension["value"], tension["u"]) == (20.0, 0.5)  # not the 50 N before the start
    assert tension["at_s"] == pytest.approx(0.1)
    assert set(raw["files"]) == {f"{name}.csv" for name in TABLES}


def test_nothing_known_gives_empty_tables_and_no_winner(analysis: Analysis, tmp_path: Path) -> None:
    bare = replace(
        analysis, pull=None, grip=None, forecast=None, verdict=Verdict(None, (), ()),
        motion=replace(analysis.motion, machines={}, wheels=(), rope=None),
    )  # fmt: skip
    write_results(bare, tmp_path / "out")
    results = open_result(tmp_path / "out")
    empty = ("motion", "wheels", "rope", "pull", "traction", "grip_map", "events", "comparison", "causes")
    assert all(len(getattr(results, name)) == 0 for name in empty)
    assert results.brief.verdict.winner is None
    assert results.brief.verdict.sentence == "heron has won."  # what the verdict's note says


def test_margin_of_a_load_run_is_null(analysis: Analysis, tmp_path: Path) -> None:
    ruling = analysis.verdict.ruling
    assert ruling is not None
    load_run = replace(analysis, verdict=Verdict(replace(ruling, winner=None, margin_m=NAN, u_margin_m=NAN), (), ()))
    write_results(load_run, tmp_path / "out")
    assert open_result(tmp_path / "out").brief.verdict.margin_m is None


def test_files_are_readable_for_others(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    expected = tmp_path / "plain"
    expected.mkdir()
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == stat.S_IMODE(expected.stat().st_mode)


@pytest.mark.parametrize("failure", [RuntimeError("the pen broke"), KeyboardInterrupt()])
def test_a_failure_midway_leaves_the_old_results(analysis: Analysis, tmp_path: Path, failure: BaseException) -> None:
    out = tmp_path / "out"
    write_results(analysis, out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}

    def fail(unfinished: Path) -> None:
        assert (unfinished / "tracks.csv").is_file()
        (unfinished / "report.html").write_text("half a page")
        raise failure

    with pytest.raises(type(failure)):
        write_results(replace(analysis, grip=None), out, also=fail)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert _names(tmp_path) == {"out", "run"}  # nothing unfinished is left about


def test_a_failure_of_the_swap_itself_leaves_the_old_results(
    analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_results(analysis, out)
    (out / "old").write_text("old")
    rename = Path.rename

    def break_off(self: Path, target: Path) -> Path:
        if "unfinished" in self.name:
            raise OSError(28, "No space left on device")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", break_off)
    with pytest.raises(OutputError, match="No space left"):
        write_results(analysis, out)
    assert "old" in _names(out)
    assert _names(tmp_path) == {"out", "run"}


def test_a_failure_at_first_leaves_nothing(analysis: Analysis, tmp_path: Path) -> None:
    def fail(_: Path) -> None:
        msg = "the pen broke"
        raise RuntimeError(msg)

    with pytest.raises(RuntimeError):
        write_results(analysis, tmp_path / "deep" / "out", also=fail)
    assert list((tmp_path / "deep").iterdir()) == []


def test_added_files_join_the_whole_and_old_ones_go(analysis: Analysis, tmp_path: Path) -> None:
    out = tmp_path / "out"

    def first(unfinished: Path) -> None:
        (unfinished / "figures").mkdir()
        (unfinished / "figures" / "pull.svg").write_text("<svg/>")

    def second(unfinished: Path) -> None:
        (unfinished / "report.html").write_text("<html>")

    write_results(analysis, out, also=first)
    assert "figures" in open_result(out).brief.files
    (out / "our notes.txt").write_text("new tyres")
    write_results(analysis, out, also=second)
    assert not (out / "figures").exists()
    assert (out / "report.html").is_file()
    assert (out / "our notes.txt").read_text() == "new tyres"  # what is not ours is kept


def test_a_folder_with_other_things_is_refused(analysis: Analysis, tmp_path: Path) -> None:
    precious = tmp_path / "holiday"
    precious.mkdir()
    (precious / "photo.jpg").write_bytes(b"\xff")
    with pytest.raises(OutputError, match="other things than results"):
        write_results(analysis, precious)
    with pytest.raises(OutputError, match="a file, not a folder"):
        write_results(analysis, precious / "photo.jpg")
    assert _names(precious) == {"photo.jpg"}


def test_the_run_folder_is_never_replaced(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    (tmp_path / "out" / "result.json").rename(tmp_path / "run" / "result.json")
    for folder in (tmp_path / "run", tmp_path):
        with pytest.raises(OutputError, match="run sheet or the clip lies in this folder"):
            write_results(analysis, folder)
    write_results(analysis, tmp_path / "run" / "outputs")  # a folder in it is welcome


def test_parquet_without_its_package_is_one_clear_sentence(
    analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("matchvision.writing.results.find_spec", lambda _: None)
    with pytest.raises(SetupError, match="pip install pyarrow"):
        write_results(analysis, tmp_path / "out", tables="parquet")
    assert not (tmp_path / "out").exists()


def test_parquet_round_trip(analysis: Analysis, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow", reason="the optional package pyarrow is not installed")
    write_results(analysis, tmp_path / "out", tables="parquet")
    results = open_result(tmp_path / "out")
    np.testing.assert_array_equal(results.tracks["col_px"], analysis.motion.tracks.col_px.ravel())


def test_unknown_format_is_refused(analysis: Analysis, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="choose one of csv, parquet"):
        write_results(analysis, tmp_path / "out", tables="xlsx")


def test_changed_results_are_refused(analysis: Analysis, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with pytest.raises(OutputError, match="no results here"):
        open_result(out)
    write_results(analysis, out)
    (out / "rope.csv").write_text((out / "rope.csv").read_text().replace("slack", "slak"))
    with pytest.raises(OutputError, match="differ in slack, slak"):
        open_result(out)
    (out / "rope.csv").unlink()
    with pytest.raises(OutputError, match="the table rope is missing"):
        open_result(out)
    (out / "result.json").write_text('{"format_version": 1}')
    with pytest.raises(OutputError, match="software does not fit"):
        open_result(out)


def test_the_package_loads_only_what_is_used() -> None:
    """The bare package loads no pandas; reading results back loads nothing that draws or films."""
    code = (
        "import sys, matchvision; early = 'pandas' in sys.modules; matchvision.open_result; "
        "sys.exit(early or bool({'cv2', 'av', 'matplotlib'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_physical_names_end_in_a_registered_unit() -> None:
    """Units by suffix: the longest registered one that the name ends in says the column's unit."""
    unit_of = {"_px": "px", "_m": "m", "_m_s": "m/s", "_m_s2": "m/s²", "_s": "s", "_deg": "°", "_rad": "rad",
               "_rad_s": "rad/s", "_N": "N", "_ratio": "1"}  # fmt: skip
    for name, columns in TABLES.items():
        for column in columns:
            ends = [suffix for suffix in UNIT_SUFFIXES if column.name.endswith(suffix)]
            if column.unit in ("", "1", "unit"):
                assert not [end for end in ends if unit_of.get(end) != column.unit], f"{name}.{column.name}"
            else:
                assert ends, f"{name}.{column.name} does not say its unit"
                assert unit_of[max(ends, key=len)] == column.unit, f"{name}.{column.name}"


def test_every_uncertainty_belongs_to_a_column() -> None:
    for name, columns in TABLES.items():
        names = [column.name for column in columns]
        for column in columns:
            if column.name.startswith("u_") and name != "comparison":
                assert column.name[2:] in names
        assert len(set(names)) == len(names)


def test_the_boundary_refuses_what_does_not_fit(analysis: Analysis, tmp_path: Path) -> None:
    grip = analysis.grip
    assert grip is not None
    event = grip.events[0]
    for wrong, said in ((replace(event, start_s=NAN), "start_s is empty"), (replace(event, end_s=np.inf), "infinite")):
        with pytest.raises(OutputError, match=said):
            write_results(replace(analysis, grip=replace(grip, events=(wrong,))), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_tables_are_compact(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    table = pd.read_csv(tmp_path / "out" / "motion.csv", dtype=str)
    assert table["x_m"][2] == "-1.033333"
    assert table["u_x_m"][2] == "0.0001235"
