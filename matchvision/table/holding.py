"""One calibration for many runs: whether the camera still stands where it stood, and what to do where it does not."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.records.camera import Calibration, Camera, Scene, TableView
from matchvision.records.frames import Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import LensSheet, RunSheet, TableSheet
from matchvision.table.finding import find_table

Luma = npt.NDArray[np.uint8]

#: Fewest parts of the picture by which it is told that the camera has not moved.
_FEWEST_BLOCKS: Final = 6
#: A camera that moved the picture by more than this share of its width no longer holds (0.35 px of 1280).
MOVED_RATIO: Final = 0.35 / 1280


def find_or_hold_table(
    frames: Sequence[Frame], sheet: RunSheet, lens: LensSheet | None, kept: Calibration | None, scene: Scene
) -> tuple[TableView, StageNote]:
    """The table as `find_table` finds it, or the calibration of an earlier run where the camera has not moved since.

    Parameters
    ----------
    frames : sequence of Frames
        A first look at this run's part of the clip.
    kept : Calibration or None
        The calibration that the runs of a clip share.
    scene : Scene
        What this run's pictures show, set against the kept calibration's.

    Raises
    ------
    TableError
        Where nothing shows the table: as `find_table`, and where the camera has moved since and this run alone
        shows too little to calibrate it anew.

    Notes
    -----
    Checked by: tests/end_to_end/test_one_clip_many_runs.py::test_a_moved_camera_is_refused_with_numbers
    """
    if kept is None:
        view, note = find_table(frames, sheet, lens)
        return replace(view, picture=scene.picture), note
    rows, cols = frames[0].luma.shape
    camera = kept.view.camera
    if (cols, rows) != (camera.width_px, camera.height_px):
        raise TableError(
            f"the calibration is for pictures of {camera.width_px} × {camera.height_px} pixels, "
            f"the clip has {cols} × {rows}",
            where="[camera] calibration",
            do="name the camera.json of a run from the same clip or the same mode, or leave it out",
        )
    try:
        fresh, note = find_table(frames, sheet, lens)
    except TableError as reason:
        return _hold_by_picture(kept, scene, sheet.table, reason)
    moved_px = _distance_px(fresh.camera, camera, sheet.table)
    if moved_px > MOVED_RATIO * cols:
        warning = (
            f"The camera has moved since {kept.source!r}: the table lies {_tell_move(moved_px, camera, sheet.table)} "
            "from where that run saw it; this run was calibrated anew from its own tags and points."
        )
        advice = "name the camera.json of this run in the runs that follow, and fix the phone so that nothing moves it"
        return replace(fresh, picture=scene.picture), replace(
            note, warnings=(*note.warnings, warning), advice=(*note.advice, advice)
        )
    sentence = (
        f"The calibration of {kept.source!r} serves this run too: its own tags and points lie within "
        f"{moved_px:.2f} px (rms) of where that run saw them."
    )
    against = tuple(one for one in note.contradictions if not one.covered)  # within this run, whatever came before
    told = tuple(f"{one.shown}: {one.do}." for one in against)
    return _seen_by(kept.view, fresh, scene.picture), StageNote("table", "done", sentence, told, (), against)


def _hold_by_picture(
    kept: Calibration, scene: Scene, table: TableSheet, reason: TableError
) -> tuple[TableView, StageNote]:
    camera = kept.view.camera
    if scene.blocks < _FEWEST_BLOCKS:
        raise TableError(
            f"{reason.what}; and whether the calibration of {kept.source!r} still holds cannot be told, "
            f"for only {scene.blocks} parts of the picture have anything to recognise",
            where="[camera] calibration",
            do=reason.do,
        )
    if scene.moved_px > MOVED_RATIO * camera.width_px:
        raise TableError(
            f"the camera has moved since {kept.source!r}: the picture lies "
            f"{_tell_move(scene.moved_px, camera, table)} off; and this run cannot be calibrated anew, "
            f"because {reason.what}",
            where="[camera] calibration",
            do="give this run tags or clicked points of its own in [table], or name the calibration of a run that was "
            "filmed after the camera moved",
        )
    sentence = (
        f"The calibration of {kept.source!r} serves this run too: the picture lies within {scene.moved_px:.2f} px of "
        f"that run's ({scene.blocks} parts compared), though this run alone cannot be calibrated ({reason.what})."
    )
    return replace(kept.view, picture=scene.picture), StageNote("table", "done", sentence)


def _over_table(table: TableSheet) -> FloatArray:
    x, y = np.meshgrid(np.linspace(-0.45, 0.45, 5) * table.length_m, np.linspace(-0.45, 0.45, 3) * table.width_m)
    return np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=-1)


def _distance_px(one: Camera, other: Camera, table: TableSheet) -> float:
    points = _over_table(table)
    apart = project_points(one.parameters, points) - project_points(other.parameters, points)
    return float(np.sqrt(np.nanmean(np.sum(apart**2, axis=-1))))


def _tell_move(moved_px: float, camera: Camera, table: TableSheet) -> str:
    """A distance in the picture, and about how much that is on the table."""
    points = _over_table(table)
    step = np.array([1e-3, 0.0, 0.0])
    scale = np.linalg.norm(
        project_points(camera.parameters, points + step) - project_points(camera.parameters, points), axis=-1
    )
    return f"{moved_px:.1f} px (about {moved_px / float(np.nanmedian(scale)):.1f} mm on the table)"


def _seen_by(kept: TableView, fresh: TableView, picture: Luma) -> TableView:
    """The kept camera with this run's own points, whose residuals now tell how well it holds."""
    at = np.array([[p.x_m, p.y_m, p.z_m] for p in fresh.points])
    projected = project_points(kept.camera.parameters, at)
    points = tuple(
        replace(p, residual_col_px=p.col_px - float(there[0]), residual_row_px=p.row_px - float(there[1]))
        for p, there in zip(fresh.points, projected, strict=True)
    )
    rms_px = float(np.sqrt(np.mean([[p.residual_col_px**2, p.residual_row_px**2] for p in points])))
    return TableView(kept.camera, points, f"{fresh.source}, shared with an earlier run", rms_px, picture)
