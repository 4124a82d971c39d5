"""Find the table: the camera from printed tags and clicked points, and what it stands on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.records.frames import Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import LensSheet, RunSheet, TableSheet
from matchvision.table.fitting import (
    U_TAG_HEIGHT_M,
    CameraFit,
    LensPrior,
    Sighting,
    fit_cameras,
    phone_prior,
    sheet_prior,
)
from matchvision.table.sighting import (
    camera_height_m,
    guess_camera,
    join_sightings,
    sight_clicks,
    sight_edges,
    sight_roughly,
)
from matchvision.table.tags import Luma, TagLayout, TagName, lay_out_tags, search_tags, tell_tags

FloatArray = npt.NDArray[np.float64]

#: Pictures of a moving camera that share in finding its lens.
_LENS_PICTURES = 10
#: A tag that wanders further than this [px] belongs to a camera that moves.
_STILL_PX = 3.0
#: Tag sides noisier than this [px] point to a sheet that does not match the table.
_SUSPECT_PX = 0.35
#: Focal lengths tried for the first guess, as shares of the longer side.
_FOCAL_GUESSES = (0.45, 0.6, 0.77, 1.0, 1.4, 2.0)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What was found: sightings and starts for the fit, and what to say about it."""

    sightings: tuple[Sighting, ...]
    start: FloatArray
    tags: tuple[TagName, ...]
    pictures: int
    warnings: tuple[str, ...]


def find_table(frames: Sequence[Frame], sheet: RunSheet, lens: LensSheet | None) -> tuple[TableView, StageNote]:
    """Find the camera from the tags and clicked points of the sheet.

    Parameters
    ----------
    frames : sequence of Frames
        A first look at the clip, 60 pictures at most.
    sheet : RunSheet
    lens : LensSheet or None
        The lens from chessboard stills; without it the lens is fitted too, under a wide prior.

    Returns
    -------
    TableView, StageNote
        For a moving camera the view is that of the first picture looked at.

    Raises
    ------
    TableError
        When tags are not in view, fewer than four points are known or the points contradict each other.

    Notes
    -----
    Checked by: tests/table/test_finding.py::test_places_over_the_table_are_within_two_millimetres
    """
    if not frames:
        raise TableError("the clip shows no picture", do="check the clip with: matchvision footage CLIP")
    luma = [frame.luma for frame in frames]
    height, width = luma[0].shape
    layout = lay_out_tags(sheet.table)
    prior = _lens_prior(lens, width, height)
    found = search_tags(luma, layout)
    _refuse_too_little(layout, found, sheet.table)
    moves = sheet.camera.moves
    seen = (
        _look_moving(luma, layout, prior, found, width, height)
        if moves
        else _look_still(luma, layout, sheet.table, prior, found, width, height)
    )
    heights = U_TAG_HEIGHT_M if seen.tags else 0.0
    fit = fit_cameras(seen.sightings, seen.start, prior, heights)
    _refuse_view_from_below(fit.parameters[0])
    camera = Camera(width, height, fit.parameters[0], fit.covariance[0])
    points = _describe_points(layout, seen, sheet.table, fit)
    apart = np.array([[p.residual_col_px, p.residual_row_px] for p in points])
    rms_px = float(np.sqrt(np.mean(apart**2)))
    clicked = len(points) - 4 * len(seen.tags)
    source = _tell_source(seen.tags, clicked, lens)
    view = TableView(camera, points, source, rms_px)
    return view, _write_note(view, seen, fit, sheet.table, layout, lens, clicked)


def _lens_prior(lens: LensSheet | None, width: int, height: int) -> LensPrior:
    if lens is None:
        return phone_prior(width, height)
    scale = width / lens.camera.width_px
    if abs(lens.camera.height_px * scale - height) > 2:
        raise TableError(
            f"the lens sheet is for pictures of {lens.camera.width_px} × {lens.camera.height_px} pixels, "
            f"the clip has {width} × {height}",
            where="[camera] lens",
            do="take the chessboard stills in the same mode as the clip, or leave the lens sheet out",
        )
    # Pixel centres are integers, so a picture's corner lies at −0.5.
    turn = np.diag([scale] * 4 + [1.0] * 11)
    parameters = turn @ lens.camera.parameters
    parameters[2:4] += 0.5 * scale - 0.5
    return sheet_prior(parameters, turn @ lens.camera.covariance @ turn.T)


def _refuse_too_little(layout: TagLayout, found: Sequence[Mapping[TagName, FloatArray]], table: TableSheet) -> None:
    seen = {name for tags in found for name in tags}
    usable = seen & set(layout.names)
    if 4 * len(usable) + len(table.point) >= 4:
        return
    if layout.names:
        others = seen - usable
        raise TableError(
            f"no tag of the sheet is in view; wanted: {tell_tags(layout.names)}; seen: {tell_tags(others)}",
            where="[[table.tag]]",
            do="check family and id in the sheet; film so that whole tags with their white margin are in the picture, "
            "sharp and without glare; or give at least four clicked points as [[table.point]]",
        )
    raise TableError(
        f"{len(table.point)} point(s) of the table are known, at least 4 are needed",
        where="[table]",
        do="lay tags on the table and list them as [[table.tag]], or click at least four points as [[table.point]], "
        "better six or more: four leave nothing to check them by",
    )


def _first_cameras(rough: Sequence[Sighting], prior: LensPrior, width: int, height: int) -> FloatArray:
    """First guesses (v, 15), refined on what was seen roughly."""
    lens = prior.mean.copy()
    if prior.log_focal:
        longer = float(max(width, height))
        lenses = []
        for share in _FOCAL_GUESSES:
            lens = prior.mean.copy()
            lens[:2] = share * longer
            lenses.append(lens)
    else:
        lenses = [lens]
    start = np.array([guess_camera(s, lenses) for s in rough])
    start[:, :9] = start[0, :9]
    if len(start) > 1:
        start = np.array([guess_camera(s, [start[0, :9]]) for s in rough])
    return fit_cameras(rough, start, prior).parameters


def _look_still(
    luma: Sequence[Luma],
    layout: TagLayout,
    table: TableSheet,
    prior: LensPrior,
    found: Sequence[Mapping[TagName, FloatArray]],
    width: int,
    height: int,
) -> _Seen:
    """One picture's worth of sightings from all pictures of a still camera."""
    warnings: list[str] = []
    typical, wander = _typical_corners(layout, found)
    if wander > _STILL_PX:
        warnings.append(
            f"The tags wander by {wander:.1f} px in the first pictures: if the camera was held by hand, set moves = true "
            "under [camera]."
        )
    clicks = sight_clicks(table)
    rough = join_sightings([sight_roughly(layout, typical), clicks])
    start = _first_cameras([rough], prior, width, height)
    if not typical:
        return _Seen((clicks,), start, (), 1, tuple(warnings))
    mean, pictures = _mean_around_tags(luma, list(typical.values()))
    sighting, tags = clicks, ()
    chosen = layout.pick([name for name in layout.names if name in typical])
    for _ in range(3):
        edges, tags = sight_edges(mean, chosen, start[0])
        if not tags:
            break
        sighting = join_sightings([edges, clicks])
        if len(sighting.points_m) < 4:
            break
        start = fit_cameras([sighting], start, prior).parameters
    if 4 * len(tags) + len(table.point) < 4:
        raise TableError(
            f"tags {tell_tags(typical)} are in view, but their sides are not sharp enough to measure",
            where="[[table.tag]]",
            do="film with the tags in focus, larger in the picture and with their white margin left on",
        )
    return _Seen((sighting,), start, tags, pictures, tuple(warnings))


def _look_moving(
    luma: Sequence[Luma],
    layout: TagLayout,
    prior: LensPrior,
    found: Sequence[Mapping[TagName, FloatArray]],
    width: int,
    height: int,
) -> _Seen:
    """Sightings of several pictures, each from its own pose."""
    at = np.unique(np.linspace(0, len(luma) - 1, len(found)).round().astype(int))
    usable = [(int(k), tags) for k, tags in zip(at, found, strict=True) if set(tags) & set(layout.names)]
    if not usable:
        raise TableError(
            "the camera moves, and no tag is in view to tell where it is",
            where="[camera] moves",
            do="lay tags on the table, or film from a tripod: clicked points serve only a still camera",
        )
    usable = usable[:_LENS_PICTURES]
    rough = [sight_roughly(layout, tags) for _, tags in usable]
    start = _first_cameras(rough, prior, width, height)
    sightings: list[Sighting] = []
    tags: tuple[TagName, ...] = ()
    for _ in range(2):
        looked = [sight_edges(luma[k], layout, camera) for (k, _), camera in zip(usable, start, strict=True)]
        kept = [n for n, (_, names) in enumerate(looked) if names]
        if not kept:
            raise TableError(
                "tags are in view, but their sides are not sharp enough to measure",
                where="[[table.tag]]",
                do="film with the tags in focus, larger in the picture and with their white margin left on",
            )
        usable, start = [usable[n] for n in kept], start[kept]
        sightings = [looked[n][0] for n in kept]
        tags = looked[kept[0]][1]
        start = fit_cameras(sightings, start, prior).parameters
    return _Seen(tuple(sightings), start, tags, len(sightings), ())


def _typical_corners(
    layout: TagLayout, found: Sequence[Mapping[TagName, FloatArray]]
) -> tuple[dict[TagName, FloatArray], float]:
    """Median corners of each tag over the pictures, and how far the tags wander together [px]."""
    typical: dict[TagName, FloatArray] = {}
    wander = []
    for name in layout.names:
        corners = np.array([tags[name] for tags in found if name in tags])
        if len(corners):
            typical[name] = np.median(corners, axis=0)
            wander.append(np.max(np.linalg.norm(np.mean(corners - typical[name], axis=1), axis=-1)))
    return typical, float(np.median(wander)) if wander else 0.0


def _mean_around_tags(luma: Sequence[Luma], corners: Sequence[FloatArray]) -> tuple[FloatArray, int]:
    """A picture that holds, around each tag, the mean of the pictures in which nothing covers it; and how many at least.

    Means of many pictures beat the noise down; a hand that passes is left out by its distance from the median picture.
    """
    rows, cols = luma[0].shape
    mean = np.zeros((rows, cols))
    fewest = len(luma)
    for quad in corners:
        size = np.ptp(quad, axis=0)
        left, top = np.clip(np.floor(quad.min(axis=0) - 0.25 * size - 6).astype(int), 0, None)
        right, bottom = np.ceil(quad.max(axis=0) + 0.25 * size + 6).astype(int)
        stack = np.array([picture[top:bottom, left:right] for picture in luma], dtype=np.float32)
        apart = np.mean(np.abs(stack - np.median(stack, axis=0)), axis=(1, 2))
        fine = apart <= 2.0 * np.median(apart) + 1.0
        mean[top:bottom, left:right] = np.mean(stack[fine], axis=0)
        fewest = min(fewest, int(np.sum(fine)))
    return mean, fewest


def _refuse_view_from_below(camera: FloatArray) -> None:
    height = camera_height_m(camera)
    if height <= 0:
        raise TableError(
            f"the points fit only a camera {-height:.2f} m below the table: the picture or the points are mirrored",
            where="[table]",
            do="check which tag or point lies where: seen from above, y is 90° to the left of x",
        )


def _describe_points(layout: TagLayout, seen: _Seen, table: TableSheet, fit: CameraFit) -> tuple[CalibrationPoint, ...]:
    names = [f"tag {number} corner {k + 1}" for _, number in seen.tags for k in range(4)]
    sighting, residual, expected = seen.sightings[0], fit.residuals[0], fit.expected_px[0]
    names += [point.name for point in table.point][: len(sighting.points_m) - len(names)]
    pixel_from_sides = np.linalg.inv(sighting.directions)
    apart = np.einsum("pij,pj->pi", pixel_from_sides, residual)
    sizes = np.sqrt(np.mean(np.einsum("pij,pj->pi", pixel_from_sides**2, expected**2), axis=1))
    seen_px = project_points(fit.parameters[0], sighting.points_m) + apart
    return tuple(
        CalibrationPoint(name, *map(float, point), *map(float, pixel), *map(float, left), float(size))
        for name, point, pixel, left, size in zip(names, sighting.points_m, seen_px, apart, sizes, strict=True)
    )


def _tell_source(tags: Sequence[TagName], clicked: int, lens: LensSheet | None) -> str:
    parts = []
    if tags:
        parts.append(f"{len(tags)} tag{'s' if len(tags) > 1 else ''}")
    if clicked:
        parts.append(f"{clicked} clicked point{'s' if clicked > 1 else ''}")
    if lens is not None:
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


def _write_note(
    view: TableView,
    seen: _Seen,
    fit: CameraFit,
    table: TableSheet,
    layout: TagLayout,
    lens: LensSheet | None,
    clicked: int,
) -> StageNote:
    middle_mm, corner_mm = table_uncertainty_mm(view.camera, table)
    camera, u = view.camera.parameters, np.sqrt(np.diag(view.camera.covariance))
    free = "the lens under its sheet's covariance" if lens is not None else "focal length, lens and principal point"
    sentence = (
        f"The camera was fitted to {view.source} ({seen.pictures} picture{'s' if seen.pictures > 1 else ''}), with pose and "
        f"{free} free: residuals {view.rms_px:.2f} px rms, focal length {camera[0]:.0f} ± {u[0]:.0f} px"
        + (f", paper bleeds {fit.bleed_px:.2f} px into black" if seen.tags else "")
        + f". Places on the table are known to {middle_mm:.1f} mm at the middle and {corner_mm:.1f} mm at the corners."
    )
    warnings, advice = list(seen.warnings), []
    missing = set(layout.names) - set(seen.tags)
    if missing:
        warnings.append(f"Tags {tell_tags(missing)} were not found; the table stands on the others.")
    if seen.tags and fit.noise_px > _SUSPECT_PX:
        name, off_px = _worst_tag(seen, fit)
        warnings.append(
            f"The tags disagree by {fit.noise_px:.2f} px, more than their sharpness explains; tag {name[1]} lies furthest off "
            f"({off_px:.1f} px). Measure side_m and centre_m again, and see that the tags lie flat and unturned."
        )
    if fit.click_ratio > 2:
        warnings.append(
            f"The clicked points fit {fit.click_ratio:.1f} times worse than their u_px says; the uncertainty was raised to match."
        )
    if clicked and fit.freedom < 1.0:
        warnings.append(
            "Four points leave nothing to check them by: a wrong click or a wrong place would not show. "
            "The uncertainty follows from u_px alone."
        )
        advice.append("Click six or more points, or lay tags on the table.")
    if lens is None and corner_mm > 3.0:
        advice.append(
            "A lens sheet from chessboard stills (matchvision lens) would sharpen places at the table's ends."
        )
    return StageNote("table", "done", sentence, tuple(warnings), tuple(advice))


def _worst_tag(seen: _Seen, fit: CameraFit) -> tuple[TagName, float]:
    size = np.sqrt(np.mean(fit.residuals[0][: 4 * len(seen.tags)].reshape(len(seen.tags), -1) ** 2, axis=1))
    k = int(np.argmax(size))
    return seen.tags[k], float(size[k])
