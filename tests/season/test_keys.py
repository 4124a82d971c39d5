"""What a run's results depend on."""

from pathlib import Path

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
