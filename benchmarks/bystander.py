"""Clips without tags or stickers, from clicked points and rope ends alone: verdict, margin, honesty of their u."""

import json
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.filming import Scene, demo_scene, film, project_points
from matchvision.filming.camera import lens_of
from matchvision.filming.views import poses_of
from matchvision.pipeline import analyze
from matchvision.records.mends import End, Mends
from matchvision.sheets import load_run
from matchvision.sheets.beside import format_toml
from matchvision.sheets.mends import write_mends

FloatArray = npt.NDArray[np.float64]

SEEDS = tuple(range(1, 11))
DRAWS = 3
#: Pictures in which the rope's ends are set, and whether the sheet gives the hitches' heights (3 mm wrong, k = 1).
CASES = tuple((pictures, known) for known in (True, False) for pictures in (3, 7))
U_CLICK_PX, U_HEIGHT_M = 0.7, 0.003
LENGTH_S = 3.0
#: Between the least that a rope over a table needs and the top of such a machine.
HITCH_HEIGHTS_M = (0.01, 0.095)


def measure() -> pd.DataFrame:
    """One row a case, over all matches and draws of the clicks."""
    found: dict[tuple[int, bool], list[tuple[float, float, float, float, bool]]] = {case: [] for case in CASES}
    for seed in SEEDS:
        with tempfile.TemporaryDirectory() as scratch:
            folder, scene = Path(scratch), plain_scene(seed)
            film(scene, folder)
            for case in CASES:
                for draw in range(DRAWS):
                    rng = np.random.default_rng([seed, draw, *map(int, case)])
                    found[case].append(analyze_clicks(folder, scene, *case, rng))
    return pd.DataFrame([summarize(case, np.array(rows)) for case, rows in found.items()])


def plain_scene(seed: int) -> Scene:
    """A demo match without tags or link, filmed at 960 × 540 and 30 pictures a second.

    What nobody knows beforehand is another in every match: the hitches' heights, anywhere on such machines, and the
    phone's lens. Beside matches that all have the same, stated uncertainties cannot be told to be too wide.
    """
    scene, draw = demo_scene(seed), np.random.default_rng([seed, 29])
    focal_px, uneven = 744.0 * float(np.exp(draw.normal(0.0, 0.08))), 1.0 + float(draw.normal(0.0, 0.002))
    k1, k2 = (float(draw.normal(0.0, spread)) for spread in (0.08, 0.03))
    camera = replace(
        scene.camera,
        size_px=(960, 540),
        f_px=(focal_px, focal_px * uneven),
        centre_px=(479.5 + float(draw.normal(0.0, 8.0)), 269.5 + float(draw.normal(0.0, 8.0))),
        distortion=(k1, k2, 0.0, 0.0, 0.0),
        frames_per_s=30.0,
        subframes=1,
    )
    machines = {
        name: replace(machine, hitch_m=(*machine.hitch_m[:2], float(draw.uniform(*HITCH_HEIGHTS_M))))
        for name, machine in scene.machine.items()
    }
    clock = replace(scene.clock, start_s=0.4, duration_s=LENGTH_S, after_s=0.2)
    rope = replace(scene.rope, link=None)
    table = replace(scene.table, tag=())
    return replace(scene, camera=camera, machine=machines, clock=clock, rope=rope, table=table, thing=())


def analyze_clicks(
    folder: Path, scene: Scene, pictures: int, heights_known: bool, rng: np.random.Generator
) -> tuple[float, float, float, float, bool]:
    """Error and u of the margin, and of the rope on +x in some picture between [mm]; whether the winner is right.

    NaN where no margin is given.
    """
    truth = pd.read_csv(folder / "truth.csv")
    verdict = json.loads((folder / "truth.json").read_text())["verdict"]
    write_clicks(folder, scene, pictures, heights_known, rng)
    analysis = analyze(load_run(folder))
    ruling, rope = analysis.verdict.ruling, analysis.motion.rope
    if ruling is None or rope is None or ruling.winner is None:
        return np.nan, np.nan, np.nan, np.nan, False
    right = ruling.winner == verdict["winner"]
    margin = 1000 * ruling.margin_m if right else -1000 * ruling.margin_m
    known = np.flatnonzero(np.isfinite(rope.u_on_plus_x_m))
    at_row = int(rng.choice(known))
    off = 1000 * (rope.on_plus_x_m[at_row] - truth["rope_plus_x_m"].iloc[at_row])
    u_off = 1000 * rope.u_on_plus_x_m[at_row]
    return margin - verdict["margin_mm"], 1000 * ruling.u_margin_m, float(off), float(u_off), right


def write_clicks(folder: Path, scene: Scene, pictures: int, heights_known: bool, rng: np.random.Generator) -> None:
    """The sheet and the mends that a person would leave who clicks six points, and both ends in some pictures."""
    truth = pd.read_csv(folder / "truth.csv")
    lens, pose = lens_of(scene.camera), poses_of(scene, np.zeros(1))

    def click(point_m: FloatArray) -> tuple[float, float]:
        column, row = project_points(point_m[None, None], lens, pose)[0, 0] + rng.normal(0.0, U_CLICK_PX, 2)
        return float(column), float(row)

    half = np.array([scene.table.length_m, scene.table.width_m]) / 2
    corners = [(x, y) for x in (-1, 1) for y in (-1, 1)] + [(0, -1), (0, 1)]
    points = []
    for k, corner in enumerate(corners):
        at = np.array([*(half * corner), 0.0])
        points.append({"name": f"{k}", "at_m": at[:2].tolist(), "pixel": list(click(at)), "u_px": U_CLICK_PX})
    machines: dict[str, dict[str, object]] = {name: {"home": machine.home} for name, machine in scene.machine.items()}
    if heights_known:
        for name, machine in scene.machine.items():
            x, y, z = machine.hitch_m
            machines[name]["hitch"] = {"at_m": [x, y, z + float(rng.normal(0.0, U_HEIGHT_M))]}
    sheet = {
        "run": {"name": "bystander", "clip": "clip.mp4"},
        "clock": {"start_s": scene.clock.start_s, "duration_s": scene.clock.duration_s},
        "table": {"length_m": scene.table.length_m, "width_m": scene.table.width_m, "point": points},
        "rope": {"length_m": scene.rope.length_m, "ends": list(scene.rope.ends)},
        "machine": machines,
    }
    (folder / "run.toml").write_text(format_toml(sheet))
    first, last = (int(np.argmin(np.abs(truth["pts_s"] - at_s))) for at_s in (scene.clock.start_s, scene.end_s))
    ends = []
    for frame in np.linspace(first, last, pictures).round().astype(int):
        for name in scene.rope.ends:
            place = truth.loc[frame, [f"{name}_hitch_{axis}" for axis in "xyz"]].to_numpy(dtype=np.float64)
            ends.append(End(do="end", end=name, frame=int(frame), pixel=click(place), u_px=U_CLICK_PX))
    write_mends(folder / "mends.toml", Mends(mend=tuple(ends)))


def summarize(case: tuple[int, bool], rows: FloatArray) -> dict[str, object]:
    """Rms errors beside stated uncertainties, and how many lie inside 95 %."""
    error, u, off, u_off, right = rows.T
    return {
        "pictures": case[0],
        "heights_known": case[1],
        "runs": len(rows),
        "winner_right": float(np.mean(right)),
        "margin_rms_mm": float(np.sqrt(np.nanmean(error**2))),
        "margin_U95_mm": float(1.96 * np.nanmean(u)),
        "margin_rms_over_u": float(np.sqrt(np.nanmean((error / u) ** 2))),
        "margin_inside_95": float(np.mean(np.abs(error) < 1.96 * u)),
        "between_rms_mm": float(np.sqrt(np.nanmean(off**2))),
        "between_rms_over_u": float(np.sqrt(np.nanmean((off / u_off) ** 2))),
        "between_inside_95": float(np.mean(np.abs(off) < 1.96 * u_off)),
    }
