"""Do the stated uncertainties hold? A study over many independent invented runs, of points rather than pictures.

In each run two machines on a taut rope move by a random, jerky law, a wheel lets go and grips again, the camera that
measures is off by a draw from its own covariance, and every marker carries white noise of the stated size. What a sheet
states about the rope is off as well, within its uncertainty. Errors are counted against the stated uncertainties: 95 %
intervals must hold the truth in 95 ± 3 % of the cases (with 240 runs the share itself is known to 1.4 % where a run's
errors go all together, as the camera's do).
"""

import dataclasses
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import project_points
from matchvision.markers import plan_markers
from matchvision.motion import measure_motion
from matchvision.records.camera import Cameras
from matchvision.records.motion import Motion
from matchvision.records.sheet import Run, RunSheet
from matchvision.records.tracks import Tracks, TrackState
from matchvision.uncertainty import beyond_share
from tests.truth import calibration_covariance

FloatArray = npt.NDArray[np.float64]

QUANTITIES = ("position", "speed", "rope share", "rope middle", "slip speed")
RUNS = 240
FRAMES = 120
LENGTH_M = 0.9
HITCH_HEIGHT_M = 0.05
WHEEL_RADIUS_M = 0.045
NOISE_PX = 0.15


def invent_run() -> Run:
    beads = [{"name": f"bead_{i + 1:02d}", "at_m": 0.1 + 0.1 * i, "colour": "red"} for i in range(8)]
    discs = [
        {"name": name, "colour": "blue", "radius_m": 0.014, "at_m": [x, 0.0, 0.12]}
        for name, x in (("front", 0.09), ("rear", -0.09))
    ]
    rim = [
        {"name": f"wheel_{i + 1}", "colour": "red", "radius_m": 0.0085, "circle_m": 0.029, "angle_deg": 90.0 * i}
        for i in (0, 1)
    ]
    wheel = {"name": "front", "radius_m": WHEEL_RADIUS_M, "face_m": [0.085, 0.1184, 0.045], "rim": rim}
    hitch = {"at_m": [-0.145, 0.0, HITCH_HEIGHT_M]}
    tags = [
        {"id": i, "side_m": 0.11, "centre_m": [x, y]}
        for i, (x, y) in enumerate([(-1, 0.45), (1, 0.45), (1, -0.45), (-1, -0.45)])
    ]
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "invented", "clip": "clip.mp4"},
            "clock": {"start_s": 0.2, "duration_s": 2.0},
            "table": {"length_m": 2.2, "width_m": 1.1, "tag": tags},
            "rope": {"length_m": LENGTH_M, "ends": ["heron", "plover"], "beads": beads},
            "machine": {
                "heron": {"home": "-x", "hitch": hitch, "marker": discs, "wheel": [wheel]},
                "plover": {"home": "+x", "hitch": hitch, "marker": discs},
            },
        }
    )
    return Run(sheet=sheet, folder=Path())


@dataclasses.dataclass(frozen=True, eq=False)
class Invented:
    """What truly happened in an invented run, at the frames."""

    t_s: FloatArray
    x_m: FloatArray
    speed_m_s: FloatArray
    plus_m: FloatArray
    length_m: float
    slip_m_s: FloatArray
    tracks: Tracks


def jerky_speed(generator: np.random.Generator, fine_s: FloatArray) -> FloatArray:
    """A speed that wanders with forces that forget themselves in 0.1 s, and jumps now and then."""
    step = float(fine_s[1] - fine_s[0])
    keep = np.exp(-step / 0.1)
    push = generator.standard_normal(len(fine_s)) * 0.3 * np.sqrt(1 - keep**2)
    force = np.zeros(len(fine_s))
    speed = np.zeros(len(fine_s))
    for k in range(1, len(fine_s)):
        force[k] = keep * force[k - 1] + push[k]
        speed[k] = speed[k - 1] + step * (force[k] - speed[k - 1] / 0.5)
    for at in generator.uniform(0.2, fine_s[-1] - 0.2, 2):
        speed += generator.normal(0, 0.06) / (1 + np.exp(-(fine_s - at) / 0.012))
    return speed


def chatter(generator: np.random.Generator, fine_s: FloatArray) -> FloatArray:
    """The trembling of a slipping contact, in slip speed: 5 mm/s, forgotten in 20 ms, as simulated contact shows it."""
    keep = np.exp(-float(fine_s[1] - fine_s[0]) / 0.02)
    kicks = generator.standard_normal(len(fine_s)) * 0.005 * np.sqrt(1 - keep**2)
    result = np.zeros(len(fine_s))
    for k in range(1, len(fine_s)):
        result[k] = keep * result[k - 1] + kicks[k]
    return result


def invent_motion(generator: np.random.Generator, run: Run, parameters: FloatArray) -> Invented:
    fine_s = np.arange(0, FRAMES / 60.0, 1 / 600.0)
    at = np.arange(FRAMES) * 10
    speed = jerky_speed(generator, fine_s)
    onset, hold = generator.uniform(0.4, 1.0), generator.uniform(0.4, 0.8)
    height = generator.uniform(0.05, 0.25)
    slip = height * (1 / (1 + np.exp(-(fine_s - onset) / 0.02)) - 1 / (1 + np.exp(-(fine_s - onset - hold) / 0.02)))
    # A contact that pushes more for a moment speeds up the machine and slows down the wheel.
    push = chatter(generator, fine_s) * slip / height
    speed, slip = speed - 0.5 * push, slip - push
    x = -0.6 + generator.uniform(-0.1, 0.1) + np.cumsum(speed) / 600.0
    # The wheel drives towards -x: its surface runs at the machine's speed that way, and slips on top.
    turned = generator.uniform(0, 6) + np.cumsum(-speed + slip) / 600.0 / WHEEL_RADIUS_M
    x, speed, slip, turned = x[at], speed[at], slip[at], turned[at]
    # What a sheet states about the rope holds within its own uncertainty, and a cord stretches.
    length = LENGTH_M * (1 + generator.normal(0, 0.0005) + abs(generator.normal(0, 0.003)))
    hitch_height = HITCH_HEIGHT_M + generator.normal(0, 0.0007)
    other = x + 0.145 + length + 0.145
    plans = plan_markers(run)
    places = np.zeros((FRAMES, len(plans), 3))
    for column, plan in enumerate(plans):
        forward, left, up = plan.at_m
        if plan.kind == "bead":
            along = x + 0.145 + plan.arc_m * length / LENGTH_M
            places[:, column] = np.stack([along, 0 * x, 0 * x + hitch_height], axis=1)
        elif plan.kind == "body":
            home, sign = (x, -1) if plan.machine == "heron" else (other, 1)
            places[:, column] = np.stack([home + sign * forward, 0 * x + sign * left, 0 * x + up], axis=1)
        else:
            on_circle = np.radians(plan.angle_deg) - turned
            along, lifted = plan.circle_m * np.cos(on_circle), plan.circle_m * np.sin(on_circle)
            places[:, column] = np.stack([x - forward - along, 0 * x - left, up + lifted], axis=1)
    pixels = project_points(parameters, places)
    pixels = pixels + NOISE_PX * generator.standard_normal(pixels.shape)
    u = np.full(pixels.shape[:2], NOISE_PX)
    state = np.full(pixels.shape[:2], TrackState.SEEN, dtype=np.int8)
    t_s = at / 600.0
    tracks = Tracks(plans, np.arange(FRAMES, dtype=np.int64), t_s, pixels[..., 0], pixels[..., 1], u, u, state)
    # x = 0 lies this far along the rope; what is beyond is on the +x side.
    plus = length - np.clip(-(x + 0.145), 0, length)
    return Invented(t_s, x, -speed, plus, float(length), slip, tracks)


@cache
def errors_and_u(runs: int = RUNS, seed: int = 20) -> dict[str, FloatArray]:
    """For each quantity an array (2, cases): errors and their stated uncertainties."""
    generator = np.random.default_rng(seed)
    run = invent_run()
    true_parameters = np.array(
        [
            985.0,
            987.0,
            644.8,
            355.8,
            -0.045,
            0.012,
            0.0004,
            -0.0003,
            0.0,
            2.2787,
            -0.1107,
            0.0362,
            -0.0218,
            -0.0116,
            2.2374,
        ]
    )
    covariance = calibration_covariance(true_parameters, run)
    root = np.linalg.cholesky(covariance + 1e-24 * np.eye(15))
    found: dict[str, list[FloatArray]] = {name: [] for name in QUANTITIES}
    shown = slice(3, FRAMES, 12)
    for _ in range(runs):
        truth = invent_motion(generator, run, true_parameters)
        off = true_parameters + root @ generator.standard_normal(15)
        cameras = Cameras(1280, 720, False, np.zeros(1, np.int64), off[None], covariance[None], np.ones(1, np.bool_))
        motion, _ = measure_motion(run, truth.tracks, cameras)
        for name, pair in compare(motion, truth).items():
            found[name].append(pair[:, shown])
    return {name: np.concatenate(pairs, axis=1) for name, pairs in found.items()}


def compare(motion: Motion, truth: Invented) -> dict[str, FloatArray]:
    heron, wheel, rope = motion.machines["heron"], motion.wheels[0], motion.rope
    assert rope is not None
    sides = (rope.on_plus_x_m, rope.u_on_plus_x_m, rope.on_minus_x_m, rope.u_on_minus_x_m)
    middle_m, u_middle_m = beyond_share(*sides, u_whole=rope.u_total_m)
    return {
        "position": np.stack([heron.x_m - truth.x_m, heron.u_x_m]),
        "speed": np.stack([heron.speed_m_s - truth.speed_m_s, heron.u_speed_m_s]),
        "rope share": np.stack([rope.on_plus_x_m - truth.plus_m, rope.u_on_plus_x_m]),
        "rope middle": np.stack([middle_m - (truth.plus_m - truth.length_m / 2), u_middle_m]),
        "slip speed": np.stack([wheel.slip_speed_m_s - truth.slip_m_s, wheel.u_slip_speed_m_s]),
    }


@pytest.mark.slow
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_intervals_hold(quantity: str) -> None:
    error, u = errors_and_u()[quantity]
    assert np.isfinite(error).all()
    assert np.mean(np.abs(error) < 1.96 * u) == pytest.approx(0.95, abs=0.03)
    assert np.sqrt(np.mean(error**2) / np.mean(u**2)) == pytest.approx(1.0, abs=0.15)
