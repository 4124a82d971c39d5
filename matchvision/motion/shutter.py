"""Rolling shutter: a picture's rows are exposed one after the other, so each marker has a time of its own."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

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
