"""How well places on the table are known at known height, on clips filmed by many cameras and on the sample clips.

Each clip has a camera of its own: place, lens, picture size. Two things are scored against exact truth, as distances
along the table:

- ``places``: points 0, 50 and 120 mm above the table's surface all over it, projected by the true camera and placed by
  the found one: the camera's error alone, with no marker's;
- ``markers``: the centres of body, bead and rim markers as the whole pipeline tracks and places them.

A moving camera is judged in every frame. Nobody tells the analysis how thick the prints are.
"""

import tempfile
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.scoring import rms
from matchvision.filming import Scene, demo_scene, film, read_scene
from matchvision.filming.camera import aim
from matchvision.filming.equipment import Camera, Sway
from matchvision.filming.scene import Clock
from matchvision.footage import first_look, read_facts
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.motion import measure_motion
from matchvision.records.camera import Cameras
from matchvision.records.sheet import LensSheet, Run
from matchvision.sheets import load_run
from matchvision.table import find_table
from matchvision.table.lens import calibrate_lens, fit_lens
from matchvision.watching import watch

FloatArray = npt.NDArray[np.float64]

SAMPLES: Final = Path(__file__).resolve().parents[1] / "sample_clips"
SAMPLE_CLIPS: Final = ("flat-match", "sled-link", "hitch-slips")
#: What is filmed, whether a lens sheet is at hand, and the error that is allowed [mm].
CASES: Final = {
    ("still", "lens sheet"): 0.7,
    ("still", "none"): 2.0,
    ("ridge", "none"): 1.5,
    ("hand-held", "lens sheet"): 1.5,
    ("hand-held", "none"): 1.5,
    ("ridge, hand-held", "none"): 1.5,
}
#: Cameras for each kind, and the first one's seed.
CLIPS, SEED = 2, 700
#: Heights above the surface at which places are judged [m].
HEIGHTS_M: Final = (0.0, 0.05, 0.12)
_SIZES: Final = ((1280, 720), (1920, 1080))


@dataclass(frozen=True, eq=False)
class Judged:
    """Errors of one clip [m]: along the table, and what was stated (k = 1, root of the sum of both axes)."""

    places_m: FloatArray
    u_places_m: FloatArray
    markers_m: FloatArray


def measure(clips: int = CLIPS, seed: int = SEED) -> pd.DataFrame:
    """Errors [mm rms] by clip, and over all filmed clips of a case."""
    found: dict[tuple[str, str], list[Judged]] = {case: [] for case in CASES}
    for kind in dict.fromkeys(kind for kind, _ in CASES):
        for k in range(clips):
            scene = draw_scene(kind, seed + k)
            with tempfile.TemporaryDirectory() as name:
                film(scene, Path(name))
                for lens in (lens for of, lens in CASES if of == kind):
                    sheet = draw_sheet(scene.camera, seed + k) if lens == "lens sheet" else None
                    found[kind, lens].append(judge(Path(name), sheet))
    rows = []
    for case, judged in found.items():
        rows += [_row(case, f"filmed {seed + k}", [one]) for k, one in enumerate(judged)]
        rows.append(_row(case, "all filmed", judged))
    rows += [_row(("still", "none"), name, [judge(SAMPLES / name, None)]) for name in SAMPLE_CLIPS]
    rows.append(_row(("still", "lens sheet"), "flat-match", [judge(SAMPLES / "flat-match", sample_lens())]))
    rows.append(_row(("hand-held", "none"), "hand-held", [judge(SAMPLES / "hand-held", None)]))
    return pd.DataFrame(rows)


def _row(case: tuple[str, str], clip: str, judged: list[Judged]) -> dict[str, object]:
    places = np.concatenate([j.places_m.ravel() for j in judged])
    u = np.concatenate([j.u_places_m.ravel() for j in judged])
    markers = np.concatenate([j.markers_m.ravel() for j in judged])
    return {
        "camera": case[0],
        "lens": case[1],
        "clip": clip,
        "limit_mm": CASES[case],
        "places_rms_mm": round(1e3 * rms(places), 3),
        "places_u_mm": round(1e3 * rms(u), 3),
        "worst_place_mm": round(1e3 * float(np.nanmax(places)), 2),
        "markers_rms_mm": round(1e3 * rms(markers), 3),
    }


def judge(folder: Path, lens: LensSheet | None) -> Judged:
    """Errors of places and markers in a folder with clip, run sheet and truth."""
    run = replace(load_run(folder), lens=lens)
    watched = watch(run, read_facts(run.clip), None)
    motion, _ = measure_motion(run, watched.tracks, watched.cameras)
    truth = pd.read_csv(folder / "truth.csv").iloc[: len(motion.clip_s)]
    places, u = miss_places(watched.cameras, true_cameras(folder, moves=watched.cameras.moves), run)
    names = [plan.name.replace(".", "_") for plan in watched.tracks.plans]
    x, y = (truth[[f"{n}_{axis}" for n in names]].to_numpy() for axis in "xy")
    apart = np.hypot(motion.places.x_m - x, motion.places.y_m - y)
    return Judged(places, u, np.where(watched.tracks.state == 0, apart, np.nan))


def judge_camera(folder: Path, lens: LensSheet | None, frames: int = 60) -> tuple[FloatArray, FloatArray]:
    """Errors of places and their stated uncertainty for a still camera, from so many frames of a first look."""
    run = load_run(folder)
    view, _ = find_table(first_look(read_facts(run.clip), frames), run.sheet, lens)
    camera = view.camera
    still = np.zeros(1, dtype=np.int64)
    cameras = Cameras(
        camera.width_px, camera.height_px, False, still, camera.parameters[None], camera.covariance[None], still == 0
    )
    return miss_places(cameras, true_cameras(folder, moves=False), run)


def miss_places(cameras: Cameras, truth: FloatArray, run: Run) -> tuple[FloatArray, FloatArray]:
    """Distances (n, p) by which places over the table in view are missed, and their stated uncertainty [m]."""
    table = run.sheet.table
    half = 0.45 * np.array([table.length_m, table.width_m])
    grid = np.meshgrid(np.linspace(-half[0], half[0], 9), np.linspace(-half[1], half[1], 5), HEIGHTS_M, indexing="ij")
    places = np.stack(grid, axis=-1).reshape(-1, 3)
    places[:, 2] += surface_height(table.profile_m, places[:, 0])
    places = np.broadcast_to(places, (len(truth), *places.shape))
    pixels = project_points(truth[:, None], places)
    inside = np.all((pixels >= 0) & (pixels <= np.array([cameras.width_px, cameras.height_px]) - 1), axis=-1)
    placed = place_with_uncertainty(
        cameras.parameters[: len(truth)],
        cameras.covariance[: len(truth)],
        pixels,
        0 * pixels,
        places[..., 2],
        np.zeros(places.shape[:2]),
    )
    apart = np.hypot(placed.x_m - places[..., 0], placed.y_m - places[..., 1])
    u = np.sqrt(np.trace(placed.cov_camera, axis1=-2, axis2=-1))
    return np.where(inside, apart, np.nan), np.where(inside, u, np.nan)


def true_cameras(folder: Path, *, moves: bool) -> FloatArray:
    """The cameras (n, 15) that filmed; one row for a still one."""
    facts = pd.read_json(folder / "truth.json", typ="series")["camera"]
    k = facts["K"]
    lens = [k[0][0], k[1][1], k[0][2], k[1][2], *facts["dist_k1_k2_p1_p2_k3"]]
    if not moves:
        return np.array([[*lens, *facts["rvec"], *facts["t_table_to_camera"]]])
    truth = pd.read_csv(folder / "truth.csv")
    poses = truth[[f"cam_{a}" for a in ("rx", "ry", "rz", "tx", "ty", "tz")]].to_numpy(float)
    return np.concatenate([np.tile(lens, (len(poses), 1)), poses], axis=1)


def draw_scene(kind: str, seed: int) -> Scene:
    """A second or two of an invented run, seen by a camera that only this seed has."""
    rng = np.random.default_rng([seed, 5])
    if "ridge" in kind:
        scene = read_scene(Path(str(files("matchvision.filming") / "scenes" / "match-over-ridge.toml")))
        scene = replace(scene, seed=seed, hand=(), sound=None, lamp=None)
    else:
        scene = demo_scene(seed)
    hand_held = "hand-held" in kind
    camera = _draw_camera(rng, scene)
    if hand_held:
        camera = replace(camera, sway=Sway(move_m=0.025, turn_deg=1.0))
    clock = Clock(start_s=0.1, duration_s=2.4 if hand_held else 0.75, after_s=0.15)
    return replace(scene, clock=clock, camera=camera)


def _draw_camera(rng: np.random.Generator, scene: Scene) -> Camera:
    """A phone that stands at the table's long side and has all of the table in view, with a margin for sway."""
    size = _SIZES[int(rng.random() < 0.3)]
    f = size[0] * rng.uniform(0.66, 0.9)
    f_px = (float(f), float(f * (1 + 0.0015 * rng.normal())))
    centre = (np.array(size) - 1) / 2 + 0.006 * size[0] * rng.normal(size=2)
    terms = rng.normal(size=4) * [0.05, 0.015, 3e-4, 3e-4]
    lens = np.array([*f_px, *centre, *terms, 0.0])
    half = np.array([scene.table.length_m, scene.table.width_m]) / 2
    x = np.concatenate([np.linspace(-half[0], half[0], 9)] * 2)
    rim = np.column_stack([x, np.repeat([-half[1], half[1]], 9), surface_height(scene.table.profile_m, x)])
    look_at = np.array([0.0, -0.03, -0.03]) + 0.03 * rng.normal(size=3)
    bearing, rise, roll_deg = rng.uniform(-0.4, 0.4), np.deg2rad(rng.uniform(30, 52)), rng.normal()
    away = np.array([np.sin(bearing) * np.cos(rise), -np.cos(bearing) * np.cos(rise), np.sin(rise)])
    margin_px = 0.035 * size[0]
    for distance in np.arange(1.2, 6.0, 0.02):
        place = look_at + distance * away
        rotation, shift = aim(place, look_at, roll_deg)
        vector, _ = cv2.Rodrigues(rotation)
        camera = np.concatenate([lens, vector.ravel(), shift])
        seen = project_points(camera, rim)
        if np.all((seen > margin_px) & (seen < np.array(size) - margin_px)):
            break
    return Camera(
        position_m=(float(place[0]), float(place[1]), float(place[2])),
        look_at_m=(float(look_at[0]), float(look_at[1]), float(look_at[2])),
        f_px=f_px,
        size_px=size,
        centre_px=(float(centre[0]), float(centre[1])),
        distortion=(float(terms[0]), float(terms[1]), float(terms[2]), float(terms[3]), 0.0),
        roll_deg=float(roll_deg),
        bitrate=4_000_000 if size[0] == 1280 else 8_000_000,
    )


def draw_sheet(camera: Camera, seed: int) -> LensSheet:
    """The lens sheet that a dozen stills of a chessboard would give: corners to 0.1 px, and `fit_lens`."""
    rng = np.random.default_rng([seed, 6])
    points = np.zeros((54, 3))
    points[:, :2] = 0.03 * (np.mgrid[0:9, 0:6].T.reshape(-1, 2) - [4, 2.5])
    size = np.array(camera.size_px)
    lens = [*camera.f_px, *(camera.centre_px or (size - 1) / 2), *camera.distortion]
    views: dict[str, FloatArray] = {}
    while len(views) < 12:
        pose = [*rng.uniform(-0.6, 0.6, size=3), *rng.uniform([-0.15, -0.08, 0.35], [0.15, 0.08, 0.55])]
        seen = project_points(np.array([*lens, *pose]), points)
        if np.all((seen > 5) & (seen < size - 5)):
            views[str(len(views))] = seen + 0.1 * rng.normal(size=seen.shape)
    return fit_lens(views, camera.size_px, (9, 6), 0.03).sheet


def sample_lens() -> LensSheet:
    """The lens sheet of the sample stills."""
    stills = {p.name: cv2.imread(str(p), cv2.IMREAD_GRAYSCALE) for p in sorted((SAMPLES / "lens").glob("*.png"))}
    return calibrate_lens({name: np.asarray(still, dtype=np.uint8) for name, still in stills.items()}, (9, 6), 0.030)
