"""The forecast command: files, JSON, fingerprints, two teams."""

import json
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
