"""Engine runs filmed by many cameras and followed once: what the footage gave is kept, the clip is not.

Each run has a camera that only its seed has: place, lens, picture size, exposure, noise; a quarter are held by hand, a
fifth read their rows one after the other. Small pictures, three seconds at 60 frames/s.
"""

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from matchvision.filming import Scene
from matchvision.filming.camera import aim
from matchvision.filming.equipment import Camera, Sway
from matchvision.geometry.camera import project_points
from matchvision.geometry.profile import surface_height
from matchvision.motion import measure_motion
from matchvision.pipeline import attempt, find_clock, real_seconds_per_clip_second
from matchvision.pull import measure_pull
from tests.following import Followed, follow_scene
from tests.pull.engine_runs import (
    Kind,
    Measured,
    PlayedRun,
    invent_extras,
    invent_scene,
    join_truth,
    play_scene,
    state_facts,
)

#: Picture sizes and the bitrate of each [bit/s].
SIZES: Final = (((960, 540), 3_000_000), ((1280, 720), 5_000_000))
FILMED_KINDS: Final[tuple[Kind, ...]] = ("sled", "match", "anchor", "slope", "sled", "match", "patch", "sled", "match")
FIRST_SEED: Final = 1000


def filmed_runs(count: int) -> list[tuple[Kind, int]]:
    """So many runs of all kinds in turn."""
    return [(FILMED_KINDS[k % len(FILMED_KINDS)], FIRST_SEED + k) for k in range(count)]


def play_filmed(kind: Kind, seed: int) -> PlayedRun:
    """The engine's run with the camera of this seed."""
    scene = invent_scene(kind, seed)
    scene = dataclasses.replace(scene, camera=draw_camera(np.random.default_rng([seed, 44]), scene))
    return play_scene(scene, invent_extras(kind, seed), seed)


def follow_filmed(run: PlayedRun, kept: Path) -> Followed:
    """What the footage of a run gives: from ``kept``, else filmed, followed and kept there."""
    return follow_scene(run.scene, run.played.course, kept)


def measure_followed(run: PlayedRun, followed: Followed) -> Measured:
    """Motion and pull of what was followed, by a sheet as wrong as it says."""
    sheet = state_facts(followed.run, run.scene, run.generator)
    slowed = real_seconds_per_clip_second(sheet, followed.facts)
    motion, _ = measure_motion(sheet, followed.tracks, followed.cameras, slowed, followed.rows)
    clock = find_clock(sheet, motion, followed.facts, None, followed.rows)
    pull, note = attempt("pull", lambda: measure_pull(sheet, motion, clock))
    assert pull is not None, note.sentence
    return join_truth(run, sheet, pull, motion, followed.truth)


def draw_camera(draw: np.random.Generator, scene: Scene) -> Camera:
    """A phone at the table's long side with the whole table in view and a margin for unrest."""
    size, bitrate = SIZES[int(draw.random() < 0.3)]
    focal_px = size[0] * float(draw.uniform(0.66, 0.9))
    lens = [focal_px, focal_px * (1 + 0.0015 * float(draw.normal()))]
    centre = (np.array(size) - 1) / 2 + 0.006 * size[0] * draw.normal(size=2)
    bend = draw.normal(size=4) * [0.05, 0.015, 3e-4, 3e-4]
    look_at = np.array([0.0, -0.03, -0.03]) + 0.03 * draw.normal(size=3)
    bearing, rise, roll_deg = draw.uniform(-0.4, 0.4), np.deg2rad(draw.uniform(30, 52)), float(draw.normal())
    away = np.array([np.sin(bearing) * np.cos(rise), -np.cos(bearing) * np.cos(rise), np.sin(rise)])
    sways, reads = draw.random() < 0.25, draw.random() < 0.2
    place = _far_enough(scene, look_at, away, roll_deg, np.array([*lens, *centre, *bend, 0.0]), size)
    return Camera(
        position_m=_three(place),
        look_at_m=_three(look_at),
        f_px=(lens[0], lens[1]),
        size_px=size,
        centre_px=(float(centre[0]), float(centre[1])),
        distortion=(float(bend[0]), float(bend[1]), float(bend[2]), float(bend[3]), 0.0),
        roll_deg=roll_deg,
        exposure_s=1 / float(draw.uniform(120, 500)),
        readout_s=float(draw.uniform(0.008, 0.02)) if reads else 0.0,
        noise_levels=float(draw.uniform(0.8, 1.8)),
        bitrate=bitrate,
        sway=Sway(move_m=float(draw.uniform(0.008, 0.025)), turn_deg=float(draw.uniform(0.3, 1.0))) if sways else None,
    )


def _far_enough(
    scene: Scene, look_at: np.ndarray, away: np.ndarray, roll_deg: float, lens: np.ndarray, size: tuple[int, int]
) -> np.ndarray:
    """The nearest place from which the whole rim of the table is in the picture."""
    half = np.array([scene.table.length_m, scene.table.width_m]) / 2
    x = np.concatenate([np.linspace(-half[0], half[0], 9)] * 2)
    rim = np.column_stack([x, np.repeat([-half[1], half[1]], 9), surface_height(scene.table.profile_m, x)])
    margin_px = 0.035 * size[0]
    for distance_m in np.arange(1.2, 6.0, 0.02):
        place = look_at + distance_m * away
        rotation, shift = aim(place, look_at, roll_deg)
        seen = project_points(np.concatenate([lens, cv2.Rodrigues(rotation)[0].ravel(), shift]), rim)
        if np.all((seen > margin_px) & (seen < np.array(size) - margin_px)):
            break
    return np.asarray(place)


def _three(values: Sequence[float] | np.ndarray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
