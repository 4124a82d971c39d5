"""Find the table: the camera from printed tags and clicked points, and what it stands on."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.records.frames import Frame
from matchvision.records.results import Contradiction, StageNote
from matchvision.records.sheet import LensSheet, RunSheet, TableSheet
from matchvision.table.fitting import CameraFit, LensPrior, fit_cameras, phone_prior, sheet_prior
from matchvision.table.guessing import camera_height_m
from matchvision.table.looking import Seen, look_moving, look_still
from matchvision.table.outline import drop_contradicting, find_outline
from matchvision.table.posing import fit_pose
from matchvision.table.sifting import leave_out_stray, warn_of_suspects
from matchvision.table.steadiness import warn_of_moves
from matchvision.table.tags import Luma, TagLayout, TagName, lay_out_tags, search_tags, tell_tags
from matchvision.table.telling import describe_points, tell_source, write_note

#: Points that fit no camera better than this [px] were not measured badly: something is swapped.
_CONTRADICTION_PX = 15.0
#: Pictures in which tags are looked for. Those of a still camera are then averaged, all of them; those of a moving one
#: each have their own pose, and together tell the lens.
_LOOKS_STILL, _LOOKS_MOVING = 6, 12


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
    found = search_tags(luma, layout, _LOOKS_MOVING if sheet.camera.moves else _LOOKS_STILL)
    _refuse_too_little(layout, found, sheet.table)
    look = look_moving if sheet.camera.moves else look_still
    seen = look(luma, layout, sheet.table, prior, found)
    u_height_m = layout.u_height_m if seen.tags else 0.0
    fit = fit_cameras(seen.sightings, seen.start, prior, u_height_m)
    if sheet.camera.moves:
        # The edges tell of the lens, which all pictures share; they are read in the first one whose pose is known.
        seen, fit = _add_outline(luma[seen.first : seen.first + 1], seen, fit, prior, sheet.table, u_height_m)
    else:
        seen, fit = leave_out_stray(seen, fit, prior, u_height_m)
        seen, fit = _add_outline(luma, seen, fit, prior, sheet.table, u_height_m)
        # With the edges as a further witness a stray that two could have been may be told.
        seen, fit = leave_out_stray(seen, fit, prior, u_height_m)
        seen = seen.contradicted(*warn_of_moves(frames, layout, seen.tags, fit.parameters[0]))
    seen, fit = warn_of_suspects(seen, fit, prior)
    _refuse_view_from_below(fit.parameters[0])
    points = describe_points(seen, sheet.table, fit)
    apart = np.array([[p.residual_col_px, p.residual_row_px] for p in points])
    rms_px = float(np.sqrt(np.mean(apart**2)))
    _refuse_contradiction(rms_px, points)
    edges = 0 if seen.outline is None else len(np.unique(seen.outline.side))
    source = tell_source(seen.tags, len(points) - 4 * len(seen.tags), edges, lens_known=lens is not None)
    covariance = fit.covariance[0]
    if sheet.camera.moves:
        # The corners' errors are common to all pictures for the lens, but each pose stands on one picture alone.
        posed = fit_pose(seen.sightings[0], fit.parameters[0], covariance[:9, :9], u_height_m)
        covariance = posed[1] if posed is not None else covariance
    camera = Camera(width, height, fit.parameters[0], covariance)
    view = TableView(camera, points, source, rms_px)
    return view, write_note(view, seen, fit, sheet.table, layout, lens_known=lens is not None)


def _add_outline(
    luma: Sequence[Luma], seen: Seen, fit: CameraFit, prior: LensPrior, table: TableSheet, u_height_m: float
) -> tuple[Seen, CameraFit]:
    """The same with the table's edges, those that are clearly seen and agree with the sheet."""
    if table.edges is False or camera_height_m(fit.parameters[0]) <= 0:
        return seen, fit
    outline = find_outline(luma, table, fit.parameters[0])
    said: tuple[Contradiction, ...] = ()
    if outline is not None:
        outline, said = drop_contradicting(outline, fit.parameters[0], fit.covariance[0], table)
    if outline is None:
        wanted = ("None of the table's edges is clearly seen: they do not help.",) if table.edges and not said else ()
        seen = seen.contradicted(*said)
        return replace(seen, warnings=(*seen.warnings, *wanted)), fit
    seen = replace(seen, outline=outline).contradicted(*said)
    return seen, fit_cameras(seen.sightings, fit.parameters, prior, u_height_m, outline)


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
            "sharp and without glare; or give at least four clicked points as [[table.point]] "
            "(matchvision desk)",
        )
    points = f"{len(table.point) or 'no'} point{' is' if len(table.point) == 1 else 's are'} known"
    raise TableError(
        f"{points} on the table, at least 4 are needed",
        where="[table]",
        do="lay tags on the table and list them as [[table.tag]], or set at least four points at the desk "
        "(matchvision desk; they may also stand in the sheet as [[table.point]]), "
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
