"""A start lamp in view: watched in the one pass over the clip, its lighting dated between pictures."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.footage.readout import scan_share
from matchvision.records.footage import RowTiming
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.motion import StartSignal

#: Radius of the disc over which the lamp is watched, where the sheet gives none [px].
USUAL_RADIUS_PX: Final = 4.0
#: Stretch before and after a moment whose medians are compared [s].
_STRETCH_S: Final = 0.15
#: A lighting stands so far above the noise, and reaches this share of full white [1].
_CLEAR_SIGMA: Final = 8.0
_LEAST_STEP: Final = 0.03
#: Steps of at least this share of the greatest could each be the signal.
_RIVAL_RATIO: Final = 0.5
#: Below this share of its step the lamp counts as dark, above one less it as lit.
_DARK_SHARE: Final = 0.1
#: A channel tells of the lamp where it rises by this share of the greatest rise.
_TELLING_RATIO: Final = 0.25
#: Linear light from which a channel is at its end.
_FULL: Final = 0.93
#: Exposures last between nothing and the whole time from picture to picture; half of it is the guess.
_EXPOSURE_RATIO: Final = 0.5
#: The curve from light to code is only roughly known: so much of the exposure is added to u.
_CURVE_RATIO: Final = 0.15
#: Red, green and blue from Cr and Cb: 2 (1 − Kr), 2 (1 − Kb) and luma's weights of both.
_WEIGHTS: Final = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722), "bt2020": (0.2627, 0.0593)}
#: Fewer pictures show no lamp that lights.
_FEWEST_PICTURES: Final = 4
_LOOK_UP: Final = "look up the clip time at which the lamp lights and give it as [clock] start_s"


class LampWatch:
    """Watches one place in every picture.

    Parameters
    ----------
    facts : ClipFacts
    at_px : (float, float)
        The lamp's middle in the upright picture, (col, row).
    radius_px : float, optional
        Of the disc that is watched; smaller than the lamp.
    readout_s : float, optional
        The rolling shutter's time from the first row to the last, in real seconds [s].
    recorded_fps : float, optional
        The rate of recording that the sheet gives for slow motion.

    Raises
    ------
    CannotMeasure
        The place lies outside the picture.
    """

    def __init__(
        self,
        facts: ClipFacts,
        at_px: tuple[float, float],
        radius_px: float | None = None,
        readout_s: float | None = None,
        recorded_fps: float | None = None,
    ) -> None:
        col, row = at_px
        if not (0 <= col <= facts.width_px - 1 and 0 <= row <= facts.height_px - 1):
            raise CannotMeasure(
                f"the lamp's place ({col:g}, {row:g}) lies outside the picture of {facts.width_px} × "
                f"{facts.height_px} pixels",
                do="give [clock] lamp_at_px as column and row in the upright picture",
            )
        self._facts, self._at_px, self._readout_s = facts, at_px, readout_s
        self._real_per_clip = facts.real_per_clip_ratio(recorded_fps)
        self._radius_px = radius_px or USUAL_RADIUS_PX
        self._clip_s: list[float] = []
        self._light: list[FloatArray] = []

    def see(self, frame: Frame) -> None:
        """Take the next frame; one that only repeats the picture before says nothing."""
        if frame.doubled:
            return
        step, offset = frame.chroma_step_px, frame.chroma_offset_px
        luma = _disc_mean(frame.luma, self._at_px, self._radius_px, (1, 1), (0.0, 0.0))
        blue = _disc_mean(frame.blue, self._at_px, self._radius_px, step, offset)
        red = _disc_mean(frame.red, self._at_px, self._radius_px, step, offset)
        self._clip_s.append(frame.clip_s)
        self._light.append(_linear_light(luma, blue, red, self._facts))

    def signal(self, rows: RowTiming | None = None) -> StartSignal:
        """When the lamp lights.

        Parameters
        ----------
        rows : RowTiming, optional
            The readout as it was found, where the sheet does not give it.

        Raises
        ------
        CannotMeasure
            Nothing lights there, or more than once; the times are listed.

        Notes
        -----
        With T from picture to picture, the lamp lights in the exposure of the first picture in which it is brighter, or
        in the gap before. Fully lit there: the middle of both pictures, u = T/√12. Lit in part, by a share f of linear
        light: the exposure's middle + e (1/2 − f), where the exposure e is taken as T/2 and known to T/√12. A lamp that
        drives the sensor to its end hides f: it is then only known to have lit within T, T/4 later. Rows that a rolling
        shutter exposes later shift the time where its readout is given, else go into u.
        Checked by: tests/footage/test_lamp.py::test_lighting_is_dated_within_its_uncertainty
        """
        clip_s, light = np.array(self._clip_s), np.array(self._light).reshape(-1, 3).sum(axis=1)
        if len(light) < _FEWEST_PICTURES:
            raise CannotMeasure("the clip is too short to see a lamp light", do=_LOOK_UP)
        lit = self.lightings(rows)
        if not lit:
            falls = _find_steps(clip_s, -light)
            out = f"; it goes out at {clip_s[falls[0]]:.3f} s, which is not taken for a start" if len(falls) else ""
            raise CannotMeasure(
                f"no lamp lights at ({self._at_px[0]:g}, {self._at_px[1]:g}){out}",
                do="give the lamp's middle in the upright picture as [clock] lamp_at_px, or its time as start_s",
            )
        if len(lit) > 1:
            listed = ", ".join(f"{signal.clip_s:.3f} s" for signal in lit[:8])
            raise CannotMeasure(
                f"something lights {len(lit)} times at the lamp's place: at {listed}",
                do="give the right one of these times as [clock] start_s",
            )
        return lit[0]

    def lightings(self, rows: RowTiming | None = None) -> tuple[StartSignal, ...]:
        """Every time that the lamp lights, dated as `signal` says, in order of time."""
        clip_s, channels = np.array(self._clip_s), np.array(self._light).reshape(-1, 3)
        if len(clip_s) < _FEWEST_PICTURES:
            return ()
        return tuple(self._date(clip_s, channels, first, rows) for first in _find_steps(clip_s, channels.sum(axis=1)))

    def _date(self, clip_s: FloatArray, channels: FloatArray, first: int, rows: RowTiming | None) -> StartSignal:
        at_s, u_s = _date_step(clip_s, channels, first)
        tick_s = float(np.median(np.diff(clip_s)))
        share = scan_share(self._at_px, self._facts)
        if self._readout_s is not None:
            at_s += share * self._readout_s / self._real_per_clip
        elif rows is not None and rows.known:
            at_s += share * rows.readout_s / self._real_per_clip
            u_s = float(np.hypot(u_s, share * rows.u_s / self._real_per_clip))
        else:
            u_s = float(np.hypot(u_s, tick_s * share / np.sqrt(3)))
        return StartSignal(at_s, u_s, "the start lamp")


def _disc_mean(
    plane: npt.NDArray[np.uint8],
    at_px: tuple[float, float],
    radius_px: float,
    step: tuple[int, int],
    offset: tuple[float, float],
) -> float:
    """Mean of the samples whose middle lies in the disc; of the nearest one where none does."""
    rows, cols = plane.shape
    col, row = (at_px[0] - offset[0]) / step[0], (at_px[1] - offset[1]) / step[1]
    half_col, half_row = radius_px / step[0], radius_px / step[1]
    near_col, near_row = min(max(round(col), 0), cols - 1), min(max(round(row), 0), rows - 1)
    left, right = max(0, min(near_col, int(np.ceil(col - half_col)))), max(near_col, int(col + half_col)) + 1
    top, bottom = max(0, min(near_row, int(np.ceil(row - half_row)))), max(near_row, int(row + half_row)) + 1
    window = plane[top:bottom, left:right]
    i, j = np.mgrid[top : top + window.shape[0], left : left + window.shape[1]]
    inside = ((j - col) / half_col) ** 2 + ((i - row) / half_row) ** 2 <= 1
    return float(window[inside].mean()) if inside.any() else float(plane[near_row, near_col])


def _linear_light(luma: float, blue: float, red: float, facts: ClipFacts) -> FloatArray:
    """Linear red, green and blue, each 0 to 1: a coloured lamp changes one of them as much as a white one all."""
    weight_red, weight_blue = _WEIGHTS.get(facts.matrix, _WEIGHTS["bt709"])
    y = luma / 255 if facts.full_range else (luma - 16) / 219
    levels = 255.0 if facts.full_range else 224.0
    r = y + 2 * (1 - weight_red) * (red - 128) / levels
    b = y + 2 * (1 - weight_blue) * (blue - 128) / levels
    g = (y - weight_red * r - weight_blue * b) / (1 - weight_red - weight_blue)
    return np.asarray(np.clip([r, g, b], 0, 1) ** 2.2, dtype=np.float64)


def _find_steps(clip_s: FloatArray, light: FloatArray) -> list[int]:
    """Numbers of the pictures in which the light rises for good, those that could each be the signal."""
    tick_s = float(np.median(np.diff(clip_s)))
    wide = max(2, round(_STRETCH_S / tick_s))
    rise = np.zeros(len(light))
    for k in range(1, len(light)):
        before, after = light[max(0, k - wide) : k], light[k + 1 : k + 1 + wide]
        if len(after):
            rise[k] = float(np.median(after) - np.median(before))
    noise = 1.4826 * float(np.median(np.abs(np.diff(light)))) / np.sqrt(2)
    clear = max(_LEAST_STEP, _CLEAR_SIGMA * noise, _RIVAL_RATIO * float(rise.max()))
    steps: list[int] = []
    at = np.flatnonzero(rise >= clear)
    for group in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1):
        if len(group):
            # The first picture of the step: brighter than dark by more than a tenth of the whole rise.
            dark = float(np.median(light[max(0, group[0] - wide) : max(1, group[0])]))
            height = float(rise[group].max())
            candidates = range(int(group[0]), min(len(light), int(group[-1]) + 3))
            steps.append(next((k for k in candidates if light[k] - dark > _DARK_SHARE * height), int(group[0])))
    return steps


def _date_step(clip_s: FloatArray, channels: FloatArray, first: int) -> tuple[float, float]:
    """Time at which the light came on and its u, from the first picture in which it is brighter.

    Parameters
    ----------
    channels : (n, 3) float array
        Linear light; a channel that the lamp drives to its end tells no share and is left out where another serves.
    """
    tick_s = float(clip_s[first] - clip_s[first - 1])
    wide = max(2, round(_STRETCH_S / tick_s))
    dark = np.median(channels[max(0, first - wide) : first], axis=0)
    after = channels[first + 1 : first + 1 + wide] if first + 1 < len(channels) else channels[first : first + 1]
    lit = np.median(after, axis=0)
    step = lit - dark
    telling = (lit < _FULL) & (step > _TELLING_RATIO * step.max())
    full = not telling.any()
    used = np.ones(3, dtype=np.bool_) if full else telling
    shares = (channels[first : first + 2, used].sum(axis=1) - dark[used].sum()) / step[used].sum()
    exposure_s = _EXPOSURE_RATIO * tick_s
    u_tick_s = tick_s / np.sqrt(12)
    if shares[-1] < 1 - 2 * _DARK_SHARE:
        # A filament that glows up over several pictures: the share says little about the moment.
        return float(clip_s[first] - tick_s / 2), float(2 * u_tick_s)
    if full:
        shift_s = exposure_s / 2 - tick_s / 2 if shares[0] > 1 - _DARK_SHARE else 0.4 * exposure_s
        return float(clip_s[first] + shift_s), float(np.hypot(u_tick_s, exposure_s / np.sqrt(12)))
    if shares[0] > 1 - _DARK_SHARE:
        return float(clip_s[first] - tick_s / 2), float(u_tick_s)
    u_s = np.hypot(u_tick_s * (0.5 - shares[0]), _CURVE_RATIO * exposure_s)
    return float(clip_s[first] + exposure_s * (0.5 - shares[0])), float(u_s)
