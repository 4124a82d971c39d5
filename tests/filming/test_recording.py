"""Colours, noise and the backdrop's printed tags."""

from itertools import pairwise

import cv2
import numpy as np
import pytest

from matchvision.filming.backdrop import linear_from_srgb, tag_cells, tag_coordinates
from matchvision.filming.recording import Sensor, encode_light, planes_from_rgb
from matchvision.filming.scene import Tag


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        # White, black and the primaries in limited range, worked from the BT.709 weights 0.2126, 0.7152, 0.0722.
        ("#ffffff", (235, 128, 128)),
        ("#000000", (16, 128, 128)),
        ("#ff0000", (16 + 219 * 0.2126, 128 - 224 * 0.2126 / 1.8556, 240)),
        ("#0000ff", (16 + 219 * 0.0722, 240, 128 - 224 * 0.0722 / 1.5748)),
        ("#00ff00", (16 + 219 * 0.7152, 128 - 224 * 0.7152 / 1.8556, 128 - 224 * 0.7152 / 1.5748)),
    ],
)
def test_grey_and_primaries_follow_bt709(colour: str, expected: tuple[float, float, float]) -> None:
    picture = np.tile(linear_from_srgb(colour).astype(np.float32), (4, 6, 1))
    planes = planes_from_rgb(encode_light(picture))
    assert [p.shape for p in planes] == [(4, 6), (2, 3), (2, 3)]
    for plane, value in zip(planes, expected, strict=True):
        np.testing.assert_allclose(plane, value, atol=0.05)


def test_encoding_returns_the_colour_that_was_meant() -> None:
    for colour in ("#d7231e", "#0ab4cd", "#101418", "#808080"):
        meant = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
        shown = encode_light(linear_from_srgb(colour).astype(np.float32)[None, None])[0, 0]
        np.testing.assert_allclose(shown, meant, atol=0.3)


def test_noise_has_the_stated_size_and_is_new_each_time() -> None:
    sensor = Sensor((320, 180), 2.0, np.random.default_rng(1))
    planes = (
        np.full((180, 320), 120, np.float32),
        np.full((90, 160), 128, np.float32),
        np.full((90, 160), 128, np.float32),
    )
    pictures = [sensor.read(planes).astype(float) for _ in range(6)]
    luma = np.array([p[:180] for p in pictures])
    weights = np.array([0.2126, 0.7152, 0.0722])
    expected = 2.0 * 219 / 255 * np.sqrt((weights**2).sum())
    assert luma.std() == pytest.approx(np.hypot(expected, np.sqrt(1 / 12)), rel=0.03)
    assert np.mean(luma) == pytest.approx(120, abs=0.05)
    assert all(np.abs(a - b).max() > 0 for a, b in pairwise(pictures))


def test_tags_are_what_a_detector_knows() -> None:
    """Drawn flat from the cells in the table's frame, seen from above with +x to the right and +y up."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    tag = Tag(id=23, side_m=0.08, centre_m=(0.01, -0.02))
    grid = (np.arange(300) - 149.5) * 0.0005
    x, y = np.meshgrid((grid + 0.01).astype(np.float32), (-grid - 0.02).astype(np.float32))
    u, v = tag_coordinates(tag, x, y)
    picture = np.full(x.shape, 255, np.uint8)
    black = (u >= 0) & (u < 8) & (v >= 0) & (v < 8)
    picture[black] = np.where(tag_cells(23)[v[black].astype(int), u[black].astype(int)], 255, 0)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(picture)
    assert ids.ravel().tolist() == [23]
    assert np.abs(corners[0][0] - [[69.5, 69.5], [229.5, 69.5], [229.5, 229.5], [69.5, 229.5]]).max() < 1.5
