"""Rolling shutter: a picture's rows are exposed one after the other, so each marker has a time of its own."""

from dataclasses import replace

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.footage import RowTiming
from matchvision.records.motion import MachineMotion, Motion, RopeMotion, WheelMotion

#: A marker's motion in the picture is taken from the frames within this of its own [frames].
HALF_WINDOW_FRAMES = 2
#: … and not further away than this [s].
LONGEST_REACH_S = 0.12


def row_delay_s(row_px: FloatArray, height_px: int, readout_s: float) -> FloatArray:
    """How much later than the picture's time a row is exposed [s]; the middle row is on time.

    Notes
    -----
    Row v of height h: (v / (h − 1) − 1/2) · readout.
    Checked by: tests/derived/test_rows_and_times.py::test_two_rows
    """
    return np.asarray((np.asarray(row_px, dtype=np.float64) / (height_px - 1) - 0.5) * readout_s)


def bring_to_frame_time(
    pixels_px: FloatArray, u_pixels_px: FloatArray, real_s: FloatArray, height_px: int, readout_s: float
) -> tuple[FloatArray, FloatArray]:
    """Pixels (n, m, 2) where the markers would be at the frames' times, and their uncertainties.

    Notes
    -----
    Each marker's pixels over its own times, ± `HALF_WINDOW_FRAMES` about each frame, give a straight line by least
    squares: its slope times the row's delay is taken off. For even spacing the slope at the middle is right to the
    third order in time. Its noise, σ over the window's spread in time, is added. A marker alone in its window stays
    where it is.
    Checked by: tests/derived/test_rows_and_times.py::test_falling_row_by_row
    """
    if readout_s == 0:
        return pixels_px, u_pixels_px
    delay = row_delay_s(pixels_px[..., 1], height_px, readout_s)
    times = real_s[:, None] + delay
    n = len(real_s)
    count, sum_t, sum_tt = (np.zeros(delay.shape) for _ in range(3))
    sum_p, sum_tp = np.zeros(pixels_px.shape), np.zeros(pixels_px.shape)
    for step in range(-HALF_WINDOW_FRAMES, HALF_WINDOW_FRAMES + 1):
        here, there = slice(max(0, -step), min(n, n - step)), slice(max(0, step), min(n, n + step))
        if here.start >= here.stop:
            continue
        apart = times[there] - times[here]
        off = pixels_px[there] - pixels_px[here]
        known = np.isfinite(apart) & (np.abs(apart) <= LONGEST_REACH_S)
        apart, off = np.where(known, apart, 0.0), np.where(known[..., None], off, 0.0)
        count[here] += known
        sum_t[here] += apart
        sum_tt[here] += apart**2
        sum_p[here] += off
        sum_tp[here] += apart[..., None] * off
    spread = sum_tt - sum_t**2 / np.maximum(count, 1.0)
    enough = (count >= 2) & (spread > 0)
    safe = np.where(enough, spread, 1.0)
    slope = (sum_tp - sum_t[..., None] * sum_p / np.maximum(count, 1.0)[..., None]) / safe[..., None]
    slope = np.where(enough[..., None], slope, 0.0)
    u_slope = np.where(enough[..., None], u_pixels_px / np.sqrt(safe)[..., None], 0.0)
    moved = pixels_px - slope * delay[..., None]
    return moved, np.hypot(u_pixels_px, u_slope * delay[..., None])


def allow_for_readout(motion: Motion, rows: RowTiming, width_px: int, height_px: int) -> Motion:
    """The same motion, its uncertainties holding that of the readout.

    Notes
    -----
    Each thing may have been seen p · u(R) earlier or later, p being where its markers lie along the readout in the
    mean: its place is less sure by its speed times that, its speed by its acceleration times that. All frames share
    this error, so it does not average out.
    Checked by: tests/motion/test_shutter.py::test_unknown_readout_is_in_the_uncertainty
    """
    if rows.u_s == 0:
        return motion
    tracks = motion.tracks
    pixels = np.stack([tracks.col_px, tracks.row_px], axis=-1)
    u_time_s = np.abs(rows.share(pixels, width_px, height_px)) * rows.u_s
    signed_s = rows.share(pixels, width_px, height_px) * rows.u_s

    def u_of(kinds: set[str], machine: str = "", wheel: str = "") -> FloatArray:
        columns = [
            i for i, p in enumerate(tracks.plans)
            if p.kind in kinds and p.machine == machine and (not wheel or p.wheel == wheel)
        ]  # fmt: skip
        known = np.isfinite(signed_s[:, columns])
        total = np.where(known, signed_s[:, columns], 0.0).sum(axis=1)
        return np.asarray(np.abs(total) / np.maximum(known.sum(axis=1), 1))

    real_s = motion.real_s
    places = motion.places
    wider = replace(
        places,
        u_x_m=np.hypot(places.u_x_m, _rate(places.x_m, real_s) * np.nan_to_num(u_time_s)),
        u_y_m=np.hypot(places.u_y_m, _rate(places.y_m, real_s) * np.nan_to_num(u_time_s)),
    )
    machines = {name: _late_machine(m, real_s, u_of({"body"}, name)) for name, m in motion.machines.items()}
    wheels = tuple(_late_wheel(w, real_s, u_of({"rim"}, w.machine, w.wheel)) for w in motion.wheels)
    rope = None if motion.rope is None else _late_rope(motion.rope, real_s, u_of({"bead", "link"}))
    return replace(motion, places=wider, machines=machines, wheels=wheels, rope=rope)


def _late_machine(moved: MachineMotion, real_s: FloatArray, u_time_s: FloatArray) -> MachineMotion:
    return replace(
        moved,
        u_x_m=np.hypot(moved.u_x_m, _rate(moved.x_m, real_s) * u_time_s),
        u_y_m=np.hypot(moved.u_y_m, _rate(moved.y_m, real_s) * u_time_s),
        u_speed_m_s=np.hypot(moved.u_speed_m_s, np.nan_to_num(moved.accel_m_s2) * u_time_s),
        u_heading_deg=np.hypot(moved.u_heading_deg, _rate(moved.heading_deg, real_s) * u_time_s),
    )


def _late_wheel(wheel: WheelMotion, real_s: FloatArray, u_time_s: FloatArray) -> WheelMotion:
    return replace(
        wheel,
        u_angle_rad=np.hypot(wheel.u_angle_rad, np.nan_to_num(wheel.rate_rad_s) * u_time_s),
        u_rate_rad_s=np.hypot(wheel.u_rate_rad_s, _rate(wheel.rate_rad_s, real_s) * u_time_s),
    )


def _late_rope(rope: RopeMotion, real_s: FloatArray, u_time_s: FloatArray) -> RopeMotion:
    off_m = np.nan_to_num(rope.speed_m_s) * u_time_s
    return replace(
        rope,
        u_on_minus_x_m=np.hypot(rope.u_on_minus_x_m, off_m),
        u_on_plus_x_m=np.hypot(rope.u_on_plus_x_m, off_m),
        u_speed_m_s=np.hypot(rope.u_speed_m_s, _rate(rope.speed_m_s, real_s) * u_time_s),
    )


def _rate(values: FloatArray, real_s: FloatArray) -> FloatArray:
    """Change a second over `HALF_WINDOW_FRAMES` to either side; 0 where it is not known."""
    n = len(real_s)
    before = np.maximum(np.arange(n) - HALF_WINDOW_FRAMES, 0)
    after = np.minimum(np.arange(n) + HALF_WINDOW_FRAMES, n - 1)
    length_s = (real_s[after] - real_s[before]).reshape(-1, *(1,) * (values.ndim - 1))
    return np.nan_to_num((values[after] - values[before]) / np.where(length_s > 0, length_s, np.inf))
