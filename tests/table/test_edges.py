"""Sides of tags against drawn ones, and the detector's half pixel."""

import cv2
import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.records.sheet import TableSheet, Tag
from matchvision.table.edges import locate_edges
from matchvision.table.sighting import sight_edges
from matchvision.table.tags import detect_tags, lay_out_tags

CAMERA = np.array([1000.0, 1000, 639.5, 359.5, -0.05, 0, 0, 0, 0, 2.3, -0.1, 0.04, 0.0, 0.0, 2.2])


def draw_tags(
    camera: np.ndarray, table: TableSheet, blur_px: float = 0.8, noise: float = 0.0, seed: int = 0
) -> np.ndarray:
    """A picture of the tags: every sample of a fine grid looks up, on the table, what colour is there."""
    fine = 5
    rows, cols = 720, 1280
    layout = lay_out_tags(table)
    picture = np.full((rows, cols), 120.0)
    for tag, corners in zip(table.tag, layout.corners_m, strict=True):
        pattern = cv2.aruco.generateImageMarker(
            cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), tag.id, 8, borderBits=1
        )
        pattern = np.pad(pattern > 0, 1, constant_values=True)
        around = project_points(camera, corners)
        left, top = np.floor(around.min(axis=0)).astype(int) - 20
        right, bottom = np.ceil(around.max(axis=0)).astype(int) + 20
        step = (np.arange(fine) + 0.5) / fine - 0.5
        at_col = (np.arange(left, right)[:, None] + step).ravel()
        at_row = (np.arange(top, bottom)[:, None] + step).ravel()
        grid = np.stack(np.meshgrid(at_col, at_row), axis=-1)
        # The lens is nearly straight over one tag: the picture from the table by the corners' projective map.
        print_from_pixel = cv2.getPerspectiveTransform(
            around.astype(np.float32), np.array([[1, 1], [9, 1], [9, 9], [1, 9]], dtype=np.float32)
        )
        place = cv2.perspectiveTransform(grid.reshape(-1, 1, 2), print_from_pixel).reshape(grid.shape)
        cell = np.floor(place).astype(int)
        on = np.all((cell >= 0) & (cell <= 9), axis=-1)
        white = pattern[np.clip(cell[..., 1], 0, 9), np.clip(cell[..., 0], 0, 9)]
        value = np.where(on, np.where(white, 220.0, 30.0), 120.0)
        small = value.reshape(bottom - top, fine, right - left, fine).mean(axis=(1, 3))
        picture[top:bottom, left:right] = small
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    if noise:
        picture = picture + noise * np.random.default_rng(seed).normal(size=picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def four_tags(side_m: float = 0.11, angle_deg: float = 0.0) -> TableSheet:
    places = [(-0.9, 0.4), (0.9, 0.4), (0.9, -0.4), (-0.9, -0.4)]
    tags = tuple(Tag(id=k, side_m=side_m, centre_m=place, angle_deg=angle_deg) for k, place in enumerate(places))
    return TableSheet(length_m=2.2, width_m=1.1, tag=tags)


def test_offsets_of_drawn_squares_are_found() -> None:
    table = four_tags()
    picture = draw_tags(CAMERA, table, noise=1.0)
    sighting, tags = sight_edges(picture, lay_out_tags(table), CAMERA)
    assert len(tags) == 4
    apart = sighting.pixels_px - project_points(CAMERA, sighting.points_m)
    along = np.einsum("pij,pj->pi", sighting.directions, apart)
    assert np.sqrt(np.mean(along**2)) < 0.05


def test_sides_are_found_from_a_camera_a_pixel_off() -> None:
    table = four_tags()
    picture = draw_tags(CAMERA, table)
    off = CAMERA.copy()
    off[2:4] += 0.7
    sighting, _ = sight_edges(picture, lay_out_tags(table), off)
    apart = sighting.pixels_px - project_points(CAMERA, sighting.points_m)
    along = np.einsum("pij,pj->pi", sighting.directions, apart)
    assert np.sqrt(np.mean(along**2)) < 0.08


def test_detected_corners_have_no_half_pixel_and_sides_beat_them() -> None:
    """One of the detector's refinements lies half a pixel to the lower right; ours must not inherit that."""
    table = four_tags()
    picture = draw_tags(CAMERA, table)
    layout = lay_out_tags(table)
    found = detect_tags(picture, ["36h11"])
    truth = project_points(CAMERA, layout.corners_m)
    rough = np.array([found[name] for name in layout.names]) - truth
    assert np.all(np.abs(rough.mean(axis=(0, 1))) < 0.15)
    sighting, _ = sight_edges(picture, layout, CAMERA)
    fine = sighting.pixels_px - truth.reshape(-1, 2)
    assert np.all(np.abs(fine.mean(axis=0)) < 0.03)
    assert np.sqrt(np.mean(fine**2)) < 0.5 * np.sqrt(np.mean(rough**2))


@pytest.mark.parametrize("angle_deg", [0.0, 90.0, 180.0, -90.0, 30.0])
def test_corners_come_in_the_order_of_the_sheet_whatever_the_turn(angle_deg: float) -> None:
    table = four_tags(angle_deg=angle_deg)
    found = detect_tags(draw_tags(CAMERA, table), ["36h11"])
    layout = lay_out_tags(table)
    apart = np.array([found[name] for name in layout.names]) - project_points(CAMERA, layout.corners_m)
    assert np.max(np.abs(apart)) < 2.5


def test_flat_grey_and_tags_off_the_picture_are_not_good() -> None:
    corners = np.array([[[100.0, 100], [140, 100], [140, 140], [100, 140]], [[-20, 10], [20, 10], [20, 50], [-20, 50]]])
    edges = locate_edges(np.full((200, 200), 90, dtype=np.uint8), corners, np.zeros((2, 4)), np.array([8, 8]))
    assert not edges.good.any()
