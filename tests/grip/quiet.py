"""Minutes in which nothing happens, with every part on the table that could do something."""

from dataclasses import replace

import numpy as np

from matchvision.filming import Scene, play
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.records.events import Event
from tests.grip.stories import Story, anchored_base, driven, found_in_points, short_match

#: Pictures of 640 × 360 at 20 a second: many minutes can be filmed in a few.
SIZE_PX, RATE_PER_S, CLIP_S = (640, 360), 20.0, 50.0


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


def quiet_points(seed: int, duration_s: float) -> list[Event]:
    """Every event claimed in it from points with white noise of 0.17 px."""
    scene = quiet_scene(seed, duration_s)
    return list(found_in_points(Story("quiet", scene), play(scene), np.random.default_rng(seed)))
