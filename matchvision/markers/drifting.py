"""Light that changes while the clip runs: each marker's colour and what has no colour are followed slowly."""

import functools
import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from numba import types

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept
from matchvision.markers.blobs import measure_neutral, outline_table
from matchvision.markers.centres import Centres
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet
from matchvision.records.tracks import MarkerPlan

#: Lamps, clouds and white balance take seconds; a hand takes less [s]. Strength follows faster, for shadows are sharp.
_HUE_S: Final = 2.0
_STRENGTH_S: Final = 0.33
#: A look tells at most so much of a change in hue: more is something else's colour [parts of the strength].
_MOST_ACROSS: Final = 0.15
#: Hue is told only by markers about as strong as usual: what is half covered has the colour of what covers it.
_AS_USUAL: Final = (0.8, 1.25)
#: A colour may turn so far from what it was at first [deg], and no further than half the way to another worn colour:
#: as far as `colours` lets lamps turn one.
_FURTHEST_DEG: Final = 25.0
#: How often what has no colour is measured [s].
_NEUTRAL_EVERY_S: Final = 0.5


class Drift:
    """Follows the chroma (m, 2) of the markers about the neutral, and the neutral itself.

    Each marker is followed by itself, for lamps and shadows differ over a table, but turns no further from its first
    hue than a lamp can explain, and never past the border to another colour that is worn: neither a hand nor a
    neighbour can take a marker along.
    """

    def __init__(self, plans: Sequence[MarkerPlan]) -> None:
        self._colour = np.array([p.colour for p in plans])
        self._first_rad = np.full(len(plans), np.nan)
        self._known_room_rad: FloatArray | None = None
        self._neutral_s = -np.inf

    def start(self, chroma: FloatArray, columns: Sequence[int]) -> None:
        """Take the hues that some markers have now as their first; those that have one already keep it."""
        new = [i for i in columns if np.isnan(self._first_rad[i])]
        self._first_rad[new] = np.arctan2(chroma[new, 1], chroma[new, 0])
        # Once all have a first hue it stays, and with it how far each may turn.
        settled = not np.isnan(self._first_rad).any()
        self._known_room_rad = self._room_rad(self._first_rad) if settled else None

    def follow(self, chroma: FloatArray, centres: Centres, good: npt.NDArray[np.bool_], step_s: float) -> FloatArray:
        """The chroma after a picture in which some markers were in plain sight, ``step_s`` after the last one.

        Notes
        -----
        Checked by: tests/markers/test_drifting.py::test_a_lamp_that_turns_warmer_loses_no_marker
        """
        followed, usual_rad = np.array(chroma), np.empty(len(chroma))
        gain, share = min(step_s / _STRENGTH_S, 1.0), min(step_s / _HUE_S, 1.0)
        _kernels()[0](followed, usual_rad, centres.contrast, centres.across, good, gain, share)
        first_rad, room_rad = self._first_rad, self._known_room_rad
        if room_rad is None:
            angle_rad = np.where(np.isnan(usual_rad), np.arctan2(followed[:, 1], followed[:, 0]), usual_rad)
            first_rad = np.where(np.isnan(self._first_rad), angle_rad, self._first_rad)
            room_rad = self._room_rad(first_rad)
        _kernels()[1](followed, usual_rad, first_rad, room_rad)
        return followed

    def neutral(self, before: FloatArray, frame: Frame, camera: Camera, table: TableSheet) -> FloatArray:
        """What has no colour over the table, (2,): measured anew now and then, as it was in between."""
        if frame.clip_s < self._neutral_s + _NEUTRAL_EVERY_S:
            return before
        self._neutral_s = frame.clip_s
        return measure_neutral(frame, outline_table(camera, table))

    def _room_rad(self, first_rad: FloatArray) -> FloatArray:
        """How far each marker's hue may turn, (m,)."""
        apart = np.abs(_wrapped(first_rad[:, None] - first_rad[None, :]))
        rivals = (self._colour[:, None] != self._colour[None, :]) & np.isfinite(apart)
        nearest = np.where(rivals, apart, np.inf).min(axis=1, initial=np.inf)
        return np.asarray(np.minimum(np.deg2rad(_FURTHEST_DEG), nearest / 2), dtype=np.float64)


def _wrapped(angle_rad: FloatArray) -> FloatArray:
    return np.asarray((angle_rad + np.pi) % (2 * np.pi) - np.pi, dtype=np.float64)


@functools.cache
def _kernels() -> tuple[Callable[..., None], Callable[..., None]]:
    """The compiled kernels: twenty markers are too few for numpy's calls."""
    flat, table, number = types.float64[:], types.float64[:, :], types.float64
    strengthen = types.void(table, flat, flat, flat, types.boolean[:], number, number)
    turn = types.void(table, *[flat] * 3)
    return compile_kept(_strengthen_loop, signature=strengthen), compile_kept(_turn_loop, signature=turn)


def _strengthen_loop(
    chroma: Any, usual_rad: Any, contrast: Any, across: Any, good: Any, gain: Any, share: Any  # noqa: ANN401
) -> None:  # fmt: skip
    """Follow strengths, and fill the hues that looks as strong as usual tell; NaN for the others."""
    for i in range(chroma.shape[0]):
        usual_rad[i] = math.nan
        if not good[i]:
            continue
        more = 1 + gain * (min(max(contrast[i], 0.5), 1.5) - 1)
        chroma[i, 0] *= more
        chroma[i, 1] *= more
        if _AS_USUAL[0] < contrast[i] < _AS_USUAL[1]:
            # `across` points to (red, -blue), against the sense in which angles grow.
            turn = min(max(across[i], -_MOST_ACROSS), _MOST_ACROSS) * share
            usual_rad[i] = math.atan2(chroma[i, 1], chroma[i, 0]) - turn


def _turn_loop(chroma: Any, usual_rad: Any, first_rad: Any, room_rad: Any) -> None:  # noqa: ANN401
    """Turn to the hues told, within each marker's room."""
    for i in range(chroma.shape[0]):
        if math.isnan(usual_rad[i]):
            continue
        off = (usual_rad[i] - first_rad[i] + math.pi) % (2 * math.pi) - math.pi
        angle = first_rad[i] + min(max(off, -room_rad[i]), room_rad[i])
        strength = math.hypot(chroma[i, 0], chroma[i, 1])
        chroma[i, 0], chroma[i, 1] = strength * math.cos(angle), strength * math.sin(angle)
