"""Light that changes while the clip runs: each marker's colour and what has no colour are followed slowly."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.markers.blobs import measure_neutral, outline_table
from matchvision.markers.centres import Centres
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

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
        chroma = chroma.copy()
        gain = min(step_s / _STRENGTH_S, 1.0)
        chroma[good] *= 1 + gain * (np.clip(centres.contrast[good], 0.5, 1.5) - 1)[:, None]
        usual = good & (centres.contrast > _AS_USUAL[0]) & (centres.contrast < _AS_USUAL[1])
        turn_rad = np.clip(centres.across, -_MOST_ACROSS, _MOST_ACROSS) * min(step_s / _HUE_S, 1.0)
        # `across` points to (red, -blue), against the sense in which angles grow.
        angle_rad = np.arctan2(chroma[:, 1], chroma[:, 0]) - np.where(usual, turn_rad, 0.0)
        first_rad, room_rad = self._first_rad, self._known_room_rad
        if room_rad is None:
            first_rad = np.where(np.isnan(self._first_rad), angle_rad, self._first_rad)
            room_rad = self._room_rad(first_rad)
        turned_rad = np.clip(_wrapped(angle_rad - first_rad), -room_rad, room_rad)
        strength = np.hypot(chroma[:, 0], chroma[:, 1])
        followed = strength[:, None] * np.stack(
            [np.cos(first_rad + turned_rad), np.sin(first_rad + turned_rad)], axis=1
        )
        return np.where(usual[:, None], followed, chroma)

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
