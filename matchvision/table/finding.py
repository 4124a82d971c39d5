"""Find the table: the camera from printed tags and clicked points, and what it stands on."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.records.frames import Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import LensSheet, RunSheet, TableSheet
from matchvision.table.fitting import CameraFit, LensPrior, fit_cameras, phone_prior, sheet_prior
from matchvision.table.guessing import camera_height_m
from matchvision.table.looking import Seen, look_moving, look_still
from matchvision.table.noise import U_TAG_HEIGHT_M, keep_points
from matchvision.table.posing import fit_pose
from matchvision.table.tags import TagLayout, TagName, lay_out_tags, search_tags, tell_tags
from matchvision.table.telling import describe_points, tell_source, write_note

FloatArray = npt.NDArray[np.float64]

#: Points that fit no camera better than this [px] were not measured badly: something is swapped.
_CONTRADICTION_PX = 15.0
#: A fit worse than this [px] may be spoilt by one tag, which more tags than this can tell.
_SPOILT_PX, _TAGS_TO_CHOOSE = 0.2, 3


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
    look = look_moving if sheet.camera.moves else look_still
    seen = look(luma, layout, sheet.table, prior, found)
    fit = fit_cameras(seen.sightings, seen.start, prior, U_TAG_HEIGHT_M if seen.tags else 0.0)
    seen, fit = _leave_out_stray(seen, fit, prior)
    _refuse_view_from_below(fit.parameters[0])
    points = describe_points(seen, sheet.table, fit)
    apart = np.array([[p.residual_col_px, p.residual_row_px] for p in points])
    rms_px = float(np.sqrt(np.mean(apart**2)))
    _refuse_contradiction(rms_px, points)
    source = tell_source(seen.tags, len(points) - 4 * len(seen.tags), lens_known=lens is not None)
    covariance = fit.covariance[0]
    if sheet.camera.moves:
        # The corners' errors are common to all pictures for the lens, but each pose stands on one picture alone.
        posed = fit_pose(seen.sightings[0], fit.parameters[0], covariance[:9, :9])
        covariance = posed[1] if posed is not None else covariance
    camera = Camera(width, height, fit.parameters[0], covariance)
    view = TableView(camera, points, source, rms_px)
    return view, write_note(view, seen, fit, sheet.table, layout, lens_known=lens is not None)


def _leave_out_stray(seen: Seen, fit: CameraFit, prior: LensPrior) -> tuple[Seen, CameraFit]:
    """The same without the one tag that alone spoils an otherwise clean fit, if there is one."""
    rms_px = _rms_px(fit)
    if len(seen.tags) <= _TAGS_TO_CHOOSE or len(seen.sightings) > 1 or rms_px < _SPOILT_PX:
        return seen, fit
    tried = []
    for k, name in enumerate(seen.tags):
        kept = np.ones(len(seen.sightings[0].points_m), dtype=bool)
        kept[4 * k : 4 * k + 4] = False
        others = keep_points(seen.sightings[0], kept)
        tried.append((name, others, fit_cameras([others], fit.parameters, prior, U_TAG_HEIGHT_M)))
    name, others, without = min(tried, key=lambda t: _rms_px(t[2]))
    if _rms_px(without) > 0.5 * rms_px:
        return seen, fit
    off_px = project_points(without.parameters[0], seen.sightings[0].points_m) - seen.sightings[0].pixels_px
    k = seen.tags.index(name)
    off = float(np.linalg.norm(np.mean(off_px[4 * k : 4 * k + 4], axis=0)))
    warning = (
        f"Tag {name[1]} lies {off:.1f} px from where the others put it and was left out: measure its centre_m, side_m "
        "and angle_deg again, and see that it lies flat."
    )
    tags = tuple(tag for tag in seen.tags if tag != name)
    return replace(seen, sightings=(others,), tags=tags, warnings=(*seen.warnings, warning)), without


def _rms_px(fit: CameraFit) -> float:
    return float(np.sqrt(np.mean(np.concatenate(fit.residuals) ** 2)))


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


def _refuse_view_from_below(camera: FloatArray) -> None:
    height = camera_height_m(camera)
    if height <= 0:
        raise TableError(
            f"the points fit only a camera {-height:.2f} m below the table: the picture or the points are mirrored",
            where="[table]",
            do="check which tag or point lies where: seen from above, y is 90° to the left of x",
        )


def _refuse_contradiction(rms_px: float, points: Sequence[CalibrationPoint]) -> None:
    if rms_px <= _CONTRADICTION_PX:
        return
    worst = max(points, key=lambda p: np.hypot(p.residual_col_px, p.residual_row_px))
    off_px = float(np.hypot(worst.residual_col_px, worst.residual_row_px))
    raise TableError(
        f"the points on the table contradict each other: no camera fits them to better than {rms_px:.0f} px, "
        f"and {worst.name!r} is {off_px:.0f} px off",
        where="[table]",
        do="check that each tag's or point's at_m, side_m and pixel belong together, and that no two are swapped",
    )
