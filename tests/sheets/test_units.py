"""Lengths in millimetres, masses in grams, times in milliseconds: said, instead of believed."""

from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from matchvision.errors import SheetError
from matchvision.sheets import load_run
from matchvision.sheets.units import check_units

SHEET: dict[str, Any] = {
    "clock": {"duration_s": 10.0},
    "table": {"length_m": 2.2, "width_m": 1.1, "tag": [{"side_m": 0.12}]},
    "rope": {"length_m": 1.6, "bead_radius_m": 0.009},
    "machine": {
        "heron": {
            "mass_kg": 2.6,
            "hitch": {"at_m": [-0.145, 0.0, 0.055]},
            "marker": [{"radius_m": 0.014, "at_m": [0.09, 0.0, 0.12]}],
            "wheel": [{"radius_m": 0.045, "rim": [{"radius_m": 0.0085, "circle_m": 0.029}]}],
            "start": {"at_m": [-0.7, 0.0]},
        }
    },
}


def change(path: tuple[str | int, ...], value: object) -> dict[str, Any]:
    sheet: Any = deepcopy(SHEET)
    block = sheet
    for key in path[:-1]:
        block = block[key]
    block[path[-1]] = value
    return dict(sheet)


def test_a_table_in_millimetres_is_noticed() -> None:
    (fault,) = check_units(change(("table", "length_m"), 2200))
    assert fault.key == ("table", "length_m")
    assert fault.found == "2200 m is more than any table measures"
    assert fault.wanted == "lengths are in metres: 2200 mm would be 2.2"


@pytest.mark.parametrize(
    ("path", "value", "meant"),
    [
        (("table", "width_m"), 1100, "1100 mm would be 1.1"),
        (("table", "tag", 0, "side_m"), 120, "120 mm would be 0.12"),
        (("rope", "length_m"), 1600.0, "1600 mm would be 1.6"),
        (("rope", "bead_radius_m"), 9, "9 mm would be 0.009"),
        (("machine", "heron", "mass_kg"), 2600, "2600 g would be 2.6"),
        (("machine", "heron", "hitch", "at_m"), [-145, 0, 55], "-145 mm would be -0.145"),
        (("machine", "heron", "marker", 0, "at_m"), [90, 0, 120], "90 mm would be 0.09"),
        (("machine", "heron", "marker", 0, "radius_m"), 14, "14 mm would be 0.014"),
        (("machine", "heron", "wheel", 0, "rim", 0, "circle_m"), 29, "29 mm would be 0.029"),
        (("clock", "duration_s"), 10_000, "10000 ms would be 10"),
    ],
)
def test_other_units_are_noticed_wherever_they_stand(path: tuple[str | int, ...], value: object, meant: str) -> None:
    (fault,) = check_units(change(path, value))
    assert fault.key == path
    assert meant in fault.wanted


def test_what_is_right_or_not_a_number_is_left_alone() -> None:
    assert not list(check_units(SHEET))
    assert not list(check_units(change(("table", "length_m"), "long")))
    assert not list(check_units({"machine": {"heron": {"marker": "none"}}, "table": 3}))


def test_the_whole_sheet_names_them_with_their_lines(tmp_path: Path) -> None:
    sheet = tmp_path / "run.toml"
    clock, table = "[clock]\nstart_s = 0\nduration_s = 8\n", "[table]\nlength_m = 2200\nwidth_m = 1.1\n"
    sheet.write_text('[run]\nname = "n"\nclip = "c.mp4"\n' + clock + table)
    with pytest.raises(SheetError) as refused:
        load_run(sheet)
    assert "line 8, table.length_m: 2200 m is more than any table measures" in refused.value.message()
