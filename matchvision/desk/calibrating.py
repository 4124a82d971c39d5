"""Table points to a camera, as the analysis itself finds it, and what that means over the whole table."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.desk.clipbook import ClipBook
from matchvision.desk.leaning import lean_camera
from matchvision.errors import TableError
from matchvision.footage import look_at_scene
from matchvision.geometry.camera import project_points
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import Camera, TableView
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run, TablePoint, TableSheet
from matchvision.table import expect_places, find_or_hold_table, list_tags

#: How wide edges in the pictures are taken to be where nobody measured it: the table's places hardly depend on it.
_USUAL_EDGE_PX: Final = 3.0
#: Cameras that are kept: each step asks for the one that the sheet gives.
_KEPT_CAMERAS: Final = 4
#: Every so many places of the computed map are shown, along and across.
_SHOWN_PLACES: Final = (23, 11)


def find_camera(book: ClipBook, run: Run, points: Sequence[TablePoint] | None = None) -> tuple[TableView, StageNote]:
    """The camera that the analysis would find, with other points than the sheet's where some are given.

    Raises
    ------
    TableError
    """
    sheet = run.sheet
    if points is not None:
        table = sheet.table.model_copy(update={"point": tuple(points)})
        sheet = sheet.model_copy(update={"table": table})
    known = (sheet.table, sheet.camera)
    if known not in book.cameras:
        looked = book.looked()
        scene = look_at_scene(looked, run.calibration)
        while len(book.cameras) >= _KEPT_CAMERAS:
            book.cameras.pop(next(iter(book.cameras)))
        book.cameras[known] = find_or_hold_table(looked, sheet, run.lens, run.calibration, scene)
    return book.cameras[known]


def describe_camera(book: ClipBook, run: Run, points: Sequence[TablePoint] | None = None) -> dict[str, Any]:
    """What the page shows of a calibration: the map of uncertainty, residuals, outline; or why there is none."""
    try:
        view, note = find_camera(book, run, points)
    except TableError as reason:
        return {"found": False, "what": reason.what, "do": reason.do}
    return {
        "found": True,
        "source": view.source,
        "rms_px": view.rms_px,
        "sentence": note.sentence,
        "warnings": list(note.warnings),
        "points": [
            {
                "name": point.name,
                "pixel": [point.col_px, point.row_px],
                "at_m": [point.x_m, point.y_m],
                "off_px": [point.residual_col_px, point.residual_row_px],
                "expected_px": point.expected_px,
            }
            for point in view.points
        ],
        "expected": _expect_points(view.camera, run.sheet.table),
        **_map_places(view.camera, run.sheet.table),
    }


def describe_leant(book: ClipBook, run: Run, points: Sequence[TablePoint]) -> dict[str, Any] | None:
    """The same at once, from the camera that the sheet's own points gave; None where that was not found yet.

    The answer is marked ``leant``: warnings, tags and edges are those of the last whole calibration.
    """
    sheet = run.sheet
    known = book.cameras.get((sheet.table, sheet.camera))
    if known is None or sheet.camera.moves:
        return None
    view, note = known
    camera = lean_camera(view.camera, sheet.table.point, points, sheet.table)
    if camera is None:
        return None
    at = np.array([[*p.at_m, surface_height(sheet.table.profile_m, p.at_m[0])][:3] for p in points]).reshape(-1, 3)
    off = np.array([p.pixel for p in points]).reshape(-1, 2) - project_points(camera.parameters, at)
    return {
        "found": True,
        "leant": True,
        "source": view.source,
        "rms_px": float(np.sqrt(np.mean(off**2))) if len(off) else view.rms_px,
        "sentence": note.sentence,
        "warnings": list(note.warnings),
        "points": [
            {
                "name": point.name,
                "pixel": list(point.pixel),
                "at_m": list(point.at_m[:2]),
                "off_px": plain(apart),
                "expected_px": point.u_px,
            }
            for point, apart in zip(points, off, strict=True)
        ],
        "expected": _expect_points(camera, sheet.table),
        **_map_places(camera, sheet.table),
    }


def _map_places(camera: Camera, table: TableSheet) -> dict[str, Any]:
    """How well places on the table are known, on a coarse grid, and the table's outline in the picture."""
    places = expect_places(camera, table, _USUAL_EDGE_PX, None, None)
    rows = np.unique(np.linspace(0, len(places.y_m) - 1, _SHOWN_PLACES[1]).round().astype(int))
    columns = np.unique(np.linspace(0, len(places.x_m) - 1, _SHOWN_PLACES[0]).round().astype(int))
    whole = np.hypot(places.U95_x_m, places.U95_y_m) / np.sqrt(2)
    return {
        "map": {
            "x_m": plain(places.x_m[columns]),
            "y_m": plain(places.y_m[rows]),
            "U95_m": plain(whole[np.ix_(rows, columns)]),
            "U95_x_m": plain(places.U95_x_m[np.ix_(rows, columns)]),
        },
        "outline_px": plain(places.table_px),
    }


def list_known_points(table: TableSheet) -> list[dict[str, Any]]:
    """Points whose place on any such table is known: corners, middles of the edges, and the middle of the table."""
    half_x, half_y = table.length_m / 2, table.width_m / 2
    ways = {-1: "−", 1: "+"}
    known = []
    for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (0, -1), (1, 0), (0, 1), (-1, 0), (0, 0)):
        if x and y:
            name = f"corner {ways[x]}x {ways[y]}y"
        elif x:
            name = f"middle of the {ways[x]}x edge"
        elif y:
            name = f"centre line at the {ways[y]}y edge"
        else:
            name = "middle of the table"
        height = float(surface_height(table.profile_m, x * half_x))
        known.append({"name": name, "at_m": [x * half_x, y * half_y, height] if height else [x * half_x, y * half_y]})
    return known


def _expect_points(camera: Camera, table: TableSheet) -> list[dict[str, Any]]:
    """Where the camera expects the known points, as far as they are in the picture."""
    known = list_known_points(table)
    pixels = project_points(camera.parameters, np.array([[*p["at_m"], 0.0][:3] for p in known]))
    inside = (pixels >= -0.5) & (pixels <= [camera.width_px - 0.5, camera.height_px - 0.5])
    seen = np.asarray(np.all(inside, axis=-1), dtype=np.bool_)
    return [{"name": p["name"], "pixel": plain(pixels[k])} for k, p in enumerate(known) if seen[k]]


def describe_tags(book: ClipBook, run: Run) -> list[dict[str, Any]]:
    """Tags in view, and those of the sheet that are not."""
    return [
        {
            "family": tag.family,
            "id": tag.id,
            "listed": tag.listed,
            "side_px": None if tag.corners_px is None else tag.side_px,
            "corners_px": None if tag.corners_px is None else plain(tag.corners_px),
        }
        for tag in list_tags(book.looked(), run.sheet.table)
    ]


def plain(values: FloatArray) -> Any:  # noqa: ANN401 - nested lists of any depth
    """An array as nested lists for JSON, which has no NaN: None stands for it."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0:
        return float(array) if np.isfinite(array) else None
    return (
        [plain(entry) for entry in array] if array.ndim > 1 else [float(v) if np.isfinite(v) else None for v in array]
    )
