"""The forecast command: files, JSON, fingerprints, two teams."""

import json
import re
from pathlib import Path

from tests.cli.conftest import Type
from tests.sheets.test_joining import SHARED, team

SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_forecast_as_files_and_json(type_in: Type, in_folder: Path) -> None:
    result = type_in("forecast", str(SAMPLES / "flat-match"), "--samples", "16", "--out", "ahead", "--json")
    assert result.exit_code == 0
    told = json.loads(result.output)
    assert told["winner"] == "plover"
    low, high = told["winner_chance_sampling_95"]
    assert low < told["win_chance"]["plover"] < high
    assert len(told["over_time"]["tension_N"]) == len(told["over_time"]["t_s"])
    assert told["over_time"]["heron.limit_grip_ratio"][-1] > 0.5
    assert {path.name for path in (in_folder / "ahead").iterdir()} == {"forecast.svg", "forecast.png", "forecast.csv"}


def test_seal_and_two_teams(type_in: Type, in_folder: Path) -> None:
    for name, text in (("heron", team("heron", 0.0022)), ("plover", team("plover", 0.0026)), ("table", SHARED)):
        (in_folder / f"{name}.toml").write_text(text)
    sealed = type_in("forecast", "heron.toml", "plover.toml", "--seal")
    assert sealed.exit_code == 0
    assert "proves nothing" in sealed.output
    first = sealed.output.split()[0]
    assert type_in("forecast", "heron.toml", "--logged", first).exit_code == 0
    assert type_in("forecast", "plover.toml", "--logged", first).exit_code == 1
    told = json.loads(type_in("forecast", "heron.toml", "plover.toml", "--seal", "--json").stdout)["fingerprints"]
    assert [(one["machine"], one["logged"]) for one in told] == [("heron", None), ("plover", None)]
    assert told[0]["sha256"] == first
    for name, exit_code in (("heron", 0), ("plover", 1)):
        logged = type_in("forecast", f"{name}.toml", "--logged", first.upper(), "--json")
        assert logged.exit_code == exit_code
        assert json.loads(logged.stdout)["fingerprints"][0]["logged"] is (exit_code == 0)
    joined = type_in(
        "forecast", "heron.toml", "plover.toml", "--table", "table.toml", "--plus", "heron", "--samples", "16"
    )
    assert joined.exit_code == 0
    assert "plover is expected to win" in joined.output
    assert "heron limit" in joined.output
    same = type_in("forecast", "heron.toml", "heron.toml", "--table", "table.toml")
    assert same.exit_code == 2
    assert "machine.heron" in same.output


def test_a_teams_own_part_of_a_sheet_is_sealed_and_found(type_in: Type, in_folder: Path) -> None:
    whole = (SAMPLES / "flat-match" / "run.toml").read_text(encoding="utf-8")
    parts: dict[str, list[str]] = {name: [] for name in ("heron", "plover", "table")}
    for block in re.split(r"^(?=\[)", whole, flags=re.MULTILINE):
        named = re.match(r"\[+(?:machine|forecast)\.(\w+)", block)
        if not block.startswith("[run]"):
            parts[named[1] if named else "table"].append(block)
    for name, blocks in parts.items():
        (in_folder / f"{name}.toml").write_text("".join(blocks).replace('ends = ["heron", "plover"]\n', ""))
    alone = type_in("forecast", "heron.toml", "--seal")
    assert alone.exit_code == 0, alone.output
    assert "colour" in (in_folder / "heron.toml").read_text()
    fingerprint = alone.output.split()[0]
    beside = type_in("forecast", "heron.toml", "plover.toml", "--seal", "--table", "table.toml")
    assert beside.output.split()[0] == fingerprint
    assert type_in("forecast", str(SAMPLES / "flat-match"), "--logged", fingerprint).exit_code == 0
    for more in ((), ("--table", "table.toml")):
        found = type_in("forecast", "heron.toml", "--logged", fingerprint, *more)
        assert found.exit_code == 0
        assert "heron in heron.toml is the one" in found.output
    (in_folder / "table.toml").write_text('[colour.red]\nsrgb = "#d7231e"\n')
    lacking = type_in("forecast", "heron.toml", "--seal", "--table", "table.toml")
    assert lacking.exit_code == 2
    assert 'the colour "green" is not defined' in lacking.output
