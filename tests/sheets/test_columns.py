"""The tables that people bring along."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import Fault
from matchvision.sheets.columns import read_commands, read_curve, read_hang_test

FaultsWith = Callable[..., list[Fault]]

HANG_FAULTS = [
    ("", "hang.csv", "it is empty", "heading"),
    ("mass_kg,length_m\n", "hang.csv", "no rows", "at least one"),
    ("mass_kg;length_m\n0;0,06\n", "hang.csv, line 1", "semicolons", "commas"),
    ("mass_kg,lenght_m\n0,1\n", "hang.csv, line 1", 'no column "lenght_m"', '"length_m"'),
    ("mass_kg\n0\n1\n2\n", "hang.csv, line 1", 'column "length_m" is missing', "mass_kg"),
    ("mass_kg,length_m\n0,0.06\n1,0.08\n", "hang.csv", "2 rows", "three"),
    ("mass_kg,length_m\n0,0.06\n1,0.08\n1,0.08\n", "hang.csv", "3 rows with 2 different", "three"),
    ("mass_kg,length_m\n0,0.06\n1,x\n2,0.1\n", "hang.csv, line 3, length_m", 'found "x"', "decimal point"),
    ("mass_kg,length_m\n0,0.06\n1\n2,0.1\n", "hang.csv, line 3", "1 cells under 2", "one cell"),
    ("mass_kg,length_m\n0,0.06\n1,0.08\n\n2,0.07\n", "hang.csv, line 4, length_m", "0.07 m under 2 kg", "grows"),
    ("mass_kg,length_m\n0,0.06\n-1,0.08\n2,0.1\n", "hang.csv, line 3", "-1 kg", "not negative"),
    ("mass_kg,length_m\n0,0.06\n1,0.0601\n2,0.0602\n", "hang.csv", "grows by 0.20 mm", "tell a pull"),
    ("mass_kg,length_m,loading\n0,0.06,up\n1,0.08,op\n2,0.1,down\n", "hang.csv, line 3, loading", "op", "up, down"),
]


@pytest.mark.parametrize(("text", "where", "found", "wanted"), HANG_FAULTS)
def test_faults_of_a_hang_test(faults_with: FaultsWith, text: str, where: str, found: str, wanted: str) -> None:
    faults = faults_with(hang_test=text)
    fault = next(f for f in faults if f.where == where)
    assert found in fault.found
    assert wanted in fault.wanted


def test_what_is_no_text_is_said_to_be_none(tmp_path: Path) -> None:
    (tmp_path / "hang.csv").write_bytes("Gewicht_kg,Länge_m\n".encode("latin-1"))
    faults: list[Fault] = []
    assert read_hang_test(tmp_path / "hang.csv", "hang.csv", 0.0003, faults) is None
    assert faults == [Fault("hang.csv", "it is no text in UTF-8", "save it as CSV in UTF-8")]


def test_hang_test_may_wander_within_its_readings_and_be_unloaded_again(tmp_path: Path) -> None:
    path = tmp_path / "hang.csv"
    path.write_text("mass_kg,length_m,loading\n0,0.0600,up\n1,0.0800,up\n2,0.1000,up\n1,0.0830,down\n0,0.0610,down\n")
    faults: list[Fault] = []
    test = read_hang_test(path, "hang.csv", 0.0003, faults)
    assert faults == []
    assert test is not None
    assert test.loading == ("up", "up", "up", "down", "down")


def test_curve_with_gaps(tmp_path: Path) -> None:
    path = tmp_path / "forecast.csv"
    path.write_text("t_s,tension_N,u_tension_N\n0,0,1\n0.5,,\n1,12.5,1.5\n")
    faults: list[Fault] = []
    curve = read_curve(path, "forecast.csv", faults)
    assert faults == []
    assert curve is not None
    np.testing.assert_array_equal(curve.columns["tension_N"], [0, np.nan, 12.5])


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("t_s\n0\n", "no column with a forecast"),
        ("t_s,tension_N\n0,0\n0,1\n", "does not come after"),
        ("t_s,tension_N,u_speed_m_s\n0,0,1\n", "no column speed_m_s"),
        ("t_s,tension_N,u_tension_N\n0,0,-1\n", "negative"),
        ("t_s,tension\n0,0\n", 'no column "tension"'),
        ("t_s,tension_N\n,0\n", 'found ""'),
    ],
)
def test_faults_of_a_curve(tmp_path: Path, text: str, found: str) -> None:
    path = tmp_path / "forecast.csv"
    path.write_text(text)
    faults: list[Fault] = []
    assert read_curve(path, "forecast.csv", faults) is None
    assert any(found in fault.found for fault in faults)


def test_one_share_serves_both_sides(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("t_s,share\n0,0\n0.3,-0.5\n")
    faults: list[Fault] = []
    table = read_commands(path, "log.csv", faults)
    assert table is not None
    assert table.tolist() == [[0, 0, 0], [0.3, -0.5, -0.5]]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("t_s,share,left_share\n0,0,0\n", "columns are"),
        ("t_s,left_share\n0,0\n", "columns are"),
        ("t_s\n0\n", "columns are"),
        ("t_s,share\n0,80\n", "beyond 1"),
        ("t_s,share\n1,0\n0.5,1\n", "does not come after"),
    ],
)
def test_faults_of_commands(tmp_path: Path, text: str, found: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text)
    faults: list[Fault] = []
    assert read_commands(path, "log.csv", faults) is None
    assert any(found in fault.found for fault in faults)
