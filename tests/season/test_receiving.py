"""Forecasts that are handed in."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.season.manifest import read_season
from matchvision.season.receiving import read_received, receive
from matchvision.season.spreadsheet import read_spreadsheet, sheet_of_row
from tests.season.made import lay_out

DEADLINE = "[season]\ndeadline = 2031-05-02T18:00:00Z\n"
EARLY, LATE = (datetime(2031, 5, 2, hour, tzinfo=UTC) for hour in (17, 19))
TABLE = "team,stall_torque_Nm,u_stall_torque_Nm,gear_ratio,win_chance,failure_named\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return lay_out(tmp_path / "s", 6, season=DEADLINE)


def spreadsheet(path: Path, *rows: str) -> Path:
    path.write_text(TABLE + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_what_arrives_is_checked_and_logged(folder: Path, tmp_path: Path) -> None:
    source = spreadsheet(tmp_path / "all.csv", "heron,0.0033,0.0001,283,0.7,less-grip", "plover,0.003,,250,1.7,")
    receipts = receive(read_season(folder), source, EARLY)
    assert [(r.team, bool(r.fault), r.late) for r in receipts] == [("heron", False, False), ("plover", True, False)]
    assert "win_chance" in receipts[1].fault
    log = (folder / "handed-in" / "log.csv").read_text().splitlines()
    assert log[1] == f"2031-05-02T17:00:00+00:00,heron,heron-1/heron.toml,{receipts[0].fingerprint}"
    assert len(log) == 2
    chosen, told = read_received(read_season(folder))
    assert list(chosen) == ["heron"]
    assert {one.team: one.status for one in told}["plover"] == "missing"


def test_the_last_in_time_counts(folder: Path, tmp_path: Path) -> None:
    for row, now in (
        ("heron,0.003,,250,0.5,", EARLY),
        ("heron,0.004,,250,0.5,", EARLY),
        ("heron,0.005,,250,0.5,", LATE),
    ):
        (receipt,) = receive(read_season(folder), spreadsheet(tmp_path / "a.csv", row), now)
        assert receipt.late == (now is LATE)
    receive(read_season(folder), spreadsheet(tmp_path / "a.csv", "snipe,0.005,,250,0.5,"), LATE)
    chosen, told = read_received(read_season(folder))
    assert chosen["heron"].parent.name == "heron-2"
    assert {one.team: one.status for one in told if one.status != "missing"} == {"heron": "in time", "snipe": "late"}


def test_the_same_again_is_not_logged_twice(folder: Path, tmp_path: Path) -> None:
    for _ in range(2):
        receive(read_season(folder), spreadsheet(tmp_path / "a.csv", "heron,0.003,,250,0.5,"), EARLY)
    assert len((folder / "handed-in" / "log.csv").read_text().splitlines()) == 2


def test_a_change_after_receipt_is_found(folder: Path, tmp_path: Path) -> None:
    receive(read_season(folder), spreadsheet(tmp_path / "a.csv", "heron,0.003,,250,0.5,"), EARLY)
    kept = folder / "handed-in" / "heron-1" / "heron.toml"
    kept.write_text(kept.read_text().replace("0.003", "0.0031"))
    with pytest.raises(SheetError, match="not what was logged"):
        read_received(read_season(folder))


def test_a_folder_of_sheets_is_taken_in(folder: Path, tmp_path: Path) -> None:
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    (sheets / "heron.toml").write_text("[machine.heron]\nmass_kg = 2.6\n[forecast.heron]\ngear_ratio = 250\n")
    (sheets / "plover.toml").write_text("[machine.plover]\nmass_kg = 2.6\n[forecast.plover]\ngear_ratoi = 250\n")
    (sheets / "snipe.toml").write_text("[machine.heron]\nmass_kg = 2.6\n[forecast.heron]\ngear_ratio = 250\n")
    receipts = {r.team: r.fault for r in receive(read_season(folder), sheets, EARLY)}
    assert receipts["heron"] == ""
    assert 'did you mean "gear_ratio"' in receipts["plover"]
    assert "forecast of heron, not of snipe" in receipts["snipe"]


def test_what_a_sheet_names_comes_with_it(folder: Path, tmp_path: Path) -> None:
    sheets = tmp_path / "sheets"
    (sheets / "parts").mkdir(parents=True)
    curve = "t_s,position_m\n0,0\n1,0.1\n"
    (sheets / "parts" / "curve.csv").write_text(curve)
    (sheets / "parts" / "machine.toml").write_text("[machine.heron]\nmass_kg = 2.6\n")
    text = 'include = ["parts/machine.toml"]\n[forecast.heron]\ncurve = "{curve}"\n'
    (sheets / "heron.toml").write_text(text.format(curve="parts/curve.csv"))
    (receipt,) = receive(read_season(folder), sheets / "heron.toml", EARLY)
    assert receipt.fault == ""
    (sheets / "parts" / "curve.csv").unlink()
    assert read_received(read_season(folder))[0]["heron"].is_file()
    assert (folder / "handed-in" / "heron-1" / "parts" / "curve.csv").read_text() == curve
    (tmp_path / "curve.csv").write_text(curve)
    (sheets / "heron.toml").write_text(text.format(curve="../curve.csv"))
    (receipt,) = receive(read_season(folder), sheets / "heron.toml", EARLY)
    assert "lies outside the sheet's folder" in receipt.fault


def test_csv_and_xlsx_say_the_same(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    source = spreadsheet(tmp_path / "all.csv", "heron,0.0033,0.0001,283,0.7,less-grip", "snipe,0.003,,250,,")
    book = openpyxl.Workbook()
    for cells in (
        TABLE.strip().split(","),
        ["heron", 0.0033, 0.0001, 283, 0.7, "less-grip"],
        ["snipe", 0.003, None, 250],
    ):
        book.active.append(cells)
    book.save(tmp_path / "all.xlsx")
    texts = [[sheet_of_row(row) for row in read_spreadsheet(path)] for path in (source, tmp_path / "all.xlsx")]
    assert texts[0] == texts[1]
    assert "stall_torque_Nm = { value = 0.0033, u = 0.0001 }" in texts[0][0]
    assert "gear_ratio = 283" in texts[0][0]


def test_cells_that_are_no_numbers_are_named(tmp_path: Path) -> None:
    source = spreadsheet(tmp_path / "all.csv", "heron,much,,283,0.7,", "heron,0.003,,250,,")
    with pytest.raises(SheetError) as caught:
        read_spreadsheet(source)
    said = caught.value.message()
    assert 'all.csv, line 2, stall_torque_Nm: found "much"' in said
    assert "line 3: heron stands there twice" in said


def test_colours_of_a_teams_markers_come_from_the_shared_sheet(folder: Path, tmp_path: Path) -> None:
    (folder / "season.toml").write_text('[season]\nshared = "table.toml"\n')
    (folder / "table.toml").write_text('[colour.green]\nsrgb = "#1eaf3c"\n')
    sheet = (
        '[machine.heron]\nmass_kg = 2.5\n[[machine.heron.marker]]\nname = "front"\ncolour = "{}"\nradius_m = 0.014\n'
    )
    sheet += "at_m = [0.09, 0.0, 0.12]\n[forecast.heron]\ngear_ratio = 250\n"
    (tmp_path / "heron.toml").write_text(sheet.format("green"))
    (receipt,) = receive(read_season(folder), tmp_path / "heron.toml", EARLY)
    assert not receipt.fault
    assert read_received(read_season(folder))[0]["heron"].name == "heron.toml"
    (tmp_path / "heron.toml").write_text(sheet.format("grean"))
    (receipt,) = receive(read_season(folder), tmp_path / "heron.toml", EARLY)
    assert "grean" in receipt.fault


def test_a_name_that_no_team_has_is_remarked(folder: Path, tmp_path: Path) -> None:
    receipts = receive(read_season(folder), spreadsheet(tmp_path / "a.csv", "herron,0.003,,250,0.5,"), EARLY)
    assert receipts[0].remark == "no team of this season is called herron; did they mean heron?"


def test_dates_and_formulas_in_cells_are_told_apart_from_numbers(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in (["team", "gear_ratio"], ["heron", datetime(2031, 5, 2)], ["plover", "=2+3"]):
        book.active.append(row)
    book.save(tmp_path / "all.xlsx")
    with pytest.raises(SheetError) as caught:
        read_spreadsheet(tmp_path / "all.xlsx")
    assert "took what was typed for a date" in caught.value.message()
    assert 'the formula "=2+3", not computed' in caught.value.message()
