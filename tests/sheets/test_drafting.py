"""A sheet that is not whole yet can be opened, completed at the desk, and is then read by everybody."""

from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.sheets import check_draft, load_draft, load_run, refuse_wanting

SHEET = """
[run]
name = "draft"
clip = "clip.mp4"
[clock]
duration_s = 5.0
[table]
length_m = 2.0
width_m = 1.0
[rope]
length_m = 0.9
ends = ["heron", "plover"]
beads = [{ name = "bead_01", at_m = 0.1, colour = "red" }, { name = "bead_02", at_m = 0.2, colour = "cyan" }]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "run.toml").write_text(SHEET)
    return tmp_path


def test_colours_may_still_be_unknown(folder: Path) -> None:
    with pytest.raises(SheetError):
        load_run(folder)
    draft = load_draft(folder)
    assert draft.unknown_colours == ("red", "cyan")
    assert draft.without_start
    assert {plan.colour for plan in draft.run.sheet.rope.beads} == {"red", "cyan"}  # type: ignore[union-attr]
    with pytest.raises(SheetError, match=r"colour.red.*\n.*colour.cyan.*\n.*clock"):
        refuse_wanting(draft)


def test_what_the_desk_has_learnt_is_laid_over_the_sheet(folder: Path) -> None:
    colours = '[colour.red]\nsrgb = "#d02020"\n[colour.cyan]\nsrgb = "#10b0c0"\n'
    learnt = f"[clock]\nstart_s = 0.7\n{colours}[table]\nwidth_m = 1.1\n"
    (folder / "desk.toml").write_text(learnt)
    run = load_run(folder)
    assert run.sheet.clock.start_s == 0.7
    assert run.sheet.table.width_m == 1.1
    assert run.sheet.table.length_m == 2.0
    assert "desk.toml" in run.sheet_texts
    draft = load_draft(folder)
    assert not draft.unknown_colours
    refuse_wanting(draft)
    assert draft.kept["colour"]["red"]["srgb"] == "#d02020"


def test_a_fault_in_the_desks_file_is_named_there(folder: Path) -> None:
    (folder / "desk.toml").write_text('[colour.red]\nsrgb = "red"\n')
    with pytest.raises(SheetError, match=r"desk.toml, line 2, colour.red.srgb"):
        load_draft(folder)


def test_what_would_be_a_fault_is_refused_before_it_is_written(folder: Path) -> None:
    draft = load_draft(folder)
    check_draft(draft, {"clock": {"start_s": 1.0}})
    with pytest.raises(SheetError, match="lies beyond the table"):
        check_draft(draft, {"table": {"point": [{"name": "far", "at_m": [9.0, 0.0], "pixel": [1.0, 1.0]}]}})
