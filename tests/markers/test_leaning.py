"""Machines that rear up: their tilt from markers' pixels, from frame to frame."""

import math

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import place_on_plane, project_points
from matchvision.markers.consistency import Bonds
from matchvision.markers.leaning import LeaningPose, fit_lean
from matchvision.markers.poses import Pose
from matchvision.markers.predicting import MachineState, place_rim
from matchvision.markers.rearing import find_lean
from matchvision.motion.machines import Contact, tilted_axes
from matchvision.records.camera import Camera
from matchvision.records.tracks import MarkerPlan
from tests.markers.test_poses import CAMERA

FloatArray = npt.NDArray[np.float64]

PLANS = (
    MarkerPlan("heron.front", "body", "red", 0.014, machine="heron", at_m=(0.09, 0.0, 0.12)),
    MarkerPlan("heron.rear", "body", "blue", 0.014, machine="heron", at_m=(-0.09, 0.0, 0.12)),
    *(
        MarkerPlan(
            f"heron.{angle}", "rim", "red", 0.008, machine="heron", wheel="front left", at_m=(0.085, 0.12, 0.045),
            circle_m=0.029, angle_deg=angle,
        )
        for angle in (0.0, 90.0)
    ),
)  # fmt: skip
BONDS = Bonds(PLANS)
CONTACT = (0.085, 0.12)


def pixels_of(pose: Pose, wheel_rad: float, camera: Camera = CAMERA) -> FloatArray:
    places = [pose.place_one(*p.at_m) if p.kind == "body" else place_rim(p, pose, wheel_rad) for p in PLANS]
    return project_points(camera.parameters, np.array(places))


def rearing(pitch_deg: float, roll_deg: float = 0.0) -> LeaningPose:
    return LeaningPose(
        -0.3, 0.05, 3.0, pitch_rad=math.radians(pitch_deg), roll_rad=math.radians(roll_deg), contact_m=CONTACT
    )


def test_leaning_pose_stands_on_its_axle_as_the_measuring_has_it() -> None:
    at = np.array([p.at_m for p in PLANS])
    for pitch, roll in ((25.0, 0.0), (-12.0, 5.0), (60.0, -3.0)):
        pose = rearing(pitch, roll)
        tilt = [np.array([math.radians(v)]) for v in (pitch, roll)]
        axes = np.stack(tilted_axes(np.array([3.0]), np.zeros(1), *tilt), axis=-1)[0]
        origin = np.array([-0.3, 0.05, Contact(*CONTACT).origin_height(*tilt)[0]])
        assert pose.place(at) == pytest.approx(origin + at @ axes.T, abs=1e-9)
        assert np.array([pose.place_one(*p) for p in at.tolist()]) == pytest.approx(pose.place(at), abs=1e-12)
    axle = rearing(25.0).place(np.array([-CONTACT[0], 0.0, 0.0]))
    assert axle[2] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("pitch_deg", "roll_deg"), [(14.0, 0.0), (40.0, 0.0), (-9.0, 2.0)])
def test_tilt_is_found_from_pixels(pitch_deg: float, roll_deg: float) -> None:
    noise = np.random.default_rng(3).normal(0.0, 0.2, (len(PLANS), 2))
    seen_px = pixels_of(rearing(pitch_deg, roll_deg), 0.7) + noise
    foreseen = rearing(pitch_deg - 4.0, roll_deg)
    lean = fit_lean(PLANS, range(4), seen_px, CAMERA, foreseen, {"front left": 0.6}, CONTACT, ())
    assert lean is not None
    assert (lean.fits, lean.leans, lean.stands) == (True, True, False)
    assert math.degrees(lean.pose.pitch_rad) == pytest.approx(pitch_deg, abs=1.5)
    assert lean.wheel_rad["front left"] == pytest.approx(0.7, abs=0.05)
    assert fit_lean(PLANS, range(2), seen_px, CAMERA, foreseen, {}, CONTACT, ()) is None


def follow(pitches_deg: FloatArray, off_px: FloatArray | None = None) -> list[float]:
    """Tilts [°] that are followed at 60 frames/s, 0 while it is taken to stand."""
    state, generator = MachineState((), CONTACT), np.random.default_rng(4)
    state.take(Pose(-0.3, 0.05, 3.0), 0.0)
    state.take_wheel("front left", 0.5, 0.0)
    found = []
    for k, pitch in enumerate(pitches_deg, start=1):
        clip_s = k / 60
        expected = state.pose(clip_s)
        assert expected is not None
        pose = rearing(float(pitch)) if pitch else Pose(-0.3, 0.05, 3.0)
        seen_px = pixels_of(pose, 0.5) + generator.normal(0.0, 0.2, (len(PLANS), 2))
        if off_px is not None:
            seen_px += off_px
        place_m = np.array([_at_height(expected, seen_px[i], i) for i in range(len(PLANS))])
        lean, doubted = find_lean(BONDS, range(4), state, expected, seen_px, place_m, CAMERA, clip_s)
        assert not doubted
        if lean is not None and lean.stands:
            state.pitch = state.roll = None
            lean = None
        if lean is None:
            assert state.pitch is None, "it loses a machine that leans"
            found.append(0.0)
            continue
        state.take(lean.pose, clip_s)
        state.take_wheel("front left", lean.wheel_rad["front left"], clip_s)
        found.append(math.degrees(lean.pose.pitch_rad))
    return found


def _at_height(pose: Pose, place_px: FloatArray, i: int) -> FloatArray:
    """Where a pixel lies on the plane on which its marker is expected."""
    plan = PLANS[i]
    normal = pose.left if plan.kind == "rim" else pose.up
    return place_on_plane(CAMERA.parameters, place_px, pose.place(np.array(plan.at_m)), normal)


def test_machine_that_rears_up_is_followed() -> None:
    """A nose that comes up ever faster and goes down again, and one that falls over."""
    up = np.concatenate([np.linspace(0, 30, 40) ** 2 / 30, np.linspace(30, 0, 30), np.zeros(10)])
    for pitch in (up, np.linspace(0, 75, 60)):
        found = np.array(follow(pitch))
        assert (found[pitch > 12] > 0).all()
        assert np.abs(found - pitch)[found > 0].max() < 3.0
        assert pitch[-1] > 0 or (found[-5:] == 0).all()


def test_machine_that_stands_is_not_followed_as_leaning() -> None:
    """Noise, and a marker that sits 4 px from where the sheet has it, are no tilt."""
    off = np.zeros((len(PLANS), 2))
    assert not any(follow(np.zeros(40)))
    off[0] = (3.0, -2.5)
    assert not any(follow(np.zeros(40), off))
