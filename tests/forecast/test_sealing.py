"""A forecast's fingerprint changes with what it says and with nothing else."""

import hashlib
from pathlib import Path

import pytest

from matchvision.errors import CannotMeasure
from matchvision.forecast import find_seal, seal_forecast
from matchvision.forecast.sealing import canonical_text
from matchvision.sheets import load_team

SHEET = """\
[machine.heron]
home = "-x"
mass_kg = 2.5
[forecast.heron]
gear_ratio = { value = 236, u = 1 }
motors = 2
win_chance = 0.7
curve = "heron.csv"
"""
CURVE = "t_s,position_m\n0,0\n1,0.25\n"


def seal_of(folder: Path, text: str = SHEET, curve: str = CURVE) -> str:
    (folder / "heron.toml").write_text(text)
    (folder / "heron.csv").write_text(curve)
    return seal_forecast(load_team(folder / "heron.toml"))["heron"]


@pytest.mark.parametrize(
    ("old", "new"), [("236", "237"), ("u = 1", "u = 2"), ("2.5", "2.51"), ("0.7", "0.71"), ("motors = 2", "motors = 3")]
)
def test_one_changed_digit_changes_the_fingerprint(tmp_path: Path, old: str, new: str) -> None:
    assert seal_of(tmp_path, SHEET.replace(old, new)) != seal_of(tmp_path)


def test_one_changed_digit_of_the_curve_changes_it(tmp_path: Path) -> None:
    assert seal_of(tmp_path, curve=CURVE.replace("0.25", "0.26")) != seal_of(tmp_path)


@pytest.mark.parametrize(
    "text",
    [
        "# our forecast\n" + SHEET.replace(" = ", "="),
        SHEET.replace("motors = 2\nwin_chance = 0.7\n", "win_chance = 0.70 # sure\n\nmotors = 2\n"),
        SHEET.replace("236", "2.36e2"),
        SHEET.replace('"-x"', '"+x"'),
    ],
)
def test_formatting_and_the_draw_do_not_change_it(tmp_path: Path, text: str) -> None:
    assert seal_of(tmp_path, text) == seal_of(tmp_path)


def test_layout_of_the_curve_does_not_change_it(tmp_path: Path) -> None:
    assert seal_of(tmp_path, curve="t_s,position_m\n0.0,0.00\n1.0,2.5e-1\n") == seal_of(tmp_path)


def test_logged_fingerprint_is_found(tmp_path: Path) -> None:
    seal = seal_of(tmp_path)
    seals = {"heron": seal}
    assert find_seal(seals, f" {seal[:32].upper()} {seal[32:]}\n") == "heron"
    assert find_seal(seals, seal[:-1] + ("0" if seal[-1] != "0" else "1")) is None


def test_fingerprint_is_sha_256_of_the_canonical_text(tmp_path: Path) -> None:
    seal = seal_of(tmp_path)
    text = canonical_text(load_team(tmp_path / "heron.toml"), "heron")
    assert text == (
        '{"curve":{"position_m":[0.0,0.25],"t_s":[0.0,1.0]},"forecast":{"gear_ratio":{"u":1.0,"value":236.0},'
        '"motors":2,"win_chance":0.7},"machine":{"mass_kg":2.5},"name":"heron"}'
    )
    assert seal == hashlib.sha256(f"matchvision forecast seal 1\n{text}".encode()).hexdigest()


def test_without_a_forecast_nothing_is_sealed(tmp_path: Path) -> None:
    (tmp_path / "bare.toml").write_text('[machine.heron]\nhome = "-x"\n')
    with pytest.raises(CannotMeasure, match="no forecast"):
        seal_forecast(load_team(tmp_path / "bare.toml"))


def test_what_is_no_fingerprint_is_said_to_be_none() -> None:
    with pytest.raises(CannotMeasure, match="no fingerprint: it has 3 characters"):
        find_seal({"heron": "0" * 64}, "a b c")
    with pytest.raises(CannotMeasure, match="no fingerprint"):
        find_seal({"heron": "0" * 64}, "g" * 64)
