"""Centres to the limit of the pixels: a second fit, in luma and chroma together, with the clip's optics learnt."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.markers import fitting
from matchvision.markers.centres import Centres, Windows, is_clear
from matchvision.markers.scattering import Scatter
from matchvision.markers.streaking import SHUTTERS, Streaks
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

#: Blur of an ordinary phone before any is measured [px].
_USUAL_BLUR_PX: Final = 1.0
#: Frames in which the optics are learnt: each of the first few, then every sixteenth, with the weight of a new look.
_FIRST_LOOKS: Final = 6
_FRAMES_A_LOOK: Final = 16
_LEAST_GAIN: Final = 0.1
#: What no residual shows: what a sphere's curved shade, rope and reflections do, in parts of its radius; half the
#: thickness of a sticker whose side shows as well, where the sheet does not state it [m].
#: Residual of a sphere's chroma over its contrast up to which a codec's steps are fine, and from which they are coarse:
#: sample clips of usual range lie at 0.045, where spread and statement agree, cyan in PQ at 0.1, where they did not.
_FINE_RATIO: Final = 0.05
_COARSE_RATIO: Final = 0.10
#: Residual scales, by which outliers are told, grow by no more a picture: a hand that comes slowly is one as well.
_SCALES: Final = [fitting.CHROMA_SCALE, fitting.LUMA_SCALE]
_GROWTH: Final = 1.03
#: Share of the samples that agree on a marker in plain sight. What covers a part of it leaves its edge with the fit: up
#: to so many blurs for all of the samples, as drawn discs covered by a tenth and a quarter show.
_WHOLE: Final = 0.95
_EDGES_LOST: Final = 1.5
_PALE: Final = 0.75
_CLEAR_MISFIT: Final = 1.5
#: Likeness of luma's residuals from which a codec has been at work: white noise stays below.
_CODED_ALIKE: Final = 1.25
_SPHERE_RATIO: Final = 0.015
_SIDE_M: Final = 0.00015
#: A stated side may be lighter or darker than the face, and so count for more or less than half its breadth.
_SIDE_SHADE_RATIO: Final = 0.3
#: The second fit must stay so near the first, in its standard uncertainties and at least in pixels.
_NEAR: Final = (4.0, 0.25)
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
        usual = self._usual
        self._usual = np.fmin(answer[:, _SCALES], _GROWTH * usual)
        self._before[:] = answer
        self._before[:, _SCALES] = np.where(np.isfinite(answer[:, _SCALES]), self._usual, np.nan)
        variance = answer[:, [fitting.UNKNOWNS + fitting.COL, fitting.UNKNOWNS + fitting.ROW]]
        away = np.hypot(*(answer[:, :2] - place).T)
        variance *= self._coarseness(answer)[:, None]
        self._scatter.take(frame.index, answer[:, :2], variance)
        near = away < np.maximum(_NEAR[0] * np.hypot(*centres.u_px.T), _NEAR[1])
        kept = (clear & np.isfinite(variance).all(axis=1) & near)[:, None]
        variance += (_EDGES_LOST * self.blur_px * np.maximum(_WHOLE - answer[:, [fitting.KEPT]], 0)) ** 2
        # Where the second fit fails although it has served, the first one's misfit tells whether something hides it.
        noise = _CLEAR_MISFIT * usual[:, 0] / windows.strength
        excess = np.where(clear & np.isfinite(noise), centres.misfit**2 - noise**2, 0.0)
        first_u_px = np.hypot(centres.u_px, (np.sqrt(np.maximum(excess, 0)) * windows.radius_px)[:, None])
        # So pale and so ill fitted, about half of a marker is covered: no share of its edge is to be trusted.
        half = (answer[:, fitting.CHROMA] < _PALE * windows.strength) & (answer[:, fitting.KEPT] < _WHOLE)
        variance[half] += (centres.misfit * windows.radius_px)[half, None] ** 2
        return replace(
            centres,
            place_px=np.where(kept, answer[:, :2], centres.place_px),
            u_px=np.where(kept, np.sqrt(variance + self._unseen_px(windows)[:, None] ** 2), first_u_px),
        )

    def _coarseness(self, answer: FloatArray) -> FloatArray:
        """What the variance of a sphere grows by where the codec's steps are coarse for its chroma, (m,).

        In a coded clip that gives a colour only a few of its steps, as high dynamic range gives cyan, errors are alike
        over a whole block; the residuals within a marker's window, most of it fitted away, cannot show that.
        """
        coded = float(np.clip(self.alike[1] - _CODED_ALIKE, 0, 1))
        ratio = answer[:, fitting.CHROMA_SCALE] / answer[:, fitting.CHROMA]
        share = coded * np.clip((ratio - _FINE_RATIO) / (_COARSE_RATIO - _FINE_RATIO), 0, 1)
        whole = 2 * np.pi * (self.blur_px**2 + 1 / 3) / self.alike[0]
        return np.where(self._spheres & np.isfinite(share), 1 + share * max(whole - 1, 0.0), 1.0)

    def _unseen_px(self, windows: Windows) -> FloatArray:
        """Standard uncertainty (m,) of what residuals do not show: curved shade on spheres, sticker sides on discs."""
        m11, m12, m22 = windows.inverse.T
        spread = np.sqrt(0.25 * (m11 - m22) ** 2 + m12**2)
        flat_ratio = (0.5 * (m11 + m22) - spread) / (0.5 * (m11 + m22) + spread)
        sides_px = self._side_m * windows.radius_px / self._radius_m * flat_ratio**-0.25 * np.sqrt(1 - flat_ratio)
        own_px = np.where(self._spheres, _SPHERE_RATIO * windows.radius_px, sides_px)
        coded_px = self._scatter.unseen_px * float(np.clip(self.alike[1] - _CODED_ALIKE, 0, 1))
        return np.hypot(coded_px, own_px)

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
