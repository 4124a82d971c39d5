"""Machines and rope on a ridge: closed forms, and a machine driven over the crest whose places follow from geometry."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from matchvision.geometry.camera import project_points
from matchvision.motion import measure_motion
from matchvision.motion.surface import ground_under, raise_above, surface_at, taut_way
from matchvision.records.camera import Cameras
from matchvision.records.profile import crests_of
from matchvision.records.sheet import Machine, Run, RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks

FloatArray = npt.NDArray[np.float64]

SLOPE = np.tan(np.radians(6.0))
RIDGE = ((-1.2, -1.2 * SLOPE), (0.0, 0.0), (1.2, -1.2 * SLOPE))
WHEELBASE_M = 0.17
MARKS = {"front": (0.09, 0.01, 0.12), "rear": (-0.09, -0.01, 0.12)}
CAMERA = np.array(
    [985.0, 987.0, 644.8, 355.8, -0.045, 0.012, 0.0004, -0.0003, 0.0, 2.2787, -0.1107, 0.0362, -0.0218, -0.0116, 2.2374]
)


def ridge_height(x: float) -> float:
    return float(-abs(x) * SLOPE)


def wheeled(**more: object) -> Machine:
    return Machine.model_validate({"home": "-x", "wheelbase_m": WHEELBASE_M, **more})


def test_both_axles_stand_on_the_surface() -> None:
    ground = ground_under(wheeled(), RIDGE)
    path = np.linspace(-0.7, 0.7, 57)
    x, z, tilt = ground.stand(path)
    for sign in (-1, 1):
        foot_x, foot_z = x + sign * WHEELBASE_M / 2 * np.cos(tilt), z + sign * WHEELBASE_M / 2 * np.sin(tilt)
        assert foot_z == pytest.approx(surface_at(RIDGE, foot_x), abs=2e-6)
    # Astride the crest it bridges: level, and below the crest by the rise over half its wheelbase.
    middle = np.interp(0.0, x, z)
    assert middle == pytest.approx(-SLOPE * WHEELBASE_M / 2, rel=1e-3)
    assert np.interp(0.0, x, tilt) == pytest.approx(0.0, abs=1e-6)
    # Away from the crest it travels along the slope.
    assert ground.travel(np.array([-0.5]))[0] - ground.travel(np.array([-0.3]))[0] == pytest.approx(
        -0.2 * np.hypot(1, SLOPE), abs=1e-6
    )
    assert np.degrees(ground.climb(ground.travel(np.array([-0.5, 0.5])))) == pytest.approx([6.0, -6.0], abs=1e-6)


def test_dragged_body_is_lifted_over_the_crest() -> None:
    sled = Machine.model_validate({"home": "-x", "size_m": [0.30, 0.2, 0.1]})
    ground = ground_under(sled, RIDGE)
    z = ground.stand(ground.travel(np.array([0.0])))[1]
    assert z[0] == pytest.approx(0.0, abs=1e-6)


def test_flat_profile_is_level() -> None:
    ground = ground_under(wheeled(), ((-1.0, 0.0), (1.0, 0.0)))
    assert ground.level
    assert ground.travel(np.array([0.3]))[0] == 0.3


def test_line_of_sight_meets_the_slope() -> None:
    foot, lever = np.array([[[0.4, 0.1]], [[-0.4, 0.1]]]), np.array([[[0.5, -1.2]], [[0.5, -1.2]]])
    z = raise_above(RIDGE, foot, lever, np.array([[0.05], [0.05]]))
    # On the +x slope z = 0.05 − (0.4 + 0.5 z) tan 6°, solved by hand; on the other side the sign changes.
    assert z[0, 0] == pytest.approx((0.05 - 0.4 * SLOPE) / (1 + 0.5 * SLOPE), abs=1e-9)
    assert z[1, 0] == pytest.approx((0.05 - 0.4 * SLOPE) / (1 - 0.5 * SLOPE), abs=1e-9)


def test_rope_over_a_crest() -> None:
    """Both hitches below the crest: two straight halves, whose length Pythagoras gives; y changes evenly along them."""
    ends = np.array([[[-0.5, -0.03, -0.02], [0.4, 0.05, -0.01]]])
    way = taut_way(ends, RIDGE, 0.009)
    left, right = np.hypot(0.5, 0.029), np.hypot(0.4, 0.019)
    assert way.length_m[0] == pytest.approx(np.hypot(left + right, 0.08), abs=1e-12)
    assert way.height_at(np.array([[-0.25, 0.0, 0.2]]))[0] == pytest.approx([-0.0055, 0.009, -0.0005], abs=1e-12)
    corner = [0.0, -0.03 + 0.08 * left / (left + right), 0.009]
    assert way.next_to(0)[0] == pytest.approx(corner, abs=1e-12)
    assert way.next_to(1)[0] == pytest.approx(corner, abs=1e-12)


def test_rope_clears_a_crest_or_a_hollow() -> None:
    ends = np.array([[[0.5, 0.0, 0.05], [-0.4, 0.0, 0.04]]])
    for profile in (RIDGE, ((-1.2, 0.1), (0.0, 0.0), (1.2, 0.1))):
        way = taut_way(ends, profile, 0.009)
        assert way.length_m[0] == pytest.approx(np.hypot(0.9, 0.01), abs=1e-12)
        assert way.height_at(np.array([[0.05]]))[0, 0] == pytest.approx(0.045, abs=1e-12)
        assert way.next_to(0)[0] == pytest.approx(ends[0, 1])
        assert way.next_to(1)[0] == pytest.approx(ends[0, 0])
    assert len(crests_of(((-1.2, 0.1), (0.0, 0.0), (1.2, 0.1)))) == 0


def stand_by_hand(x_m: float) -> tuple[float, float]:
    """Tilt and height of a machine at x by solving for the tilt that puts both axles on the ridge."""

    def gap(tilt: float) -> float:
        reach = WHEELBASE_M / 2 * np.cos(tilt)
        return float(ridge_height(x_m + reach) - ridge_height(x_m - reach) - WHEELBASE_M * np.sin(tilt))

    tilt = float(brentq(gap, -0.3, 0.3))
    reach = WHEELBASE_M / 2 * np.cos(tilt)
    return tilt, float(0.5 * (ridge_height(x_m + reach) + ridge_height(x_m - reach)))


def drive_over(x_m: FloatArray, yaw_deg: float) -> tuple[Run, Tracks, FloatArray]:
    """A run sheet, exact tracks and the true markers (n, 2, 3) of a machine that is at these x one after the other."""
    turned = Rotation.from_euler("z", 180 + yaw_deg, degrees=True)
    places = np.empty((len(x_m), 2, 3))
    for k, x in enumerate(x_m):
        tilt, z = stand_by_hand(float(x))
        lean = Rotation.from_euler("y", -tilt)
        places[k] = np.array([x, 0.02, z]) + (lean * turned).apply(list(MARKS.values()))
    discs = [{"name": n, "colour": "blue", "radius_m": 0.014, "at_m": list(at)} for n, at in MARKS.items()]
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "over the crest", "clip": "clip.mp4"},
            "clock": {"start_s": 0.0, "duration_s": 1.0},
            "table": {"length_m": 2.4, "width_m": 1.1, "profile_m": RIDGE},
            "machine": {"heron": {"home": "-x", "wheelbase_m": WHEELBASE_M, "marker": discs}},
        }
    )
    pixels = project_points(CAMERA, places)
    n = len(x_m)
    plans = tuple(
        MarkerPlan(f"heron.{name}", "body", "blue", 0.014, machine="heron", at_m=at) for name, at in MARKS.items()
    )
    tracks = Tracks(
        plans,
        np.arange(n),
        np.arange(n) / 60.0,
        pixels[..., 0],
        pixels[..., 1],
        np.full((n, 2), 0.05),
        np.full((n, 2), 0.05),
        np.zeros((n, 2), np.int8),
    )
    return Run(sheet=sheet, folder=Path()), tracks, places


def still_camera() -> Cameras:
    return Cameras(1280, 720, False, np.zeros(1, np.int64), CAMERA[None], np.zeros((1, 15, 15)), np.ones(1, np.bool_))


def test_machine_over_the_crest() -> None:
    x = np.linspace(0.3, -0.3, 181)
    run, tracks, places = drive_over(x, 4.0)
    motion, note = measure_motion(run, tracks, still_camera())
    assert "height profile" in note.sentence
    heron = motion.machines["heron"]
    assert heron.x_m == pytest.approx(x, abs=1e-4)
    assert np.abs(motion.places.z_m - places[..., 2]).max() < 1e-4
    assert np.abs(motion.places.x_m - places[..., 0]).max() < 1e-4
    # Horizontally it does 0.2 m/s; along the slope a little more, and less than half of that extra while it bridges.
    slopes = np.abs(x) > 0.12
    assert heron.speed_m_s[slopes][5:-5] == pytest.approx(0.2 * np.hypot(1, SLOPE), abs=3e-4)
    assert heron.speed_m_s[np.abs(x) < 0.02] == pytest.approx(0.2, abs=2e-4)
    seen_from_above = np.degrees(np.arctan2(np.sin(np.radians(184)), np.cos(np.radians(184)) * np.cos(np.radians(6))))
    assert (heron.heading_deg[slopes] - seen_from_above) % 360 == pytest.approx(0.0, abs=0.02) or heron.heading_deg[
        slopes
    ] == pytest.approx(seen_from_above % 360, abs=0.02)


def test_level_eyes_would_be_centimetres_off() -> None:
    """What the profile is for: the same film taken for one of a flat table."""
    x = np.linspace(0.5, 0.3, 61)
    run, tracks, _ = drive_over(x, 0.0)
    flat_table = run.sheet.table.model_copy(update={"profile_m": ()})
    flat = Run(sheet=run.sheet.model_copy(update={"table": flat_table}), folder=run.folder)
    right, wrong = (measure_motion(r, tracks, still_camera())[0].machines["heron"] for r in (run, flat))
    assert np.abs(right.x_m - x).max() < 1e-4
    assert np.hypot(wrong.x_m - x, wrong.y_m - 0.02).min() > 0.01
