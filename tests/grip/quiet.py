"""Minutes in which nothing happens, with every part on the table that could do something."""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.filming import Scene, film, play
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.pipeline import analyze
from matchvision.records.events import Event
from matchvision.records.tracks import Tracks
from matchvision.sheets import load_run
from tests.grip.stories import Story, anchored_base, driven, found_in_points, short_match

FloatArray = npt.NDArray[np.float64]

#: Pictures of 640 × 360 at 20 a second: many minutes can be filmed in a few.
SIZE_PX, RATE_PER_S, CLIP_S = (640, 360), 20.0, 50.0
SEEDS: Final = range(101, 113)


def quiet_scene(seed: int, duration_s: float = CLIP_S) -> Scene:
    """Heron with its drive off beside a wall, plover on an anchor with an arm drawn in; nobody moves."""
    scene = short_match(seed, duration_s)
    size = scene.camera.size_px
    ratio = SIZE_PX[0] / size[0]
    centre = scene.camera.centre_px or (size[0] / 2, size[1] / 2)
    camera = replace(
        scene.camera, size_px=SIZE_PX, frames_per_s=RATE_PER_S, bitrate=1_000_000,
        f_px=(ratio * scene.camera.f_px[0], ratio * scene.camera.f_px[1]),
        centre_px=(ratio * (centre[0] + 0.5) - 0.5, ratio * (centre[1] + 0.5) - 0.5),
    )  # fmt: skip
    heron = driven(scene.machine["heron"], ((0.0, 0.0), (duration_s, 0.0)))
    arm = Arm(stroke_m=0.15, mass_kg=0.2, at_s=1000.0, lasts_s=0.4)
    plover = anchored_base(scene, Anchor(holding_N=30.0), arm)
    wall = Wall(owner="plover", at_m=(-0.86, heron.y_m), size_m=(0.04, 0.3, 0.08))
    return replace(scene, camera=camera, machine={"heron": heron, "plover": plover}, wall=(wall,))


@dataclass(frozen=True, eq=False)
class RealNoise:
    """What tracked markers of a clip in which nothing moves scatter by, (n, m, 2) [px], and their stated u."""

    off_px: FloatArray
    u_px: FloatArray

    def onto(self, tracks: Tracks, generator: np.random.Generator) -> Tracks:
        """Tracks without noise with pieces of this one's, each marker with one marker's, begun at some moment."""
        n, m = tracks.col_px.shape
        length, count = self.off_px.shape[:2]
        rows = (generator.integers(length, size=(1, m)) + np.arange(n)[:, None]) % length
        donor = generator.integers(count, size=(1, m))
        off, u = self.off_px[rows, donor], self.u_px[rows, donor]
        seen = np.isfinite(tracks.col_px)
        return replace(
            tracks, col_px=tracks.col_px + off[..., 0], row_px=tracks.row_px + off[..., 1],
            u_col_px=np.where(seen, u[..., 0], np.nan), u_row_px=np.where(seen, u[..., 1], np.nan),
        )  # fmt: skip


def film_quiet_clip(seed: int) -> tuple[list[Event], RealNoise]:
    """Events claimed in a filmed quiet clip, and the noise that its markers' tracks have."""
    with tempfile.TemporaryDirectory() as scratch:
        film(quiet_scene(seed), Path(scratch))
        analysis = analyze(load_run(Path(scratch)))
    tracks = analysis.motion.tracks
    places = np.stack([tracks.col_px, tracks.row_px], axis=-1)
    u = np.stack([tracks.u_col_px, tracks.u_row_px], axis=-1)
    whole = np.isfinite(places).all(axis=(0, 2))
    off = places[:, whole] - np.median(places[:, whole], axis=0)
    return [] if analysis.grip is None else list(analysis.grip.events), RealNoise(off, u[:, whole])


def quiet_minutes() -> float:
    """How long the quiet time lasts [min]."""
    return len(SEEDS) * CLIP_S / 60


def quiet_events() -> list[Event]:
    """Every event claimed in the quiet time: one filmed clip, and points with that clip's own noise for the rest."""
    first, *others = SEEDS
    found, noise = film_quiet_clip(first)
    for seed in others:
        scene = quiet_scene(seed)
        found += found_in_points(Story("quiet", scene), play(scene), np.random.default_rng(seed), noise.onto)
    return found


def quiet_points(seed: int, duration_s: float) -> list[Event]:
    """The same from points with white noise of 0.17 px."""
    scene = quiet_scene(seed, duration_s)
    return list(found_in_points(Story("quiet", scene), play(scene), np.random.default_rng(seed)))
