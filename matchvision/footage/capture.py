"""The rate at which the camera recorded, where it wrote one, and whether the file is slow motion."""

from collections.abc import Mapping

import numpy as np

from matchvision.records.frames import FootageFault

#: A capture rate so many times the file's own is slow motion; a phone that saves light at night stays below.
SLOW_MOTION_RATIO = 1.8
#: Smaller differences between the two rates are those of a clock.
SAME_RATE_RATIO = 1.2
#: Rates given by two people for one camera agree to this share.
SAME_RATE_SHARE = 0.02

_RECORDED = "recorded at"
#: Ends of a key's name that tell its unit.
_UNITS_S = {"nanoseconds": 1e-9, "microseconds": 1e-6, "milliseconds": 1e-3, "seconds": 1.0}


def read_capture_rate(metadata: Mapping[str, str]) -> float:
    """Pictures a second at which the camera says that it recorded, NaN where it does not say.

    Parameters
    ----------
    metadata : mapping
        Keys and values of the container and of the picture track together. Phones write the rate as a key of their own
        (``com.android.capture.fps`` and the like) into the container's list of keys.
    """
    for key, value in metadata.items():
        words = key.lower()
        if "capture" in words and ("fps" in words or "rate" in words):
            try:
                rate = float(value)
            except ValueError:
                continue
            if np.isfinite(rate) and rate > 0:
                return rate
    return float("nan")


def read_readout(metadata: Mapping[str, str]) -> float:
    """Time [s] from the first row's exposure to the last one's, as the camera's own note says; NaN where it is silent.

    Parameters
    ----------
    metadata : mapping
        As for `read_capture_rate`. Some phones write the readout as a key whose name ends in its unit.
    """
    for key, value in metadata.items():
        words = key.lower().replace("_", "").replace("-", "")
        unit_s = next((s for unit, s in _UNITS_S.items() if words.endswith(unit)), None)
        if "readout" not in words or unit_s is None:
            continue
        try:
            readout_s = float(value) * unit_s
        except ValueError:
            continue
        if np.isfinite(readout_s) and readout_s > 0:
            return readout_s
    return float("nan")


def is_slow_motion(recorded_per_s: float, played_per_s: float) -> bool:
    """Whether the camera recorded so much faster than the file plays that only slow motion explains it."""
    return recorded_per_s > SLOW_MOTION_RATIO * played_per_s


def find_rate_faults(recorded_per_s: float, played_per_s: float) -> tuple[FootageFault, ...]:
    """What is to be said where the capture rate and the file's own rate differ; nothing where they agree."""
    if not (np.isfinite(recorded_per_s) and played_per_s > 0):
        return ()
    ratio = recorded_per_s / played_per_s
    rates = f"{_RECORDED} {recorded_per_s:.0f} pictures a second, played at {played_per_s:.4g}"
    if is_slow_motion(recorded_per_s, played_per_s):
        return (
            FootageFault(
                what=f"slow motion: {rates}",
                consequence=f"undone, else all speeds were {ratio:.1f} times too low; a second of the clip counts as "
                f"{1 / ratio:.4f} s",
                do=f"nothing, if that is right; else write the true recorded_fps in the sheet's [clock] "
                f"({recorded_per_s:.0f} was taken)",
            ),
        )
    if 1 / SAME_RATE_RATIO < ratio < SAME_RATE_RATIO:
        return ()
    if ratio < 1 / SLOW_MOTION_RATIO:
        return (
            FootageFault(
                what=f"time lapse, it seems: {rates.replace(f'{recorded_per_s:.0f}', f'{recorded_per_s:.3g}', 1)}",
                consequence="the file's times were taken as real time; if it is a time lapse, all speeds are "
                f"{1 / ratio:.3g} times too high",
                do=f"write recorded_fps = {recorded_per_s:.3g} in the sheet's [clock] if it is one, and film at the "
                "usual rate the next time",
            ),
        )
    return (
        FootageFault(
            what=f"the camera wrote another rate than the file has: {rates}",
            consequence="the file's times were taken as real time",
            do="if the clip plays slower or faster than life, write recorded_fps in the sheet's [clock]",
        ),
    )


def is_about_rates(fault: FootageFault) -> bool:
    """Whether a fault is one that `find_rate_faults` gives."""
    return _RECORDED in fault.what
