"""The table's grain carries a hand-held camera's pose while the tags are covered."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import project_points
from matchvision.records.frames import Frame
from matchvision.table import CameraFollower
from matchvision.table.texture import TableTexture
from tests.table.test_following import errors_m, hand_held, true_cameras

FloatArray = npt.NDArray[np.float64]
GAP = slice(40, 90)


def cover_tags(frame: Frame, camera: FloatArray) -> Frame:
    """The same with grey card over all four tags, a little larger than their white margins."""
    luma = frame.luma.copy()
    for x, y in ((-1.0, 0.45), (1.0, 0.45), (1.0, -0.45), (-1.0, -0.45)):
        square = np.array([[x + 0.1 * a, y + 0.1 * b, 0.0] for a in (-1, 1) for b in (-1, 1)])
        at = project_points(camera, square)
        (left, top), (right, bottom) = np.floor(at.min(axis=0)).astype(int), np.ceil(at.max(axis=0)).astype(int)
        luma[max(top, 0) : bottom, max(left, 0) : right] = 120
    return replace(frame, luma=luma)


def test_covered_tags_are_bridged_by_the_tables_grain() -> None:
    """Fifty frames, 1.7 s at 30 a second, in which the camera sways by centimetres."""
    sheet, view, frames = hand_held()
    truth = true_cameras()[:110]
    shown = [cover_tags(f, truth[f.index]) if 40 <= f.index < 90 else f for f in frames[:110]]
    follower = CameraFollower(view, sheet)
    for frame in shown:
        follower.see(frame)
    cameras = follower.cameras()
    assert cameras.supported.all()
    assert "50 of them were held by the grain" in follower.note().sentence
    error, u = errors_m(cameras.parameters, cameras.covariance, truth)
    assert np.sqrt(np.mean(np.sum(error[GAP] ** 2, axis=-1))) < 0.002
    assert np.sqrt(np.mean(error[GAP] ** 2) / np.mean(u[GAP] ** 2)) < 1.5
    # Straight over the gap the camera would be off by far more.
    line = cameras.parameters.copy()
    share = np.linspace(0, 1, 52)[1:-1, None]
    line[GAP, 9:] = (1 - share) * line[39, 9:] + share * line[90, 9:]
    straight, _ = errors_m(line, cameras.covariance, truth)
    assert np.mean(straight[GAP] ** 2) > 9 * np.mean(error[GAP] ** 2)


def test_a_table_without_grain_holds_nothing() -> None:
    sheet, view, frames = hand_held()
    smooth = np.full_like(frames[0].luma, 150)
    texture = TableTexture(smooth, view.camera.parameters, sheet.table)
    assert texture.find_pose(smooth, view.camera.parameters) is None


def test_a_moving_machine_does_not_draw_the_camera_along() -> None:
    """A block of the picture moves by 6 px while the camera stands: the pose stays."""
    sheet, view, frames = hand_held()
    first = frames[0].luma
    moved = first.copy()
    moved[230:420, 240:400] = first[230:420, 234:394]
    found = TableTexture(first, view.camera.parameters, sheet.table).find_pose(moved, view.camera.parameters)
    assert found is not None
    error, _ = errors_m(
        np.concatenate([view.camera.parameters[:9], found[0]])[None],
        view.camera.covariance[None],
        view.camera.parameters[None],
    )
    assert np.max(np.abs(error)) < 0.0005
