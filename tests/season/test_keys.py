"""What a run's results depend on."""

from pathlib import Path

import pytest

from matchvision.season import keys
from matchvision.season.keys import key_of
from matchvision.sheets import load_run
from tests.season.made import lay_out


def test_what_changes_a_result_changes_its_key(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 1) / "r0"
    sheet = folder / "run.toml"
    text = sheet.read_text()
    (folder / "log.csv").write_text("t_s,share\n0,1\n5,1\n")
    sheet.write_text(text.replace("[machine.curlew]\n", '[machine.curlew]\ncommands = "log.csv"\n'))
    first = key_of(load_run(folder), "a" * 64)
    assert key_of(load_run(folder), "a" * 64) == first
    assert key_of(load_run(folder), "b" * 64) != first
    (folder / "log.csv").write_text("t_s,share\n0,1\n5,0\n")
    second = key_of(load_run(folder), "a" * 64)
    assert second != first
    sheet.write_text(sheet.read_text().replace("mass_kg = 2.5", "mass_kg = 2.6", 1))
    assert key_of(load_run(folder), "a" * 64) not in (first, second)


def test_places_and_names_of_files_do_not_matter(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 1) / "r0"
    first = key_of(load_run(folder), "a" * 64)
    folder.rename(tmp_path / "elsewhere")
    assert key_of(load_run(tmp_path / "elsewhere"), "a" * 64) == first


def test_another_state_of_the_program_has_other_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = load_run(lay_out(tmp_path / "s", 1) / "r0")
    first = key_of(run, "a" * 64)
    monkeypatch.setattr(keys, "name_analysis", lambda: "f" * 64)
    assert key_of(run, "a" * 64) != first


def test_files_that_change_places_change_the_key(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 1) / "r0"
    sheet = folder / "run.toml"
    text = sheet.read_text().replace("[machine.curlew]\n", '[machine.curlew]\ncommands = "a.csv"\n')
    sheet.write_text(text.replace("[machine.dunlin]\n", '[machine.dunlin]\ncommands = "b.csv"\n'))
    logs = ("t_s,share\n0,1\n5,1\n", "t_s,share\n0,1\n5,0\n")
    found = []
    for first, second in (logs, logs[::-1]):
        (folder / "a.csv").write_text(first)
        (folder / "b.csv").write_text(second)
        found.append(key_of(load_run(folder), "a" * 64))
    assert found[0] != found[1]
