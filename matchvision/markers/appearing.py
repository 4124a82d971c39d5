"""How the markers look now: shapes, colours and what has no colour, learnt from the clip and followed through it."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.markers.blobs import Blobs
from matchvision.markers.centres import Centres, Windows, choose_centres, find_centres, is_clear
from matchvision.markers.colours import Palette, chroma_of_plans, learn_chroma
from matchvision.markers.drifting import Drift
from matchvision.markers.poses import Pose
from matchvision.markers.refining import Refiner
from matchvision.markers.shapes import Shapes, disc_axes, predict_shapes
from matchvision.markers.siting import measure_siting
from matchvision.markers.widening import MARGIN_PX, rope_rivals, widen
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet
from matchvision.records.tracks import MarkerPlan

#: How strongly chroma across the marker's own direction counts against it.
_SIDEWAYS: Final = 2.0


class Appearance:
    """How m markers look in the clip, and where what looks so is found.

    Parameters
    ----------
    plans : marker plans
    palette : Palette
        Colours as the sheet and the clip's coding have them, before any marker was seen.
    table : TableSheet
        Over which the neutral is measured.
    """

    def __init__(self, plans: Sequence[MarkerPlan], palette: Palette, table: TableSheet) -> None:
        self._plans, self._table = plans, table
        self._same_colour = rope_rivals(plans)
        self._drift, self._refiner = Drift(plans), Refiner(plans)
        self.chroma = chroma_of_plans(plans, palette)
        self.neutral = palette.neutral
        self.shapes = Shapes(np.full((len(plans), 3), np.nan), np.full(len(plans), np.nan), np.zeros((len(plans), 2)))

    def learn(self, blobs: Blobs, spots: Mapping[int, int], columns: Sequence[int]) -> None:
        """Learn the colours of some columns' markers from their spots."""
        self.chroma = learn_chroma(self._plans, {i: blobs.chroma[spots[i]] for i in columns}, self.chroma)
        self._drift.start(self.chroma, columns)

    def shape(self, camera: Camera, place_m: FloatArray, poses: Mapping[str, Pose]) -> None:
        """Work out the ellipses of markers at table places (m, 3); of those that are nowhere, of a usual size."""
        there = np.where(np.isfinite(place_m), place_m, [0.0, 0.0, 0.03])
        self.shapes = predict_shapes(camera, self._plans, there, disc_axes(self._plans, poses))

    def find(self, frame: Frame, expected_px: FloatArray, known: Sequence[bool], lately: BoolArray) -> Centres:
        """Search small windows, then wider ones for what was not clear in its small one; fit what is clear.

        Parameters
        ----------
        expected_px : (m, 2) float array
            Where the markers' pictures should be.
        known : sequence of m bools
            Whether each one's place is known, or only that of the wheel on which it rides.
        lately : (m,) bool array
            Seen so lately that an unclear sight is better than none.
        """
        windows = self._windows(expected_px, self.shapes.radius_px + MARGIN_PX)
        centres = find_centres(frame, windows)
        unclear = ~is_clear(centres) & np.isfinite(expected_px[:, 0])
        if unclear.any():
            radius_px = self.shapes.radius_px
            wide = np.where(unclear, widen(self._plans, self._same_colour, radius_px, expected_px, known), 0.0)
            again = find_centres(frame, self._windows(expected_px, wide))
            better = unclear & (is_clear(again) | (~np.isfinite(centres.place_px[:, 0]) & lately))
            centres = choose_centres(better, again, centres)
        return self._refiner.refine(frame, windows, centres)

    def measure_siting(self, frame: Frame, place_px: FloatArray, rows: BoolArray) -> tuple[float, float]:
        """Where the clip's chroma samples lie, told by the markers of some rows at their places (m, 2)."""
        windows = self._windows(place_px, self.shapes.radius_px + MARGIN_PX)
        return measure_siting(frame, windows, find_centres(frame, windows).place_px, rows)

    def follow(self, frame: Frame, camera: Camera, centres: Centres, good: BoolArray, step_s: float) -> None:
        """Follow colours and neutral by the markers in plain sight, ``step_s`` after the last picture."""
        self.chroma = self._drift.follow(self.chroma, centres, good, step_s)
        self.neutral = self._drift.neutral(self.neutral, frame, camera, self._table)

    def _windows(self, place_px: FloatArray, half_px: FloatArray) -> Windows:
        strength = np.maximum(np.hypot(self.chroma[:, 0], self.chroma[:, 1]), 1.0)
        return Windows(
            place_px=place_px,
            half_px=half_px,
            direction=self.chroma / strength[:, None],
            strength=strength,
            sideways=np.full(len(self._plans), _SIDEWAYS),
            inverse=self.shapes.inverse,
            radius_px=self.shapes.radius_px,
            neutral=self.neutral,
        )
