"""A hand's colour over a grey table is seen where it is; light that changes and shadows are not."""

import numpy as np

from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet
from matchvision.table import CoverWatch

WIDTH_PX, HEIGHT_PX = 480, 270
TABLE = TableSheet(length_m=2.0, width_m=1.0)


def camera_above() -> Camera:
    """Straight down from 2 m, the table's x to the right and its y up the picture."""
    turn = np.array([np.pi, 0.0, 0.0])
    shift = -rotation_matrix(turn) @ np.array([0.0, 0.0, 2.0])
    lens = [400.0, 400.0, WIDTH_PX / 2, HEIGHT_PX / 2, 0.0, 0.0, 0.0, 0.0, 0.0]
    return Camera(WIDTH_PX, HEIGHT_PX, np.array([*lens, *turn, *shift]), np.zeros((15, 15)))


def test_hand_is_seen_where_it_is_and_a_shadow_only_shades() -> None:
    camera = camera_above()
    generator = np.random.default_rng(1)
    watch = CoverWatch(TABLE, moves=False)
    corners = np.array([[-0.1, -0.5, 0.0], [0.0, -0.2, 0.0], [0.4, -0.4, 0.0], [0.6, -0.2, 0.0]])
    hand, shade = project_points(camera.parameters, corners).reshape(2, 2, 2).round().astype(int)
    for k in range(120):
        clip_s = k / 30
        # Exposure drifts by a tenth meanwhile.
        luma = (150 + 15 * clip_s / 4) * np.ones((HEIGHT_PX, WIDTH_PX)) + 2 * generator.standard_normal((270, 480))
        blue, red = np.full((2, HEIGHT_PX // 2, WIDTH_PX // 2), 128.0)
        if 1.0 <= clip_s < 2.0:
            (left, low), (right, high) = hand
            luma[high:low, left:right] = 120
            red[high // 2 : low // 2, left // 2 : right // 2] = 150
            (left, low), (right, high) = shade
            luma[high:low, left:right] *= 0.7
        grey, cb, cr = (plane.clip(0, 255).astype(np.uint8) for plane in (luma, blue, red))
        watch.see(Frame(k, clip_s, grey, cb, cr, (2, 2), (0.5, 0.5)), camera)
    look = watch.look()
    assert look is not None
    assert np.allclose(look.eye_m, [0.0, 0.0, 2.0], atol=1e-9)
    grid_x, grid_y = np.meshgrid(look.x_m, look.y_m)
    over_hand = (grid_x > -0.08) & (grid_x < -0.02) & (grid_y < -0.22)
    in_shade = (grid_x > 0.42) & (grid_x < 0.58) & (grid_y > -0.38) & (grid_y < -0.22)
    for k, clip_s in enumerate(look.clip_s):
        there = 1.0 <= clip_s < 2.0
        assert look.covered(k)[over_hand].mean() == there
        assert look.changed(k)[in_shade].mean() == there
        assert not look.covered(k)[in_shade].any()
        outside = ~((grid_x > -0.13) & (grid_x < 0.03)) & ~((grid_x > 0.37) & (grid_x < 0.63))
        assert look.changed(k)[outside].mean() < 0.005
