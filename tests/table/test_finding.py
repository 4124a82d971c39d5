"""The camera from the sample clips' tags, from clicks, and what is said when it cannot be had."""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.errors import TableError
from matchvision.footage import first_look, read_facts
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.geometry.profile import surface_height
from matchvision.records.camera import Camera, TableView
from matchvision.records.frames import Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet, TablePoint
from matchvision.sheets import load_run
from matchvision.table import find_table
from matchvision.table.lens import calibrate_lens
from matchvision.table.telling import table_uncertainty_mm
from tests.table.test_edges import CAMERA, draw_tags, four_tags
from tests.truth import SAMPLE_CLIPS, read_truth_facts

FloatArray = npt.NDArray[np.float64]
STILL = ["flat-match", "sled-link", "hitch-slips"]


@cache
def look(clip: str) -> tuple[RunSheet, tuple[Frame, ...]]:
    run = load_run(SAMPLE_CLIPS / clip)
    return run.sheet, first_look(read_facts(run.clip))


@cache
def found(clip: str) -> tuple[TableView, StageNote]:
    sheet, frames = look(clip)
    return find_table(frames, sheet, None)


def true_camera(clip: str) -> FloatArray:
    facts = read_truth_facts(SAMPLE_CLIPS / clip)["camera"]
    k = facts["K"]
    lens = [k[0][0], k[1][1], k[0][2], k[1][2], *facts["dist_k1_k2_p1_p2_k3"]]
    return np.array([*lens, *facts["rvec"], *facts["t_table_to_camera"]])


def misses(camera: Camera, truth: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Errors and stated uncertainties (n, 2) [m] of places at three heights all over the table."""
    grid = np.meshgrid(np.linspace(-0.8, 0.8, 9), np.linspace(-0.3, 0.3, 5), [0.0, 0.05, 0.12], indexing="ij")
    places = np.stack(grid, axis=-1).reshape(1, -1, 3)
    pixels = project_points(truth, places)
    placed = place_with_uncertainty(
        camera.parameters, camera.covariance, pixels, 0 * pixels, places[..., 2], np.zeros(places.shape[:2])
    )
    error = np.stack([placed.x_m, placed.y_m], axis=-1) - places[..., :2]
    return error[0], np.sqrt(np.diagonal(placed.cov_camera[0], axis1=-2, axis2=-1))


@pytest.mark.parametrize("clip", STILL)
def test_places_over_the_table_are_within_two_millimetres(clip: str) -> None:
    """Without a lens sheet; the errors of one camera go together, so only gross dishonesty shows."""
    view, _ = found(clip)
    error, u = misses(view.camera, true_camera(clip))
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.002
    ratio = np.sqrt(np.mean(error**2) / np.mean(u**2))
    assert 0.1 < ratio < 3


@pytest.mark.parametrize("clip", STILL)
def test_points_fit_as_well_as_they_are_expected_to(clip: str) -> None:
    view, note = found(clip)
    assert len(view.points) == 16
    assert view.rms_px < 0.15
    left = np.array([[p.residual_col_px, p.residual_row_px] for p in view.points])
    expected = np.array([p.expected_px for p in view.points])
    assert 0.5 < np.sqrt(np.mean(left**2) / np.mean(expected**2)) < 1.6
    assert note.status == "done"
    assert not note.warnings


@pytest.mark.parametrize("clip", STILL)
def test_tag_corners_lie_where_the_picture_shows_them(clip: str) -> None:
    """Nothing of the half pixel that one of the detector's refinements brings: all corners together lie true."""
    view, _ = found(clip)
    truth = true_camera(clip)
    on_card = np.array([[p.x_m, p.y_m, 0.0006] for p in view.points])  # the prints are 0.6 mm thick
    seen = np.array([[p.col_px, p.row_px] for p in view.points])
    apart = seen - project_points(truth, on_card)
    assert np.all(np.abs(np.mean(apart, axis=0)) < 0.06)
    assert np.sqrt(np.mean(apart**2)) < 0.15


def test_lens_sheet_takes_the_lens_errors_away() -> None:
    stills = {p.name: cv2.imread(str(p), cv2.IMREAD_GRAYSCALE) for p in sorted((SAMPLE_CLIPS / "lens").glob("*.png"))}
    lens = calibrate_lens({name: np.asarray(still, dtype=np.uint8) for name, still in stills.items()}, (9, 6), 0.030)
    sheet, frames = look("flat-match")
    view, note = find_table(frames, sheet, lens)
    error, u = misses(view.camera, true_camera("flat-match"))
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.0012
    assert 0.1 < np.sqrt(np.mean(error**2) / np.mean(u**2)) < 3
    assert "lens sheet" in view.source
    assert (
        table_uncertainty_mm(view.camera, sheet.table)[0]
        < table_uncertainty_mm(found("flat-match")[0].camera, sheet.table)[0]
    )
    assert note.status == "done"


def clicked(clip: str, places: list[tuple[float, float]], seed: int, u_px: float = 0.7) -> RunSheet:
    sheet, _ = look(clip)
    rng = np.random.default_rng(seed)
    points = np.array([[x, y, 0.0] for x, y in places])
    pixels = project_points(true_camera(clip), points) + u_px * rng.normal(size=(len(points), 2))
    given = tuple(
        TablePoint(name=f"point {k}", at_m=place, pixel=(float(pixel[0]), float(pixel[1])), u_px=u_px)
        for k, (place, pixel) in enumerate(zip(places, pixels, strict=True))
    )
    return sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": (), "point": given})})


CORNERS = [(-1.0, 0.45), (1.0, 0.45), (1.0, -0.45), (-1.0, -0.45)]


def without_edges(sheet: RunSheet) -> RunSheet:
    return sheet.model_copy(update={"table": sheet.table.model_copy(update={"edges": False})})


def test_four_clicks_make_no_pretence_of_fitting_well() -> None:
    """Four points leave hardly a residual whatever the click error: the uncertainty follows from the clicks."""
    _, frames = look("flat-match")
    sheet = without_edges(clicked("flat-match", CORNERS, seed=1))
    view, note = find_table(frames, sheet, None)
    assert view.rms_px < 0.7
    error, u = misses(view.camera, true_camera("flat-match"))
    assert np.sqrt(np.mean(u**2)) > 0.001
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 3
    assert any("Four points leave nothing" in warning for warning in note.warnings)


def test_edges_help_four_clicks_but_do_not_make_them_safe() -> None:
    _, frames = look("flat-match")
    sheet = clicked("flat-match", CORNERS, seed=1)
    alone, _ = find_table(frames, without_edges(sheet), None)
    view, note = find_table(frames, sheet, None)
    assert "table edges" in view.source
    truth = true_camera("flat-match")
    error, u = misses(view.camera, truth)
    assert np.mean(error**2) < np.mean(misses(alone.camera, truth)[0] ** 2)
    assert np.mean(u**2) < np.mean(misses(alone.camera, truth)[1] ** 2)
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 3
    assert any("Only the table's edges check" in warning for warning in note.warnings)


MANY = [*CORNERS, (0.0, 0.45), (0.0, -0.45), (0.5, 0.0), (-0.5, 0.0), (0.0, 0.0), (0.9, 0.1)]


def test_worse_clicks_than_stated_show_when_there_are_enough() -> None:
    _, frames = look("flat-match")
    sheet = clicked("flat-match", MANY, seed=2)
    points = tuple(p.model_copy(update={"u_px": 0.15}) for p in sheet.table.point)
    sloppy = sheet.model_copy(update={"table": sheet.table.model_copy(update={"point": points})})
    _, fine = find_table(frames, sheet, None)
    _, note = find_table(frames, sloppy, None)
    assert not any("times worse" in warning for warning in fine.warnings)
    assert any("times worse" in warning for warning in note.warnings)


def test_tags_and_clicks_together() -> None:
    sheet, frames = look("flat-match")
    clicks = clicked("flat-match", [(0.0, 0.45), (0.0, -0.45)], seed=3).table.point
    both = sheet.model_copy(update={"table": sheet.table.model_copy(update={"point": clicks})})
    view, _ = find_table(frames, both, None)
    assert len(view.points) == 18
    assert "2 clicked points" in view.source
    error, _ = misses(view.camera, true_camera("flat-match"))
    assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 0.002


def with_tags(sheet: RunSheet, **changes: object) -> RunSheet:
    tags = tuple(tag.model_copy(update=changes) for tag in sheet.table.tag)
    return sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": tags})})


def test_tags_not_in_view_are_named() -> None:
    sheet, frames = look("flat-match")
    tags = tuple(tag.model_copy(update={"id": tag.id + 20}) for tag in sheet.table.tag)
    other = sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": tags})})
    with pytest.raises(TableError, match=r"wanted: 20, 21, 22, 23 \(36h11\); seen: 0, 1, 2, 3 \(36h11\)") as raised:
        find_table(frames, other, None)
    assert raised.value.do


def test_tag_that_its_family_does_not_have_is_refused() -> None:
    sheet, frames = look("flat-match")
    tags = (sheet.table.tag[0].model_copy(update={"id": 587}), *sheet.table.tag[1:])
    with pytest.raises(TableError, match="ends at 586"):
        find_table(frames, sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": tags})}), None)


def test_too_few_points_are_refused() -> None:
    _, frames = look("flat-match")
    with pytest.raises(TableError, match="at least 4"):
        find_table(frames, clicked("flat-match", CORNERS[:3], seed=1), None)


def test_points_on_one_line_are_refused() -> None:
    _, frames = look("flat-match")
    line = [(-1.0, 0.2), (-0.4, 0.2), (0.3, 0.2), (1.0, 0.2)]
    with pytest.raises(TableError, match="no camera position"):
        find_table(frames, clicked("flat-match", line, seed=1), None)


def test_mirrored_points_are_refused() -> None:
    _, frames = look("flat-match")
    sheet = clicked("flat-match", CORNERS, seed=1)
    points = tuple(p.model_copy(update={"at_m": (p.at_m[0], -p.at_m[1])}) for p in sheet.table.point)
    mirrored = sheet.model_copy(update={"table": sheet.table.model_copy(update={"point": points})})
    with pytest.raises(TableError):
        find_table(frames, mirrored, None)


def test_swapped_tags_contradict_each_other() -> None:
    sheet, frames = look("flat-match")
    a, b, c, d = sheet.table.tag
    swapped = (a.model_copy(update={"id": b.id}), b.model_copy(update={"id": a.id}), c, d)
    with pytest.raises(TableError, match="tag 0 and tag 1 seem to be swapped"):
        find_table(frames, sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": swapped})}), None)


@pytest.mark.parametrize("off_m", [0.01, 0.02, 0.04])
def test_tag_laid_off_its_place_is_named_and_left_out(off_m: float) -> None:
    sheet, frames = look("flat-match")
    tags = list(sheet.table.tag)
    x, y = tags[2].centre_m
    tags[2] = tags[2].model_copy(update={"centre_m": (x - off_m, y)})
    moved = sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": tuple(tags)})})
    view, note = find_table(frames, moved, None)
    assert any("tag 2" in warning.lower() for warning in note.warnings)
    # At 10 mm the view cannot tell whether tag 1 or tag 2 is wrong, so none is left out and both are named.
    assert len(view.points) == (12 if off_m > 0.01 else 16)
    error, u = misses(view.camera, true_camera("flat-match"))
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 3


def test_one_tag_alone_is_used_and_its_poor_view_is_stated() -> None:
    sheet, frames = look("flat-match")
    alone = without_edges(
        sheet.model_copy(update={"table": sheet.table.model_copy(update={"tag": sheet.table.tag[:1]})})
    )
    view, note = find_table(frames, alone, None)
    error, u = misses(view.camera, true_camera("flat-match"))
    assert np.sqrt(np.mean(u**2)) > 0.01
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) < 3
    assert note.advice


def test_no_frames_is_said() -> None:
    with pytest.raises(TableError, match="no picture"):
        find_table([], look("flat-match")[0], None)


def test_lens_sheet_of_another_picture_shape_is_refused() -> None:
    stills = {p.name: cv2.imread(str(p), cv2.IMREAD_GRAYSCALE) for p in (SAMPLE_CLIPS / "lens").glob("*.png")}
    more = {name: np.asarray(still, dtype=np.uint8)[:, 100:1100] for name, still in stills.items()}
    lens = calibrate_lens(more, (9, 6), 0.03)
    sheet, frames = look("flat-match")
    with pytest.raises(TableError, match="the lens sheet is for pictures of 1000 × 720"):
        find_table(frames, sheet, lens)


def test_tags_in_the_slope_of_a_ridged_table() -> None:
    """Drawn, not filmed: tags lie in the slope, and places on it are found at the height of the surface."""
    profile = ((-1.2, -0.126), (0.0, 0.0), (1.2, -0.126))
    flat = four_tags()
    table = flat.model_copy(update={"profile_m": profile})
    camera = CAMERA.copy()
    picture = draw_tags(camera, table)
    frame = look("flat-match")[1][0]
    frames = [Frame(0, 0.0, picture, frame.blue, frame.red, (2, 2), (0.0, 0.5))]
    sheet = look("flat-match")[0].model_copy(update={"table": table})
    view, note = find_table(frames, sheet, None)
    places = np.array([[[0.5, 0.1], [-0.7, -0.2], [0.0, 0.3]]])
    z = surface_height(profile, places[..., 0])
    pixels = project_points(camera, np.concatenate([places, z[..., None]], axis=-1))
    zero = np.zeros((1, 3))
    placed = place_with_uncertainty(view.camera.parameters, view.camera.covariance, pixels, 0 * pixels, z, zero)
    error = np.stack([placed.x_m, placed.y_m], axis=-1) - places
    assert np.max(np.abs(error)) < 0.002
    assert not note.warnings
