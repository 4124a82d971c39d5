"""Sample clips' exact truth as a motion record with noise like a good measurement's, to test what comes after."""

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt

from matchvision.records.motion import MachineMotion, MatchClock, Motion, Places, RopeMotion, WheelMotion
from tests.truth import read_run, read_truth, true_tracks

FloatArray = npt.NDArray[np.float64]


def _noise(generator: np.random.Generator, n: int, u: float, tied: int) -> FloatArray:
    """Noise of standard deviation u whose neighbours are tied over some frames, as a smoother ties them."""
    kernel = np.hanning(tied + 2)[1:-1]
    raw = np.convolve(generator.standard_normal(n + tied - 1), kernel / math.sqrt(float(kernel @ kernel)), "valid")
    return np.asarray(u * raw)


def true_clock(folder: Path) -> MatchClock:
    """The clock as the sheet gives it."""
    clock = read_run(folder).sheet.clock
    return MatchClock(float(clock.start_s or 0.0), clock.duration_s)


def true_motion(
    folder: Path,
    generator: np.random.Generator,
    *,
    u_place_m: float = 0.0004,
    u_speed_m_s: float = 0.002,
    u_accel_m_s2: float = 0.03,
    u_slip_m_s: float = 0.004,
    u_link_m: float = 0.0005,
    u_rope_m: float = 0.0008,
) -> Motion:
    """True motion of a sample clip plus noise of the stated standard uncertainties."""
    run, truth = read_run(folder), read_truth(folder)
    tracks = true_tracks(folder, run, generator)
    clip_s = tracks.clip_s
    n = len(clip_s)

    def noisy(values: FloatArray, u: float, tied: int = 7) -> tuple[FloatArray, FloatArray]:
        return values + _noise(generator, n, u, tied), np.full(n, u)

    columns = [name.replace(".", "_") for name in tracks.names]
    x, y, z = (np.stack([truth[f"{c}_{axis}"].to_numpy(float) for c in columns], axis=1) for axis in "xyz")
    seen = np.isfinite(tracks.col_px)
    x, y = (np.where(seen, v + u_place_m * generator.standard_normal(v.shape), np.nan) for v in (x, y))
    u_place = np.where(seen, u_place_m, np.nan)
    places = Places(x, y, np.where(seen, z, np.nan), u_place, u_place.copy())

    machines, wheels = {}, []
    for name, machine in run.sheet.machine.items():
        side = 1.0 if machine.home == "+x" else -1.0
        speed = side * truth[f"{name}_vx"].to_numpy(float)
        # The machine's mean acceleration over some frames: contact chatter within a frame is no motion of the machine.
        accel = np.gradient(np.convolve(np.pad(speed, 2, mode="edge"), np.ones(5) / 5, "valid"), clip_s)
        heading = np.rad2deg(np.unwrap(np.deg2rad(truth[f"{name}_heading_deg"].to_numpy(float))))
        (px, u_px), (py, u_py) = (noisy(truth[f"{name}_pos_{axis}"].to_numpy(float), u_place_m) for axis in "xy")
        (v, u_v), (a, u_a), (h, u_h) = noisy(speed, u_speed_m_s), noisy(accel, u_accel_m_s2), noisy(heading, 0.15)
        machines[name] = MachineMotion(name, px, py, v, a, h, u_px, u_py, u_v, u_a, u_h)
        for wheel in machine.wheel:
            rate, u_rate = noisy(truth[f"{name}_wheel_w"].to_numpy(float), u_slip_m_s / wheel.radius_m)
            slip, u_slip = noisy(truth[f"{name}_slip"].to_numpy(float), u_slip_m_s)
            angle = truth[f"{name}_wheel_angle"].to_numpy(float)
            nothing = np.full(n, np.nan)
            surface, u_surface = rate * wheel.radius_m, u_rate * wheel.radius_m
            wheels.append(
                WheelMotion(
                    name, wheel.name, wheel.radius_m, True, angle, rate, surface, slip, nothing,
                    np.full(n, 0.01), u_rate, u_surface, u_slip, nothing.copy(),
                )
            )  # fmt: skip
    rope = _true_rope(folder, generator, u_link_m, u_rope_m)
    return Motion(tracks.frame, clip_s, clip_s.copy(), tracks, places, machines, tuple(wheels), rope)


def _true_rope(folder: Path, generator: np.random.Generator, u_link_m: float, u_rope_m: float) -> RopeMotion:
    run, truth = read_run(folder), read_truth(folder)
    cord = run.sheet.rope
    assert cord is not None
    n = len(truth)
    plus = truth["rope_plus_x_m"].to_numpy(float)
    total = truth["rope_total_m"].to_numpy(float)
    shift = _noise(generator, n, u_rope_m, 7)
    ends = [np.stack([truth[f"{name}_hitch_{axis}"].to_numpy(float) for axis in "xyz"], axis=1) for name in cord.ends]
    span = np.linalg.norm(ends[1] - ends[0], axis=1)
    # A pull needs a taut rope; where it is slack the direction is of no account.
    there = (ends[1] - ends[0]) / span[:, None]
    direction = np.stack([there, -there], axis=1)
    link, u_link = np.full(n, np.nan), np.full(n, np.nan)
    if cord.link is not None:
        apart = [truth[f"link_1_{a}"].to_numpy(float) - truth[f"link_2_{a}"].to_numpy(float) for a in "xyz"]
        link = np.sqrt(np.sum(np.square(apart), axis=0)) + u_link_m * generator.standard_normal(n)
        u_link = np.full(n, u_link_m)
    slack = 1.0 - truth["rope_taut"].to_numpy(float)
    u = np.full(n, u_rope_m)
    return RopeMotion(
        on_minus_x_m=total - plus - shift,
        on_plus_x_m=plus + shift,
        u_on_minus_x_m=u,
        u_on_plus_x_m=u.copy(),
        speed_m_s=np.gradient(truth["rope_mid_x"].to_numpy(float), truth["pts_s"].to_numpy(float)),
        u_speed_m_s=np.full(n, 0.003),
        slack=slack,
        crossing_arc_m=total - plus,
        span_m=span,
        link_length_m=link,
        u_link_length_m=u_link,
        u_link_common_ratio=0.001,
        pull_dir_x=direction[:, :, 0],
        pull_dir_y=direction[:, :, 1],
        pull_dir_z=direction[:, :, 2],
        total_m=total,
        u_total_m=np.full(n, 0.001),
    )
