"""A hand-held camera: what its frames share and what is new in each, and whether the stated uncertainties then hold."""

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from matchvision.motion import measure_motion
from matchvision.motion.sighting import split_covariance
from matchvision.records.camera import Cameras
from tests.derived.test_motion_coverage import compare, invent_motion, invent_run
from tests.derived.test_ridge import CAMERA

# A lens from a good lens sheet: what is new in each frame shall decide.
LENS_U = np.array([0.03, 0.03, 0.04, 0.04, 4e-5, 4e-5, 2e-6, 2e-6, 0.0])
POSE_U = np.array([4e-4, 4e-4, 3e-4, 4e-4, 4e-4, 6e-4])


def invented_covariance(generator: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lens covariance, how the pose follows the lens, and the whole of both with a pose noise of its own."""
    lens = np.diag(LENS_U**2)
    follows = generator.standard_normal((6, 9)) * 0.5 * POSE_U[:, None] / np.where(LENS_U > 0, LENS_U, 1.0) / 3
    whole = np.zeros((15, 15))
    whole[:9, :9] = lens
    whole[9:, :9] = follows @ lens
    whole[:9, 9:] = whole[9:, :9].T
    whole[9:, 9:] = np.diag(POSE_U**2) + follows @ lens @ follows.T
    return lens, follows, whole


def test_parts_add_up() -> None:
    generator = np.random.default_rng(3)
    lens, follows, whole = invented_covariance(generator)
    # All poses also share how high the tags lie: that moves the camera along the table's upright.
    upright = np.concatenate([np.zeros(3), Rotation.from_rotvec(CAMERA[9:12]).as_matrix()[:, 2]])
    whole[9:, 9:] += 0.0003**2 * np.outer(upright, upright)
    common, own, answer = split_covariance(np.stack([whole, whole]), np.stack([CAMERA, CAMERA]))
    assert common[:9, :9] == pytest.approx(lens, rel=1e-9)
    assert common[14, 14] == pytest.approx(0.0003**2)
    assert own[0, 9:, 9:] == pytest.approx(np.diag(POSE_U**2), abs=1e-3 * POSE_U.min() ** 2)
    assert answer[0, 9:, :8] == pytest.approx(follows[:, :8], rel=1e-6)
    assert answer[1] @ common @ answer[1].T + own[1] == pytest.approx(whole, abs=1e-12)


@pytest.mark.slow
def test_intervals_hold_hand_held() -> None:
    """Each frame's pose is off by a draw of its own, lens and tags' height by one for all: 95 % intervals hold."""
    generator = np.random.default_rng(11)
    run = invent_run()
    found: dict[str, list[np.ndarray]] = {}
    for _ in range(60):
        _, follows, whole = invented_covariance(generator)
        truth = invent_motion(generator, run, CAMERA)
        n = len(truth.t_s)
        lens_off = LENS_U * generator.standard_normal(9)
        upright = np.concatenate([np.zeros(3), Rotation.from_rotvec(CAMERA[9:12]).as_matrix()[:, 2]])
        whole[9:, 9:] += 0.0003**2 * np.outer(upright, upright)
        pose_off = lens_off @ follows.T + POSE_U * generator.standard_normal((n, 6))
        pose_off += 0.0003 * generator.standard_normal() * upright
        parameters = CAMERA + np.concatenate([np.tile(lens_off, (n, 1)), pose_off], axis=1)
        covariance = np.broadcast_to(whole, (n, 15, 15))
        frames = np.asarray(truth.tracks.frame)
        cameras = Cameras(1280, 720, True, frames, parameters, covariance, np.ones(n, np.bool_))
        motion, _ = measure_motion(run, dataclasses.replace(truth.tracks), cameras)
        for name, pair in compare(motion, truth).items():
            found.setdefault(name, []).append(pair[:, 3:-3:12])
    for name, pairs in found.items():
        error, u = np.concatenate(pairs, axis=1)
        # A frame's pose error moves rim marks and body marks together, which slip speed counts apart: it is cautious.
        most = 1.0 if name == "slip speed" else 0.99
        assert 0.91 < np.mean(np.abs(error) < 1.96 * u) <= most, name
        assert 0.6 < np.sqrt(np.mean(error**2) / np.mean(u**2)) < 1.15, name
