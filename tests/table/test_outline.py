"""The table's edges: found below a pixel, used as far as they can be trusted, and left out where they contradict."""

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import project_points
from matchvision.records.sheet import TableSheet
from matchvision.table import find_table
from matchvision.table.outline import SIDES, drop_contradicting, find_outline
from tests.table.test_edges import CAMERA
from tests.table.test_finding import STILL, look, misses, true_camera, without_edges

FloatArray = npt.NDArray[np.float64]
TABLE = TableSheet(length_m=1.5, width_m=0.7)


def draw_table(camera: FloatArray, table: TableSheet, rim_m: float = 0.02) -> npt.NDArray[np.uint8]:
    """A light table top with a darker rim on a speckled floor, 6 × 6 samples a pixel."""
    rng = np.random.default_rng(3)
    rows, cols, fine = 720, 1280, 6
    x, y = table.length_m / 2, table.width_m / 2
    edge = np.linspace(-1, 1, 400)
    loops = []
    for grow in (0.0, rim_m):
        line = [np.stack([edge * (x + grow), 0 * edge + s * (y + grow)], -1)[::s] for s in (1, -1)]
        side = [np.stack([0 * edge + s * (x + grow), edge * (y + grow)], -1)[::-s] for s in (1, -1)]
        loop = np.concatenate([line[0], side[0], line[1], side[1]])
        loops.append(project_points(camera, np.column_stack([loop, np.zeros(len(loop))])))
    canvas: npt.NDArray[np.uint8] = (
        (90 + 12 * rng.normal(size=(rows * fine, cols * fine))).clip(0, 255).astype(np.uint8)
    )
    canvas = np.asarray(cv2.GaussianBlur(canvas, (0, 0), 6), dtype=np.uint8)
    for loop, luma in ((loops[1], 120), (loops[0], 190)):
        # Sample (i) of a finer picture lies at (i + 0.5) / fine − 0.5 of the coarse one; 1/16 pixel is kept.
        at = np.rint(((loop + 0.5) * fine - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(canvas, [at], luma, lineType=cv2.LINE_AA, shift=4)
    small = cv2.resize(canvas, (cols, rows), interpolation=cv2.INTER_AREA).astype(np.float64)
    return (cv2.GaussianBlur(small, (0, 0), 0.7) + 2 * rng.normal(size=small.shape)).clip(0, 255).astype(np.uint8)


def test_edges_of_a_drawn_table_are_found() -> None:
    """Looked for from a camera that errs by about 2 px, with a rim beyond the edge."""
    picture = draw_table(CAMERA, TABLE)
    wrong = CAMERA.copy()
    wrong[2:4] += [1.5, -1.2]
    outline = find_outline([picture], TABLE, wrong)
    assert outline is not None
    assert set(outline.side) == set(range(len(SIDES)))
    off = outline.misfit(CAMERA) - 0.5 / 6  # a filled shape covers its border's samples wholly
    assert np.sqrt(np.mean(off**2)) < 0.12
    assert np.max(np.abs(off)) < 0.3


def test_table_like_its_floor_has_no_edges() -> None:
    rng = np.random.default_rng(4)
    picture = (120 + 15 * rng.normal(size=(720, 1280))).clip(0, 255).astype(np.uint8)
    assert find_outline([picture], TABLE, CAMERA) is None


def test_edge_off_the_stated_size_is_dropped_and_named() -> None:
    stated = TABLE.model_copy(update={"length_m": 1.52})
    outline = find_outline([draw_table(CAMERA, TABLE)], stated, CAMERA)
    assert outline is not None
    kept, said = drop_contradicting(outline, CAMERA, np.zeros((15, 15)), stated)
    assert kept is not None
    assert set(kept.side) == {0, 1}
    assert len(said) == 2
    assert all("mm inside of where length_m puts it" in one.shown for one in said), said
    assert {one.key for one in said} == {"[table] length_m"}


@pytest.mark.parametrize("clip", STILL)
def test_edges_sharpen_the_lens_and_stay_true(clip: str) -> None:
    sheet, frames = look(clip)
    bare, _ = find_table(frames, without_edges(sheet), None)
    view, _ = find_table(frames, sheet, None)
    truth = true_camera(clip)
    assert "table edge" in view.source
    assert view.camera.covariance[4, 4] < 0.6 * bare.camera.covariance[4, 4]
    assert abs(view.camera.parameters[4] - truth[4]) < 3 * np.sqrt(view.camera.covariance[4, 4])
    error, u = misses(view.camera, truth)
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.0013
    assert np.mean(u**2) < np.mean(misses(bare.camera, truth)[1] ** 2)
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 2


@pytest.mark.parametrize("clip", STILL)
def test_stated_thickness_of_the_prints_takes_most_of_the_error_away(clip: str) -> None:
    """The prints of the sample clips are 0.6 mm thick."""
    sheet, frames = look(clip)
    tags = tuple(tag.model_copy(update={"thickness_m": 0.0006}) for tag in sheet.table.tag)
    told = sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": tags})})
    view, note = find_table(frames, told, None)
    error, u = misses(view.camera, true_camera(clip))
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.0008
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 2
    assert not note.warnings
