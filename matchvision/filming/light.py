"""Light that changes: mains flicker, an exposure that drifts, brightness and tint, as one gain for each row."""

import numpy as np

from matchvision.filming.arrays import Picture
from matchvision.filming.backdrop import linear_from_srgb
from matchvision.filming.scene import Scene
from matchvision.filming.views import row_moments


def changes(scene: Scene) -> bool:
    """Whether the light is anything but white, steady and as bright as usual."""
    light = scene.light
    return bool(light.flicker_ratio or light.drift_ratio or light.brightness != 1 or light.tint.lower() != "#ffffff")


def gains(scene: Scene, pts_s: float) -> Picture:
    """Factor on linear light of each row in the picture of a time, shape (rows, 1, 3).

    Notes
    -----
    A lamp on the mains shines as 1 + a cos(2π f t); over an exposure of length e that leaves
    a · sin(π f e) / (π f e) about the middle, so exposures of whole periods hide it. Brightness, drift and tint are
    factors of their own; the tint keeps the luminance of BT.709.

    Checked by: tests/filming/test_signals.py::test_light_flickers_and_drifts_as_stated
    """
    light, camera = scene.light, scene.camera
    times = row_moments(camera, np.full(camera.size_px[1], pts_s), np.arange(float(camera.size_px[1])))
    ripple = light.flicker_ratio * np.sinc(light.flicker_Hz * camera.exposure_s)
    level = light.brightness * (1 + ripple * np.cos(2 * np.pi * light.flicker_Hz * times))
    level *= 1 + light.drift_ratio * np.sin(2 * np.pi * pts_s / light.drift_period_s)
    tint = linear_from_srgb(light.tint)
    tint = tint / float(tint @ [0.2126, 0.7152, 0.0722])
    return np.asarray(level[:, None, None] * tint, dtype=np.float32)
