"""Flicker of lamps: a periodic change of brightness from picture to picture."""

from collections.abc import Sequence
from typing import Final, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray


class _HasIndex(Protocol):
    @property
    def index(self) -> int: ...


Numbered = TypeVar("Numbered", bound=_HasIndex)

#: Fewest neighbouring pictures from which flicker is told, and the most that are used.
_FEWEST, _MOST = 24, 120
#: Strips across the picture; a rolling shutter shows flicker as bands that its mean would hide.
_STRIPS: Final = 16
#: Slowest change that counts as flicker [1/s]; slower ones are the camera's exposure at work.
_SLOWEST_PER_S: Final = 3.0
#: Share of the fluctuation that one frequency must explain to stand out.
_STANDS_OUT_RATIO: Final = 0.4
#: Rates at which lamps flicker on mains of 50 and 60 Hz [1/s].
LAMP_RATES_PER_S: Final = (100.0, 120.0)


def strip_means(luma: npt.NDArray[np.uint8]) -> FloatArray:
    """Mean luma of strips across a picture, from the top down."""
    rows = np.array_split(np.arange(0, luma.shape[0], 2), _STRIPS)
    return np.array([float(np.mean(luma[strip[0] : strip[-1] + 1 : 2, ::4])) for strip in rows if len(strip)])


def measure_flicker(time_s: FloatArray, luma: FloatArray, black: float) -> tuple[float, float]:
    """Amplitude of the periodic change of brightness over the mean, and its rate as the pictures show it [1/s].

    Parameters
    ----------
    time_s : (n,) float array
        When each of a run of neighbouring pictures is shown.
    luma : (n, strips) float array
        Their `strip_means`.
    black : float
        Luma of black.

    Returns
    -------
    float, float
        NaN, NaN where there are too few neighbours; the rate is NaN where no frequency stands out.

    Notes
    -----
    Least squares of a sinusoid at each frequency of a grid, all strips at once (a periodogram after P. Vaníček,
    "Further development and properties of the spectral analysis by least-squares", Astrophysics and Space Science 12
    (1971) 10, which needs no even steps), after a parabola over time is taken out of each strip.
    Checked by: tests/footage/test_looking.py::test_lamp_flicker_is_found_with_its_rate
    """
    if len(time_s) < _FEWEST:
        return float("nan"), float("nan")
    time_s = time_s[:_MOST] - time_s[:_MOST].mean()
    light = luma[:_MOST] - black
    light = light[:, light.mean(axis=0) > 4]
    if light.shape[1] == 0:
        return float("nan"), float("nan")
    slow = np.stack([np.ones_like(time_s), time_s, time_s**2], axis=1)
    left = light - slow @ np.linalg.lstsq(slow, light, rcond=None)[0]
    # Something that moves through a strip is no flicker: strips that fluctuate far more than most are left out.
    unrest = np.std(left, axis=0) / light.mean(axis=0)
    calm = unrest <= 2.5 * np.median(unrest) + 1e-9
    left, level = left[:, calm], light[:, calm].mean(axis=0)
    total = float(np.sum(left**2))
    if total <= 0:
        return 0.0, float("nan")
    best = (0.0, float("nan"), 0.0)
    for rate in _rates_to_try(time_s):
        turn = 2 * np.pi * rate * time_s
        waves = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        if abs(np.linalg.det(waves.T @ waves)) < 1e-6 * len(time_s) ** 2:
            # At half the picture rate one of the two waves vanishes.
            waves = waves[:, :1]
        weights = np.linalg.lstsq(waves, left, rcond=None)[0]
        explained = float(np.sum((waves @ weights) ** 2)) / total
        if explained > best[0]:
            best = (explained, float(rate), float(np.sqrt(np.mean(np.sum(weights**2, axis=0) / level**2))))
    explained, rate_per_s, amplitude = best
    if explained < _STANDS_OUT_RATIO:
        return amplitude, float("nan")
    return amplitude, rate_per_s


def split_runs(frames: Sequence[Numbered]) -> list[list[Numbered]]:
    """Frames, or what was taken from them, cut into runs of neighbours."""
    runs: list[list[Numbered]] = []
    for frame in frames:
        if runs and frame.index == runs[-1][-1].index + 1:
            runs[-1].append(frame)
        else:
            runs.append([frame])
    return runs


def _rates_to_try(time_s: FloatArray) -> FloatArray:
    fastest = 0.5 / float(np.median(np.diff(time_s)))
    step = 0.25 / float(np.ptp(time_s))
    return np.arange(_SLOWEST_PER_S, fastest + step / 2, step)


def shown_rate_per_s(lamp_per_s: float, picture_rate_per_s: float) -> float:
    """The rate at which a clip shows a lamp's flicker: folded into 0 … half the picture rate."""
    folded = lamp_per_s % picture_rate_per_s
    return min(folded, picture_rate_per_s - folded)
