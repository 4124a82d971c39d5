"""Say what the camera stands on: its points, how far each is off, and how well places are known."""

from collections.abc import Sequence

import numpy as np

from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.records.results import StageNote
from matchvision.records.sheet import TableSheet
from matchvision.table.fitting import CameraFit
from matchvision.table.looking import Seen
from matchvision.table.tags import TagLayout, TagName, tell_tags
from matchvision.uncertainty import format_quantity

#: Tag sides noisier than this [px], or places less sure than this [m], point to a sheet that does not match the table.
_SUSPECT_PX, _SUSPECT_M = 0.25, 0.0007
#: From this many on, points check each other.
_POINTS_THAT_CHECK = 5


def describe_points(seen: Seen, table: TableSheet, fit: CameraFit) -> tuple[CalibrationPoint, ...]:
    """The first picture's points and how far each lies from where the camera says."""
    names = [f"tag {number} corner {k + 1}" for _, number in seen.tags for k in range(4)]
    sighting, residual, expected = seen.sightings[0], fit.residuals[0], fit.expected_px[0]
    names += list(seen.clicks)
    pixel_from_sides = np.linalg.inv(sighting.directions)
    apart = np.einsum("pij,pj->pi", pixel_from_sides, residual)
    sizes = np.sqrt(np.mean(np.einsum("pij,pj->pi", pixel_from_sides**2, expected**2), axis=1))
    seen_px = project_points(fit.parameters[0], sighting.points_m) + apart
    return tuple(
        CalibrationPoint(
            name,
            float(point[0]),
            float(point[1]),
            float(point[2]),
            float(pixel[0]),
            float(pixel[1]),
            float(left[0]),
            float(left[1]),
            float(size),
        )
        for name, point, pixel, left, size in zip(names, sighting.points_m, seen_px, apart, sizes, strict=True)
    )


def tell_source(tags: Sequence[TagName], clicked: int, edges: int = 0, *, lens_known: bool) -> str:
    """What the camera was fitted to, in words."""
    parts = []
    if tags:
        parts.append(f"{len(tags)} tag{'s' if len(tags) > 1 else ''}")
    if clicked:
        parts.append(f"{clicked} clicked point{'s' if clicked > 1 else ''}")
    if edges:
        parts.append(f"{edges} table edge{'s' if edges > 1 else ''}")
    if lens_known:
        parts.append("lens sheet")
    return " + ".join(parts)


def table_uncertainty_mm(camera: Camera, table: TableSheet) -> tuple[float, float]:
    """Standard uncertainty [mm] of places on the table from the camera alone, along the worst direction.

    Returns
    -------
    float, float
        At the table's middle, and the worst of its four corners (those in view of a pinhole).
    """
    x, y = table.length_m / 2, table.width_m / 2
    places = np.array([[0, 0], [-x, -y], [x, -y], [x, y], [-x, y]], dtype=np.float64)
    z = surface_height(table.profile_m, places[:, 0])
    pixels = project_points(camera.parameters, np.column_stack([places, z]))[None]
    zero = np.zeros((1, len(places)))
    placed = place_with_uncertainty(camera.parameters, camera.covariance, pixels, pixels * 0, z[None], zero)
    covariance = np.nan_to_num(placed.cov_camera[0], nan=0.0)
    worst = 1e3 * np.sqrt(np.maximum(np.linalg.eigvalsh(covariance)[:, -1], 0.0))
    return float(worst[0]), float(np.max(worst[1:]))


def write_note(
    view: TableView,
    seen: Seen,
    fit: CameraFit,
    table: TableSheet,
    layout: TagLayout,
    *,
    lens_known: bool,
) -> StageNote:
    """The table stage's note, with numbers, warnings and advice."""
    middle_mm, corner_mm = table_uncertainty_mm(view.camera, table)
    camera, u = view.camera.parameters, np.sqrt(np.diag(view.camera.covariance))
    free = "the lens under its sheet's covariance" if lens_known else "focal length, lens and principal point"
    sentence = (
        f"The camera was fitted to {view.source} ({seen.pictures} picture{'s' if seen.pictures > 1 else ''}), "
        f"with pose and {free} free: residuals {view.rms_px:.2f} px rms, "
        f"focal length {format_quantity(float(camera[0]), float(u[0]), 'px')}"
        + (f", paper bleeds {fit.bleed_px:.2f} px into black" if seen.tags else "")
        + f". Places on the table are known to {middle_mm:.1f} mm at the middle and {corner_mm:.1f} mm at the corners."
    )
    clicked = len(view.points) - 4 * len(seen.tags)
    warnings, advice = list(seen.warnings), []
    missing = set(layout.names) - set(seen.tags)
    if missing:
        warnings.append(f"The table stands without tags {tell_tags(missing)}.")
    if seen.tags and (fit.noise_px > _SUSPECT_PX or fit.place_m > _SUSPECT_M):
        name, off_px = _worst_tag(seen, fit)
        warnings.append(
            f"The tags disagree by {view.rms_px:.2f} px, more than their sharpness explains; tag {name[1]} lies "
            f"furthest off ({off_px:.1f} px). Measure side_m and centre_m again, and see that the tags lie flat and "
            "unturned."
        )
    if fit.click_ratio > 2:
        warnings.append(
            f"The clicked points fit {fit.click_ratio:.1f} times worse than their u_px says; "
            "the uncertainty was raised to match."
        )
    if clicked and not seen.tags and clicked < _POINTS_THAT_CHECK:
        bare = seen.outline is None
        warnings.append(
            "Four points leave nothing to check them by: a wrong click or a wrong place would not show. "
            "The uncertainty follows from u_px alone."
            if bare
            else "Only the table's edges check the four points, to a few millimetres: a smaller mistake would not show."
        )
        advice.append("Click six or more points, or lay tags on the table.")
    if not lens_known and corner_mm > 3.0:
        advice.append(
            "A lens sheet from chessboard stills (matchvision lens) would sharpen places at the table's ends."
        )
    return StageNote("table", "done", sentence, tuple(warnings), tuple(advice), seen.contradictions)


def _worst_tag(seen: Seen, fit: CameraFit) -> tuple[TagName, float]:
    size = np.sqrt(np.mean(fit.residuals[0][: 4 * len(seen.tags)].reshape(len(seen.tags), -1) ** 2, axis=1))
    k = int(np.argmax(size))
    return seen.tags[k], float(size[k])
