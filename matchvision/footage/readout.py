"""Rolling shutter: how long after the first row the last one is exposed, read from the bands of lamps on the mains."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.footage.flicker import LAMP_RATES_PER_S
from matchvision.records.footage import RowTiming
from matchvision.records.frames import ClipFacts, Frame

#: Neighbouring pictures that are needed, and the most that are used.
_FEWEST, _MOST = 24, 60
#: Strips along the readout, and parts of each strip across it.
_STRIPS, _PARTS = 64, 6
#: Of so many rows and columns one is looked at.
_ROW_STEP, _COL_STEP = 2, 4
#: A mains rate and a camera's clock together are off by no more than this share.
_RATE_SHARE: Final = 0.003
#: Share of the bands' coming and going that a mains rate must explain.
_STANDS_OUT_RATIO: Final = 0.5
#: Luma above black below which a cell is too dark to tell, and the share of cells that must be bright enough.
_LEAST_LEVEL: Final = 8.0
_LEAST_CELLS_RATIO: Final = 0.2
#: A readout may be so much longer than the time from picture to picture, by the rounding of a file's times.
_SPARE_RATIO: Final = 1.02
#: Fewest turns over the picture that are tried, and the steps.
_FEWEST_TURNS, _WIDE_STEP, _TURN_STEP = 0.15, 0.06, 0.01
#: Times that cells are weighed anew, and the share of them that are taken for calm.
_ROUNDS: Final = 2
_CALM_SHARE: Final = 0.3
#: Less than a sensor's noise can leave, so that a drawn picture, which has none, is no exception.
_LEAST_UNREST: Final = 1e-12
#: Bands that wander by less while they are looked at cannot be told from other light that comes and goes.
_LEAST_WANDERING_TURNS: Final = 1.0
#: Lamps do not shine in pure sines, and luma and encoder bend them: the turns are known no better than by this share
#: and this much.
_FORM_RATIO, _FORM_TURNS = 0.005, 0.01
#: The wider the bands, the more of them a gain takes up, and the more an encoder that leaves weak bands out pulls at
#: them: this over the turns squared goes into u (as found on encoded clips: 7 to 10 % too few turns at 0.7 to 1).
_WIDE_PULL_TURNS: Final = 0.03
#: Bands that make fewer turns over the picture are not told apart from light that comes and goes everywhere at once:
#: then only this is known, that they make no more than the second number.
_WIDE_TURNS, _MOST_WIDE_TURNS = 0.6, 0.7
#: Stretches of time that are left out in turn, as the parts are, to see how far the result hangs on them, and how far
#: off the turns are then sought.
_STRETCHES: Final = 5
_NEAR_TURNS: Final = 0.4


@dataclass(frozen=True, eq=False)
class _Light:
    """Relative brightness over time, (n pictures, strips, parts), about its mean; cells too dark have no weight.

    ``share`` is where each strip's middle lies along the readout, −1/2 to 1/2.
    """

    real_s: FloatArray
    share: FloatArray
    cells: FloatArray
    weight: FloatArray


def scan_share(at_px: tuple[float, float], facts: ClipFacts) -> float:
    """Where a pixel (col, row) of the upright picture lies along the readout: −1/2 read first, 1/2 last."""
    along, backwards, length_px = _scan(facts)
    share = at_px[along] / max(1, length_px - 1) - 0.5
    return -share if backwards else share


class BandWatch:
    """Watches how light comes and goes over the picture in the first pictures that it is shown.

    Parameters
    ----------
    facts : ClipFacts
    recorded_fps : float, optional
        The rate of recording that the sheet gives for slow motion.
    """

    def __init__(self, facts: ClipFacts, recorded_fps: float | None = None) -> None:
        self._facts = facts
        self._ratio = facts.real_per_clip_ratio(recorded_fps)
        self._clip_s: list[float] = []
        self._means: list[FloatArray] = []

    def see(self, frame: Frame) -> None:
        """Take the next frame, until enough were seen; one that only repeats the picture before says nothing."""
        if frame.doubled or len(self._clip_s) >= _MOST:
            return
        along, _, _ = _scan(self._facts)
        self._clip_s.append(frame.clip_s)
        self._means.append(_cell_means(frame.luma if along == 1 else frame.luma.T))

    def timing(self, readout_s: float | None = None) -> RowTiming:
        """The readout as sheet or camera say, else from the bands of lamps, else unknown up to a picture's time.

        Parameters
        ----------
        readout_s : float, optional
            From the first row's exposure to the last one's [s], as the sheet has it.

        Notes
        -----
        A lamp on the mains shines as 1 + a cos(2π f t), f being twice the mains' 50 or 60 Hz. A row at share p of the
        readout R is exposed p R later than the picture's middle, so each picture has bands, cos(2π f R p + φₖ). The
        turns f R that they make over the picture are those that leave least of the cells' brightness unexplained when
        every picture may have its own two waves and its own gain, which takes an exposure that follows or an encoder
        that fades out of account. How φₖ goes on from picture to picture tells which of the two rates it is, and the
        sense. u is from leaving out parts of the picture and stretches of time in turn (J. W. Tukey's jackknife, Ann.
        Math. Stat. 29 (1958) 614).

        Unknown, R is taken as 0 and known to T/√3, the rms of anything between nothing and the time T between pictures.
        Checked by: tests/footage/test_readout.py::test_bands_of_a_known_readout_give_it_back
        """
        along, backwards, _ = _scan(self._facts)
        if readout_s is not None:
            return RowTiming(readout_s, 0.0, along, backwards, "given in the sheet")
        if np.isfinite(self._facts.readout_s):
            return RowTiming(self._facts.readout_s, 0.0, along, backwards, "by the camera's own note in the file")
        rate = self._facts.picture_rate_per_s
        rate = rate if np.isfinite(rate) else self._facts.frame_rate_per_s
        longest_s = self._ratio / rate if np.isfinite(rate) and rate > 0 else 0.0
        unknown = RowTiming(0.0, longest_s / np.sqrt(3), along, backwards, "")
        if len(self._clip_s) < _FEWEST:
            return unknown.because(f"bands need {_FEWEST} pictures in a row, and {len(self._clip_s)} were looked at")
        light = self._light()
        if np.mean(light.weight > 0) < _LEAST_CELLS_RATIO:
            return unknown.because("the pictures are too dark")
        most_turns = max(LAMP_RATES_PER_S) * longest_s * _SPARE_RATIO
        light = _trust_calm_cells(light, light.cells)
        for _ in range(_ROUNDS):
            light = _trust_calm_cells(light, _solve(light, _fit_turns(light, _FEWEST_TURNS, most_turns))[1])
        turns = _fit_turns(light, _FEWEST_TURNS, most_turns)
        rate_per_s, sense, explained = _find_rate(light, turns)
        if explained < _STANDS_OUT_RATIO:
            return unknown.because(_tell_missing(light.real_s))
        lamps = f"the bands of lamps at {rate_per_s:.0f} Hz"
        if turns < _WIDE_TURNS:
            most_s = min(_MOST_WIDE_TURNS / rate_per_s, longest_s)
            source = f"shorter than {1000 * most_s:.0f} ms by {lamps}, wider than the picture"
            return RowTiming(most_s / 2, most_s / np.sqrt(12), along, backwards, source)
        readout, u_s = sense * turns / rate_per_s, _spread_of_fits(light, turns) / rate_per_s
        if abs(readout) > longest_s * _SPARE_RATIO or u_s > longest_s / np.sqrt(12):
            return unknown.because("the lamps' bands contradict each other, as lamps of several phases do")
        return RowTiming(readout, u_s, along, backwards, f"from {lamps}")

    def _light(self) -> _Light:
        _, backwards, length_px = _scan(self._facts)
        light = np.array(self._means) - (0.0 if self._facts.full_range else 16.0)
        first, beyond = _cuts(len(range(0, length_px, _ROW_STEP)), _STRIPS)
        share = _ROW_STEP * (first + beyond - 1) / 2 / (length_px - 1) - 0.5
        real_s = np.array(self._clip_s) * self._ratio
        level = light.mean(axis=0)
        return _Light(
            real_s=real_s - real_s.mean(),
            share=-share if backwards else share,
            cells=light / np.maximum(level, 1.0) - 1.0,
            weight=np.where(level > _LEAST_LEVEL, 1.0, 0.0),
        )


def _scan(facts: ClipFacts) -> tuple[int, bool, int]:
    """The axis of (col, row) along which the upright picture was read, whether backwards, and its length [px].

    Sensors read the stored picture from its top. Turned counter-clockwise by quarters, its top lies to the left, at the
    bottom, to the right; a mirror from left to right leaves it where it is.
    """
    turns = facts.rotation_deg // 90 % 4
    along = 0 if turns % 2 else 1
    return along, turns in (2, 3), facts.width_px if along == 0 else facts.height_px


def _cuts(length: int, pieces: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Where pieces begin and end; fewer where there are not so many samples."""
    first = np.unique(np.linspace(0, length, pieces + 1).astype(np.int64)[:-1])
    return first, np.append(first[1:], length)


def _cell_means(luma: npt.NDArray[np.uint8]) -> FloatArray:
    """Means over strips (along the first axis) and parts of them."""
    thin = luma[::_ROW_STEP, ::_COL_STEP].astype(np.float32)
    (at_row, to_row), (at_col, to_col) = _cuts(thin.shape[0], _STRIPS), _cuts(thin.shape[1], _PARTS)
    sums = np.add.reduceat(np.add.reduceat(thin, at_row, axis=0), at_col, axis=1)
    return np.asarray(sums / np.outer(to_row - at_row, to_col - at_col), dtype=np.float64)


def _waves(turns: float, share: FloatArray) -> FloatArray:
    """A gain and two waves over the strips, (strips, 3)."""
    turn = 2 * np.pi * turns * share
    return np.stack([np.ones(len(share)), np.cos(turn), np.sin(turn)], axis=1)


def _solve(light: _Light, turns: float) -> tuple[FloatArray, FloatArray]:
    """Coefficients (n, parts, 3) of gain and waves, and what they leave of the cells (n, strips, parts)."""
    waves = _waves(turns, light.share)
    root = np.sqrt(light.weight)
    coefficients = np.empty((len(light.real_s), light.cells.shape[2], 3))
    left = np.empty_like(light.cells)
    for part in range(light.cells.shape[2]):
        values = light.cells[:, :, part].T
        solved = np.linalg.lstsq(waves * root[:, part, None], values * root[:, part, None], rcond=1e-6)[0]
        coefficients[:, part] = solved.T
        left[:, :, part] = (values - waves @ solved).T
    return coefficients, left


def _fit_turns(light: _Light, fewest: float, most: float) -> float:
    """Turns of the bands over the picture that leave least, first in wide steps, then in small ones and a parabola."""
    parts = range(light.cells.shape[2])
    products = [np.einsum("ns,nt->st", light.cells[:, :, part], light.cells[:, :, part]) for part in parts]

    def left_over(turns: FloatArray) -> FloatArray:
        waves = np.stack([_waves(float(one), light.share) for one in turns])
        left = [_left_over(waves, products[part], light.weight[:, part]) for part in parts]
        return np.asarray(np.sum(left, axis=0))

    wide = np.arange(fewest, most + _WIDE_STEP, _WIDE_STEP)
    rough = float(wide[np.argmin(left_over(wide))])
    tried = np.arange(max(fewest, rough - _WIDE_STEP), rough + _WIDE_STEP + _TURN_STEP / 2, _TURN_STEP)
    unexplained = left_over(tried)
    at = int(np.argmin(unexplained))
    if 0 < at < len(tried) - 1:
        before, here, after = unexplained[at - 1 : at + 2]
        bend = before - 2 * here + after
        return float(tried[at] + (_TURN_STEP * 0.5 * (before - after) / bend if bend > 0 else 0.0))
    return float(tried[at])


def _left_over(waves: FloatArray, gram: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted sums of squares (t,) that sets of waves (t, strips, 3) leave, from sums of products of the strips."""
    root = np.sqrt(weight)
    basis, _ = np.linalg.qr(waves * root[:, None])
    weighed = gram * np.outer(root, root)
    return np.asarray(np.trace(weighed) - np.sum(basis * (weighed @ basis), axis=(1, 2)))


def _trust_calm_cells(light: _Light, unrest: FloatArray) -> _Light:
    """Cells weighed by how little of them is unrest: what moves through a picture must not decide."""
    spread = np.mean(unrest**2, axis=0)
    bright = light.weight > 0
    usual = max(float(np.quantile(spread[bright], _CALM_SHARE)), _LEAST_UNREST)
    return replace(light, weight=np.where(bright, (usual / np.maximum(spread, usual)) ** 2, 0.0))


def _find_rate(light: _Light, turns: float) -> tuple[float, float, float]:
    """The mains rate and sense (1 or −1) by which the bands go on, and the share of their coming and going so told."""
    coefficients, _ = _solve(light, turns)
    # cos φ and −sin φ of each picture's bands, about their means.
    bands = coefficients[..., 1] - 1j * coefficients[..., 2]
    bands = bands - bands.mean(axis=0)
    total = float(np.sum(np.abs(bands) ** 2))
    best = (LAMP_RATES_PER_S[0], 1.0, 0.0)
    for sense in (1.0, -1.0):
        for mains in LAMP_RATES_PER_S:
            for rate in mains * (1 + np.linspace(-_RATE_SHARE, _RATE_SHARE, 7)):
                if _wandering_turns(light.real_s, rate) < _LEAST_WANDERING_TURNS:
                    continue
                wave = np.exp(2j * np.pi * sense * rate * light.real_s)
                wave = wave - wave.mean()
                told = np.sum(np.abs(np.conj(wave) @ bands) ** 2) / max(float(np.sum(np.abs(wave) ** 2)), 1e-12)
                share = float(told) / total if total > 0 else 0.0
                if share > best[2] * (1 + 1e-6):
                    best = (mains, sense, share)
    return best


def _wandering_turns(real_s: FloatArray, rate_per_s: float) -> float:
    """Turns that bands make from the first picture to the last, folded by the pictures' rate."""
    step_s = float(np.median(np.diff(real_s)))
    folded = abs(rate_per_s * step_s - round(rate_per_s * step_s)) / step_s
    return float(folded * np.ptp(real_s))


def _tell_missing(real_s: FloatArray) -> str:
    hidden = [f"{r:.0f} Hz" for r in LAMP_RATES_PER_S if _wandering_turns(real_s, r) < _LEAST_WANDERING_TURNS]
    beside = f" (at {' and '.join(hidden)} they stand still at this picture rate)" if hidden else ""
    return f"no bands of mains lamps wander over the pictures{beside}"


def _spread_of_fits(light: _Light, turns: float) -> float:
    """Standard uncertainty of the turns: parts of the picture, then stretches of time, are left out in turn."""
    near = (max(_FEWEST_TURNS, turns - _NEAR_TURNS), turns + _NEAR_TURNS)
    parts = np.arange(light.cells.shape[2])
    stretch = np.arange(len(light.real_s)) * _STRETCHES // len(light.real_s)
    variance = 0.0
    for left_out in (
        [replace(light, cells=light.cells[:, :, parts != k], weight=light.weight[:, parts != k]) for k in parts],
        [_without(light, stretch == k) for k in range(_STRETCHES)],
    ):
        off = np.array([_fit_turns(some, *near) for some in left_out]) - turns
        variance += (len(off) - 1) / len(off) * float(np.sum(off**2))
    return float(np.sqrt(variance + (_FORM_RATIO * turns) ** 2 + _FORM_TURNS**2 + (_WIDE_PULL_TURNS / turns**2) ** 2))


def _without(light: _Light, pictures: npt.NDArray[np.bool_]) -> _Light:
    kept = light.cells[~pictures]
    return replace(light, cells=kept - kept.mean(axis=0))
