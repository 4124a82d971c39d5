"""Before anything is measured: how well a marker's place will be known over the table, and which tags are in view."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian, place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import Camera
from matchvision.records.footage import PlaceUncertainty, TagInView
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet
from matchvision.table.tags import TagName, detect_tags, detect_tags_enlarged

#: Coverage factor for 95 %.
COVERAGE: Final = 1.96
#: Places along the longer side of the table at which the uncertainty is computed.
_PLACES: Final = 45
#: Marker that is meant where the sheet names none: radius, height over the table, and u of that [m].
_USUAL_RADIUS_M, _USUAL_HEIGHT_M, _U_HEIGHT_M = 0.010, 0.0, 0.001
#: What limits a centre in any clip [px], and contrast and noise of a usual marker in the chroma planes [8-bit steps].
_FLOOR_PX, _CONTRAST, _NOISE = 0.10, 40.0, 2.0
#: An edge's rise from 10 to 90 % over the standard deviation of its blur, for a Gaussian.
_RISE_OVER_BLUR: Final = 2.563
#: Pictures that are searched for tags, and in how many of them a tag that no sheet lists must be seen.
_LOOKS, _SEEN_OFTEN = 4, 2
#: Families that are looked for where no sheet lists any; codes of 16h5 are so short that patterns pass for them.
_FAMILIES: Final = ("36h11", "25h9")


def expect_places(
    camera: Camera, table: TableSheet, edge_px: float, radius_m: float | None, height_m: float | None
) -> PlaceUncertainty:
    """How well a marker will be placed over the table, by the camera's covariance and the pictures' sharpness.

    Parameters
    ----------
    edge_px : float
        Width of edges in the pictures, 10 to 90 % [px]; NaN counts as 3.
    radius_m, height_m : float or None
        The marker that is meant: its radius, and its height above the table's surface.

    Notes
    -----
    A disc of radius r px, contrast C and blur b in noise σ is located no better than var = 2 b σ² / (√π C² r) along
    each axis (the information of a blurred step along the rim, integrated round it); `_FLOOR_PX` adds what no noise
    explains. The place's uncertainty follows by JCGM 100:2008, eq. 13.
    Checked by: tests/table/test_expecting.py::test_expected_uncertainty_is_that_of_drawn_cameras
    """
    radius = _USUAL_RADIUS_M if radius_m is None else radius_m
    height = _USUAL_HEIGHT_M if height_m is None else height_m
    columns = _PLACES
    rows = max(9, round(_PLACES * table.width_m / table.length_m))
    x_m = np.linspace(-table.length_m / 2, table.length_m / 2, columns)
    y_m = np.linspace(-table.width_m / 2, table.width_m / 2, rows)
    x, y = np.meshgrid(x_m, y_m)
    z = surface_height(table.profile_m, x) + height
    points = np.stack([x, y, z], axis=-1)
    pixels = project_points(camera.parameters, points)
    inside = ((pixels >= 0) & (pixels <= [camera.width_px - 1, camera.height_px - 1])).all(axis=-1)
    outside = np.asarray(np.logical_not(inside), dtype=np.bool_)
    pixels = np.where(outside[..., None], np.nan, pixels)
    along_x = np.linalg.norm(direction_jacobian(camera.parameters, points, np.array([1.0, 0.0, 0.0])), axis=-1)
    blur_px = (edge_px if np.isfinite(edge_px) else 3.0) / _RISE_OVER_BLUR
    radius_px = np.maximum(along_x * radius, 0.5)
    u_px = np.hypot(_FLOOR_PX, np.sqrt(2 * blur_px * _NOISE**2 / (np.sqrt(np.pi) * _CONTRAST**2 * radius_px)))
    placed = place_with_uncertainty(
        camera.parameters, camera.covariance, pixels, np.repeat(u_px[..., None], 2, axis=-1), z, np.array(_U_HEIGHT_M)
    )
    total = placed.cov_own + placed.cov_camera
    return PlaceUncertainty(
        x_m=x_m,
        y_m=y_m,
        scale_px_per_mm=np.where(outside, np.nan, along_x / 1000),
        U95_x_m=COVERAGE * np.sqrt(total[..., 0, 0]),
        U95_y_m=COVERAGE * np.sqrt(total[..., 1, 1]),
        height_m=height,
        u_height_m=_U_HEIGHT_M,
        radius_m=radius,
        u_px=float(u_px[rows // 2, columns // 2]),
        table_px=_outline_px(camera, table),
    )


def _outline_px(camera: Camera, table: TableSheet) -> FloatArray:
    """The table's outline in the picture (40, 2), from its corner at −x, −y on."""
    half_x, half_y = table.length_m / 2, table.width_m / 2
    corners = np.array([(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)])
    share = np.linspace(0, 1, 10, endpoint=False)[:, None]
    outline = np.concatenate([a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])
    heights = surface_height(table.profile_m, outline[:, 0])
    return project_points(camera.parameters, np.concatenate([outline, heights[:, None]], axis=1))


def list_tags(frames: Sequence[Frame], table: TableSheet | None) -> tuple[TagInView, ...]:
    """The tags in view with the length of their sides, and those that the sheet lists but nothing shows.

    Without a sheet the larger families are looked for, and a tag counts only where several pictures show it.
    """
    listed: list[TagName] = [(tag.family, tag.id) for tag in table.tag] if table is not None else []
    families = sorted({family for family, _ in listed}) or list(_FAMILIES)
    chosen = np.unique(np.linspace(0, len(frames) - 1, _LOOKS).round().astype(int))
    found: dict[TagName, list[FloatArray]] = {}
    for k in chosen:
        for name, corners in detect_tags(frames[k].luma, families).items():
            found.setdefault(name, []).append(corners)
    if set(listed) - set(found):
        for name, corners in detect_tags_enlarged(frames[0].luma, families).items():
            found.setdefault(name, []).append(corners)
    often = 1 if len(chosen) == 1 else _SEEN_OFTEN
    found = {name: seen for name, seen in found.items() if name in listed or len(seen) >= often}
    return tuple(
        TagInView(family, number, (family, number) in listed, *_measure_tag(found.get((family, number))))
        for family, number in sorted({*listed, *found})
    )


def _measure_tag(seen: Sequence[FloatArray] | None) -> tuple[float, FloatArray | None]:
    """Mean side [px] and corners as the first picture shows them."""
    if not seen:
        return float("nan"), None
    sides = np.linalg.norm(np.roll(seen[0], -1, axis=0) - seen[0], axis=1)
    return float(np.mean(sides)), seen[0]
