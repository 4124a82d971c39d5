"""Sounds that set in clearly, dated to a few milliseconds."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.footage.hearing import Sound, read_sound
from matchvision.records.frames import ClipFacts

#: Window and step of the search [s].
_WINDOW_S: Final = 0.012
_HOP_S: Final = 0.003
#: Edges of the bands that are watched one by one [Hz].
_BANDS_HZ: Final = np.geomspace(150.0, 12000.0, 20)
#: How far a band must rise above what was usual before, to be a sound that sets in [dB].
_CLEAR_DB: Final = 15.0
#: Stretch before a moment that says what was usual, and the part of it next to the moment that does not count [s].
_BEFORE_S: Final = 0.5
_APART_S: Final = 0.015
#: Where the sound begins, so much of it must do; nothing can set in before [s].
_LEAST_BEFORE_S: Final = 0.1
#: Rises closer together are one sound [s]; its loudness is the greatest in so long.
_ONE_SOUND_S: Final = 0.15
#: Quieter sounds than the loudest by so much are not listed [dB].
_LISTED_DB: Final = 20.0
#: Stretch around a rise in which it is dated [s]; after it, longer by steps while the sound swells by such a factor.
_AROUND_S: Final = 0.06
_SWELL_STEP_S, _SWELL_RATIO, _LONGEST_SWELL_S = 0.02, 1.05, 0.4
#: The envelope is smoothed over so long; shorter dips in it are the beats of a horn's partials [s].
_SMOOTH_S: Final = 0.001
_BEAT_S: Final = 0.008
#: A dip falls to this share at most. The envelope passes a level at the top of a beat, so up to a beat late; carried
#: down the line this gives an rms error of √(1/4 + 2.5/12) beats.
_DIP_RATIO: Final = 0.7
_BEAT_RATIO: Final = 0.68


@dataclass(frozen=True)
class SoundOnset:
    """A sound that sets in: clip time and u [s], and loudness above what was usual before, relative to the loudest."""

    clip_s: float
    u_s: float
    loudness_dB: float


def find_sound_onsets(
    facts: ClipFacts, from_s: float | None = None, until_s: float | None = None
) -> tuple[SoundOnset, ...]:
    """Sounds that set in clearly, in order of time; quiet ones are left out.

    Parameters
    ----------
    facts : ClipFacts
    from_s, until_s : float, optional
        Only those in this part of the clip [s, clip time].

    Raises
    ------
    CannotMeasure
        The clip has no sound that can be read.

    Notes
    -----
    A sound sets in where a band's power rises by 15 dB over its median in the half second before. It is dated in the
    bands that rise: the line through the envelope at a quarter and at three quarters of its height, carried down to
    nothing. Whatever the shape of the rise, this lies within half the time between quarter and three quarters of the
    true onset (exact for a straight rise, half of it late for a cosine one, a quarter early for an exponential one),
    which gives u.
    Checked by: tests/footage/test_sound.py::test_onsets_are_dated_within_their_uncertainty
    """
    sound = read_sound(facts)
    begin_s, end_s = from_s if from_s is not None else -np.inf, until_s if until_s is not None else np.inf
    power, at_s, edges_Hz = _band_power(sound)
    if not len(at_s):
        return ()
    usual = _usual_power(power)
    rise_dB = 10 * np.log10(power / usual)
    clear = np.flatnonzero((rise_dB.max(axis=1) > _CLEAR_DB) & (at_s >= _APART_S))
    louder = np.maximum(power - usual, 0).sum(axis=1)
    found: list[SoundOnset] = []
    last_s = -np.inf
    for k in clear.tolist():
        at_last, last_s = last_s, float(at_s[k])
        if at_s[k] - at_last < _ONE_SOUND_S:
            continue
        span = slice(k, k + max(1, round(_ONE_SOUND_S / _HOP_S)))
        bands = rise_dB[k : k + 4].max(axis=0) > 0.6 * rise_dB[k : k + 4].max()
        dated_s, u_s = _date_onset(sound, float(at_s[k]), edges_Hz[bands])
        clip_s = sound.first_clip_s + dated_s
        if begin_s <= clip_s <= end_s:
            found.append(SoundOnset(clip_s, u_s, float(10 * np.log10(louder[span].max()))))
    loudest = max((f.loudness_dB for f in found), default=0.0)
    return tuple(
        SoundOnset(f.clip_s, f.u_s, f.loudness_dB - loudest) for f in found if f.loudness_dB > loudest - _LISTED_DB
    )


def _band_power(sound: Sound) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Power in each band, (n moments, k bands), the moments [s after the first sample], and the bands' edges (k, 2)."""
    size = max(64, round(_WINDOW_S * sound.rate_Hz))
    hop = max(1, round(_HOP_S * sound.rate_Hz))
    if len(sound.samples) < size:
        return np.empty((0, 1)), np.empty(0), np.empty((1, 2))
    windows = np.lib.stride_tricks.sliding_window_view(sound.samples, size)[::hop]
    frequency_Hz = np.fft.rfftfreq(size, 1 / sound.rate_Hz)
    edges_Hz = np.append(_BANDS_HZ[0.4 * sound.rate_Hz > _BANDS_HZ], 0.48 * sound.rate_Hz)
    band = np.digitize(frequency_Hz, edges_Hz[:-1]) - 1
    kept = np.flatnonzero(band >= 0)
    names = np.unique(band[kept])
    power = np.empty((len(windows), len(names)))
    taper = np.hanning(size)
    for start in range(0, len(windows), 2048):
        spectrum = np.abs(np.fft.rfft(windows[start : start + 2048] * taper, axis=1)) ** 2
        for i, name in enumerate(names.tolist()):
            power[start : start + 2048, i] = spectrum[:, band == name].sum(axis=1)
    # Digital silence has no power at all; a floor far below any room keeps ratios finite.
    at_s = (np.arange(len(windows)) * hop + size / 2) / sound.rate_Hz
    return power + 1e-7, np.asarray(at_s, dtype=np.float64), np.stack([edges_Hz[names], edges_Hz[names + 1]], axis=1)


def _usual_power(power: FloatArray) -> FloatArray:
    """Median power of each band in the half second before each moment; of what there is where the sound begins."""
    from scipy.ndimage import percentile_filter  # slow to load, and few clips are timed by their sound

    length = max(3, round(_BEFORE_S / _HOP_S))
    apart = max(1, round(_APART_S / _HOP_S))
    centred = percentile_filter(power, 50, size=(length, 1), mode="nearest")
    shift = length // 2 + apart
    usual = np.empty_like(power)
    usual[shift:] = centred[: max(0, len(power) - shift)]
    least = max(3, round(_LEAST_BEFORE_S / _HOP_S))
    for k in range(min(shift, len(power))):
        usual[k] = np.median(power[: max(least, k - apart)], axis=0)
    return usual


def _date_onset(sound: Sound, about_s: float, bands_Hz: FloatArray) -> tuple[float, float]:
    """Time of a rise in some bands (k, 2), in seconds after the first sample, and its uncertainty."""
    from scipy.ndimage import grey_closing, uniform_filter1d  # slow to load

    rate = sound.rate_Hz
    first = max(0, round((about_s - 2 * _AROUND_S) * rate))
    part = sound.samples[first : round((about_s + _LONGEST_SWELL_S + _AROUND_S) * rate)]
    spectrum = np.fft.fft(part)
    frequency_Hz = np.fft.fftfreq(len(part), 1 / rate)
    low, high = bands_Hz[0, 0] / 1.6, bands_Hz[-1, 1] * 1.6
    # Only positive frequencies: the absolute value is then the envelope. Soft flanks keep its ringing short.
    octaves = np.log2(np.maximum(frequency_Hz, 1e-9))
    gate = np.clip((octaves - np.log2(low)) / 0.6 + 0.5, 0, 1) * np.clip((np.log2(high) - octaves) / 0.6 + 0.5, 0, 1)
    envelope = np.abs(np.fft.ifft(2 * spectrum * gate))
    envelope = uniform_filter1d(envelope, max(1, round(_SMOOTH_S * rate)))
    beating = envelope
    # A closing fills dips and leaves rises where they are.
    envelope = np.asarray(grey_closing(beating, (max(1, round(_BEAT_S * rate)),)))
    at_s = (first + np.arange(len(part))) / rate
    near = (at_s > about_s - _AROUND_S) & (at_s < _end_of_rise(at_s, envelope, about_s))
    early = envelope[(at_s < about_s - 0.02) & (at_s > about_s - 1.8 * _AROUND_S)]
    floor = float(np.median(early)) if len(early) else 0.0
    noise = float(np.std(early)) if len(early) else 0.0
    peak_at = int(np.flatnonzero(near)[np.argmax(envelope[near])])
    height = float(envelope[peak_at]) - floor
    low_s = _last_below(at_s, envelope, peak_at, floor + 0.25 * height)
    high_s = _last_below(at_s, envelope, peak_at, floor + 0.75 * height)
    width_s = high_s - low_s
    u_noise_s = noise / max(height, 1e-12) * 2 * width_s
    during = (at_s > low_s) & (at_s < max(high_s, low_s + 2 * _BEAT_S))
    u_beat_s = _BEAT_RATIO * _beat_s(beating[during], envelope[during], 1 / rate)
    u_s = float(np.sqrt(width_s**2 / 12 + u_noise_s**2 + u_beat_s**2 + _SMOOTH_S**2 / 12))
    return low_s - 0.5 * width_s, u_s


def _beat_s(beating: FloatArray, filled: FloatArray, step_s: float) -> float:
    """Time from dip to dip of a beating envelope, 0 where there are none."""
    dips = np.flatnonzero(np.diff((beating < _DIP_RATIO * filled).astype(np.int8)) == 1)
    return float(np.mean(np.diff(dips))) * step_s if len(dips) > 1 else 0.0


def _end_of_rise(at_s: FloatArray, envelope: FloatArray, about_s: float) -> float:
    """Until when a sound grows: a horn swells over a tenth of a second, a beep or clap is there at once."""
    end_s = about_s + _AROUND_S
    highest = float(np.max(envelope[(at_s > about_s - _AROUND_S) & (at_s < end_s)]))
    while end_s < about_s + _LONGEST_SWELL_S:
        next_step = envelope[(at_s >= end_s) & (at_s < end_s + _SWELL_STEP_S)]
        if not len(next_step) or float(next_step.max()) < _SWELL_RATIO * highest:
            break
        end_s, highest = end_s + _SWELL_STEP_S, float(next_step.max())
    return end_s


def _last_below(at_s: FloatArray, envelope: FloatArray, peak_at: int, level: float) -> float:
    """When the envelope last passes the level on its way up to the peak, between samples by a straight line."""
    below = np.flatnonzero(envelope[:peak_at] < level)
    if not len(below):
        return float(at_s[0])
    k = int(below[-1])
    share = (level - envelope[k]) / max(float(envelope[k + 1] - envelope[k]), 1e-15)
    return float(at_s[k] + share * (at_s[k + 1] - at_s[k]))
