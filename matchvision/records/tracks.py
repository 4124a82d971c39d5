"""Where each named marker is in each frame, in pixels."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

import numpy as np
import numpy.typing as npt


class TrackState(IntEnum):
    """How a position came about.

    Seen; carried over a gap; not known; set by hand; seen, and given its name by hand.
    """

    SEEN = 0
    BRIDGED = 1
    LOST = 2
    SET = 3
    TIED = 4

    @property
    def word(self) -> str:
        """The word in the tables."""
        return self.name.lower()


@dataclass(frozen=True)
class MarkerPlan:
    """One marker to look for, as the sheet describes it.

    Attributes
    ----------
    name : str
        As in the tables: ``heron.front``, ``bead_01``, ``link_1``.
    kind : str
        "bead" and "link" are spheres on the rope; "body" rides on a machine (disc or sphere), "rim" on a wheel; "end"
        is an end of the rope that a person set.
    colour : str
        Key of the sheet's colour block.
    radius_m : float
    machine, wheel : str
        Empty where there is none.
    at_m : (3,) floats
        In the machine frame for "body"; the wheel-face middle for "rim"; (0, 0, 0) on the rope.
    arc_m : float
        Arc length on the unstretched rope from the first end, NaN elsewhere. For the second link marker it is
        that of the first plus the link's length under no load, if that is known.
    circle_m, angle_deg : float
        A rim marker's circle and place on it, NaN elsewhere.
    sphere : bool
    thickness_m : float
        How thick a disc is whose side shows in its colour as well, NaN where the sheet does not say.
    u_height_m : float
        How well the height of an end of the rope is known, NaN elsewhere.
    """

    name: str
    kind: Literal["bead", "link", "body", "rim", "end"]
    colour: str
    radius_m: float
    machine: str = ""
    wheel: str = ""
    at_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    arc_m: float = float("nan")
    circle_m: float = float("nan")
    angle_deg: float = float("nan")
    sphere: bool = False
    on_reach: bool = False
    thickness_m: float = float("nan")
    u_height_m: float = float("nan")


@dataclass(frozen=True, eq=False)
class Tracks:
    """Pixel positions of m markers in n frames.

    Attributes
    ----------
    plans : m marker plans
        Column order of the arrays.
    frame : (n,) int array
    clip_s : (n,) float array
    col_px, row_px, u_col_px, u_row_px : (n, m) float arrays
        Centre of the marker's picture (integer = pixel centre) and standard uncertainty; NaN where lost.
    state : (n, m) int8 array of `TrackState`
    """

    plans: tuple[MarkerPlan, ...]
    frame: npt.NDArray[np.int64]
    clip_s: npt.NDArray[np.float64]
    col_px: npt.NDArray[np.float64]
    row_px: npt.NDArray[np.float64]
    u_col_px: npt.NDArray[np.float64]
    u_row_px: npt.NDArray[np.float64]
    state: npt.NDArray[np.int8]

    @property
    def measured(self) -> npt.NDArray[np.bool_]:
        """Where a marker's own picture gave its position, (n, m): seen, tied or set, but not carried over a gap."""
        found = (TrackState.SEEN, TrackState.SET, TrackState.TIED)
        return np.asarray(np.isin(self.state, found), dtype=np.bool_)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the markers, in column order."""
        return tuple(plan.name for plan in self.plans)
