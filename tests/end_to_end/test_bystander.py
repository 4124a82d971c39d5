"""A bystander's clip without tags or stickers: table points and the rope's ends set by hand give the verdict."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from matchvision.cli.telling import find_shortfalls
from matchvision.filming import film
from matchvision.pipeline import analyze
from matchvision.records.mends import End, Mends
from matchvision.records.results import Analysis
from matchvision.sheets import load_run
from matchvision.sheets.beside import format_toml
from matchvision.sheets.mends import write_mends
from tests.desk.clicking import pixel_of
from tests.desk.filmed import small_scene

pytestmark = pytest.mark.slow

U_PX = 0.7
SHEET = """
[run]
name = "from the third row"
clip = "clip.mp4"
[clock]
start_s = 0.4
duration_s = 2.5
[table]
length_m = 2.2
width_m = 1.1
[rope]
length_m = 0.94
ends = ["heron", "plover"]
[machine.heron]
home = "-x"
{heron}
[machine.plover]
home = "+x"
{plover}
"""
HITCHES = {"heron": "hitch = { at_m = [-0.145, 0.0, 0.052] }", "plover": "hitch = { at_m = [-0.145, 0.0, 0.056] }"}


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bystander")
    scene = small_scene(1, length_s=2.5)
    film(replace(scene, rope=replace(scene.rope, link=None)), folder)
    return folder


def analyzed(folder: Path, pictures: int, hitches: dict[str, str], seed: int) -> Analysis:
    """Clicks on what is truly there, each off by what it is stated to be good to."""
    noise = np.random.default_rng(seed)
    scene, truth = small_scene(1, length_s=2.5), pd.read_csv(folder / "truth.csv")

    def click(point_m: tuple[float, float, float]) -> tuple[float, float]:
        column, row = pixel_of(scene, point_m) + noise.normal(0.0, U_PX, 2)
        return float(column), float(row)

    corners = [(x, y) for x in (-1.1, 1.1) for y in (-0.55, 0.55)] + [(0.0, -0.55), (0.0, 0.55)]
    points = [
        {"name": f"point {k}", "at_m": list(at), "pixel": list(click((*at, 0.0))), "u_px": U_PX}
        for k, at in enumerate(corners)
    ]
    (folder / "run.toml").write_text(SHEET.format(**{name: hitches.get(name, "") for name in ("heron", "plover")}))
    (folder / "desk.toml").write_text(format_toml({"table": {"point": points}}))
    first, last = (int(np.argmin(np.abs(truth["pts_s"] - at_s))) for at_s in (0.4, 2.9))
    ends = [
        End(
            do="end",
            end=name,
            frame=int(frame),
            pixel=click(tuple(truth.loc[frame, [f"{name}_hitch_{axis}" for axis in "xyz"]])),
            u_px=U_PX,
        )
        for frame in np.linspace(first, last, pictures).round()
        for name in ("heron", "plover")
    ]
    write_mends(folder / "mends.toml", Mends(mend=tuple(ends)))
    return analyze(load_run(folder))


@pytest.mark.parametrize(("pictures", "hitches"), [(5, HITCHES), (4, {})], ids=["known heights", "unknown heights"])
def test_share_and_verdict_lie_within_their_uncertainty(filmed: Path, pictures: int, hitches: dict[str, str]) -> None:
    analysis = analyzed(filmed, pictures, hitches, seed=6)
    truth = json.loads((filmed / "truth.json").read_text())["verdict"]
    ruling = analysis.verdict.ruling
    assert ruling is not None
    assert ruling.winner == truth["winner"]
    assert ruling.sure
    assert abs(1000 * ruling.margin_m - truth["margin_mm"]) < 1.96 * 1000 * ruling.u_margin_m
    assert ruling.u_margin_m < (0.004 if hitches else 0.012)
    rope = analysis.motion.rope
    assert rope is not None
    plus = pd.read_csv(filmed / "truth.csv")["rope_plus_x_m"].to_numpy()[: len(rope.on_plus_x_m)]
    scaled = (rope.on_plus_x_m - plus) / rope.u_on_plus_x_m
    known = np.isfinite(scaled)
    assert known.sum() > 70
    # One run and few clicks: its errors go together, so only gross dishonesty would show.
    assert np.mean(np.abs(scaled[known]) < 1.96) > 0.85
    assert np.sqrt(np.mean(scaled[known] ** 2)) < 1.4
    said = " ".join(note.sentence for note in analysis.notes)
    assert "ends of the rope set" in said
    assert "its ends alone" in said
    # Nobody who sets ends by hand for want of markers asked for markers.
    assert find_shortfalls(analysis) == ()
