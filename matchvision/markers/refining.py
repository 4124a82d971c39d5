"""Centres to the limit of the pixels: a second fit, in luma and chroma together, with the clip's optics learnt."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.markers import fitting
from matchvision.markers.centres import Centres, Windows, is_clear
from matchvision.markers.scattering import Scatter
from matchvision.markers.stating import Optics, coded_share, state_places, take_fits
from matchvision.markers.streaking import SHUTTERS, Streaks
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan

#: Blur of an ordinary phone before any is measured [px].
_USUAL_BLUR_PX: Final = 1.0
#: Frames in which the optics are learnt: each of the first few, then every sixteenth, with the weight of a new look.
_FIRST_LOOKS: Final = 6
_FRAMES_A_LOOK: Final = 16
_LEAST_GAIN: Final = 0.1
#: Half the thickness of a sticker whose side shows as well, where the sheet does not state it [m].
_SIDE_M: Final = 0.00015
#: A stated side may be lighter or darker than the face, and so count for more or less than half its breadth.
_SIDE_SHADE_RATIO: Final = 0.3
#: A size learnt from a marker counts fully where it is known this well.
_SURE_SIZE: Final = 0.02


class Refiner:
    """Fits the markers' centres in luma and chroma and learns blur, sizes, shade and how alike neighbours err.

    Spheres are fitted in chroma alone: in luma their shade is not straight, and rope, shadow and reflections touch
    them.

    Parameters
    ----------
    plans : marker plans
        Rows of the windows; spheres have shade, discs have none.
    """

    def __init__(self, plans: Sequence[MarkerPlan]) -> None:
        count = len(plans)
        self._radius_m = np.array([p.radius_m for p in plans])
        thickness_m = np.array([p.thickness_m for p in plans])
        self._side_m = np.where(np.isnan(thickness_m), _SIDE_M, _SIDE_SHADE_RATIO * thickness_m / 2)
        self._spheres = np.array([p.sphere for p in plans], dtype=np.bool_)
        self.blur_px = _USUAL_BLUR_PX
        self.size = np.ones(count)
        self.shade = np.zeros((count, 2))
        self.alike = np.ones(2)
        self._before = np.full((count, fitting.COLUMNS), np.nan)
        self._usual = np.full((count, 2), np.nan)
        self._answer = np.full((count, fitting.COLUMNS), np.nan)
        self._looks, self._frames = 0, 0
        self._scatter = Scatter(plans)
        self._streaks = Streaks(count)
        self._following = np.full(count, fitting.FREE_WHILE_FOLLOWING)

    def refine(self, frame: Frame, windows: Windows, centres: Centres) -> Centres:
        """Better places and true uncertainties for the centres that are clear; the others as they were.

        Notes
        -----
        Maximum likelihood for normal residuals whose scale in each plane is estimated with them, outliers weighed down
        (Huber); covariance is the inverse of the information, divided by how alike neighbours err.
        Checked by: tests/derived/test_centre_bound.py::test_centres_reach_the_bound_and_say_so
        """
        clear = is_clear(centres) & (centres.place_px[:, 0] > 0)
        if not clear.any():
            return centres
        place = np.where(clear[:, None], centres.place_px, np.nan)
        speed_px = self._streaks.speed(frame.index, place)
        if self._streaks.wants_look(speed_px):
            self._weigh_shutters(frame, windows, place, speed_px)
        streak = self._streaks.while_open(speed_px)
        if self._looks < _FIRST_LOOKS or self._frames % _FRAMES_A_LOOK == 0:
            self._learn(frame, windows, place, streak)
        self._frames += 1
        answer = self._fit(frame, windows, place, self._following, streak, learn=False)
        self._streaks.take(frame.index, answer[:, :2])
        optics = Optics(
            self.blur_px,
            coded_share(float(self.alike[1])),
            float(self.alike[0]),
            self._spheres,
            self._radius_m,
            self._side_m,
        )
        spread = take_fits(answer, centres, clear, windows, optics, self._usual, self._before)
        self._scatter.take(frame.index, answer[:, :2], spread[0])
        place_px, u_px = state_places(answer, centres, clear, windows, optics, self._scatter.beyond_px, spread)
        return replace(centres, place_px=place_px, u_px=u_px)

    def _weigh_shutters(self, frame: Frame, windows: Windows, place_px: FloatArray, speed_px: FloatArray) -> None:
        """How well each share of the time between pictures explains the streaks of the fast markers."""
        fast = self._streaks.is_fast(speed_px)
        place = np.where(fast[:, None], place_px, np.nan)
        costs = np.empty(len(SHUTTERS))
        for k, shutter in enumerate(SHUTTERS):
            streak = self._streaks.while_open(speed_px, shutter, room=1.0)
            # The blur is free: what was learnt of it may hold a streak.
            answer = self._fit(frame, windows, place, self._following + 1, streak, learn=False)
            with np.errstate(divide="ignore", invalid="ignore"):
                chroma = answer[:, fitting.CHROMA_COUNT] * np.log(answer[:, fitting.CHROMA_SCALE]) / self.alike[0]
                luma = answer[:, fitting.LUMA_COUNT] * np.log(answer[:, fitting.LUMA_SCALE]) / self.alike[1]
            each = chroma + np.where(self._spheres, 0.0, luma)
            # A shutter with which a marker cannot be fitted says nothing, and with it none does.
            costs[k] = float(each[fast].sum())
        self._streaks.learn(costs)

    def _fit(
        self, frame: Frame, windows: Windows, place_px: FloatArray, free: npt.NDArray[np.int64], streak: FloatArray,
        learn: bool,
    ) -> FloatArray:  # fmt: skip
        answer = self._answer
        answer[:] = np.nan
        fitting.fit_discs(
            frame.luma,
            frame.blue,
            frame.red,
            np.array([*frame.chroma_step_px, *frame.chroma_offset_px], dtype=np.float64),
            place_px,
            np.ascontiguousarray(windows.direction),
            np.ascontiguousarray(windows.strength),
            np.ascontiguousarray(windows.inverse),
            np.ascontiguousarray(windows.radius_px),
            np.ascontiguousarray(windows.neutral),
            self.blur_px,
            self.size,
            self.shade,
            streak,
            self.alike,
            free,
            ~self._spheres,
            self._before,
            learn,
            answer,
        )
        return answer

    def _learn(self, frame: Frame, windows: Windows, place_px: FloatArray, streak: FloatArray) -> None:
        """Blur and alikeness common to the clip, shade common to its spheres, each marker's size."""
        free = np.where(self._spheres, fitting.UNKNOWNS, fitting.SHADE_ACROSS)
        answer = self._fit(frame, windows, place_px, free, streak, learn=True)
        good = np.isfinite(answer[:, fitting.BLUR]) & (answer[:, fitting.KEPT] > 0.8)
        if not good.any():
            return
        gain = max(1 / (self._looks + 1), _LEAST_GAIN)
        self._looks += 1
        variance = answer[:, fitting.UNKNOWNS : 2 * fitting.UNKNOWNS]
        self.blur_px += gain * (_pool(answer, variance, fitting.BLUR, good) - self.blur_px)
        for plane, rows in ((0, good), (1, good & ~self._spheres)):
            if rows.any():
                found = max(float(np.median(answer[rows, fitting.CHROMA_ALIKE + plane])), 1.0)
                self.alike[plane] += gain * (found - self.alike[plane])
        trust = gain / (1 + variance[good, fitting.SIZE] / _SURE_SIZE**2)
        self.size[good] += trust * (answer[good, fitting.SIZE] - self.size[good])
        balls = good & self._spheres
        if balls.any():
            # Lamps hang above: what looks brighter below is a reflection that whitens the upper half.
            down = min(_pool(answer, variance, fitting.SHADE_DOWN, balls), 0.0)
            self.shade[self._spheres, 1] += gain * (down - self.shade[self._spheres, 1])


def _pool(answer: FloatArray, variance: FloatArray, unknown: int, rows: npt.NDArray[np.bool_]) -> float:
    """Median of an unknown over markers, each with the weight of its information."""
    values, weights = answer[rows, unknown], 1 / variance[rows, unknown]
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
