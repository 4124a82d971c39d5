"""What a check of the footage finds: measures of the pictures, what is in view, and how well places will be known."""

from dataclasses import dataclass, replace

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.frames import ClipFacts, FootageFault, Frame
from matchvision.records.motion import StartSignal
from matchvision.records.sheet import RunSheet


@dataclass(frozen=True)
class PictureLook:
    """What some pictures of a clip show, before anything is known about the table; NaN where it cannot be told.

    Attributes
    ----------
    pictures : int
        How many were looked at.
    edge_px : float
        Width of the sharper edges, from 10 to 90 % of their rise [px].
    mean_ratio, clipped_ratio, dark_ratio : float
        Mean luma over its whole range, and the shares of pixels that are blown out or black.
    drift_ratio : float
        Spread of the mean luma over the clip, greatest less least over the mean.
    flicker_ratio, flicker_per_s : float
        Amplitude of the periodic change of brightness over the mean, and its rate as the clip shows it: modulo the
        picture rate, for a quicker one is seen as a slower one. The rate is NaN where nothing periodic stands out.
    shake_px : float
        Typical (rms) move of the whole picture from one picture to the next.
    wander_px : float
        Farthest that the whole picture lies from the first one looked at.
    doubled, pairs : int
        How many of how many pairs of neighbours are one and the same picture although things move.
    """

    pictures: int
    edge_px: float
    mean_ratio: float
    clipped_ratio: float
    dark_ratio: float
    drift_ratio: float
    flicker_ratio: float
    flicker_per_s: float
    shake_px: float
    wander_px: float
    doubled: int
    pairs: int


@dataclass(frozen=True)
class RowTiming:
    """How a rolling shutter reads the upright picture: one row, or column, after the other.

    Attributes
    ----------
    readout_s, u_s : float
        Real time from the first one's exposure to the last one's, 0 where it is unknown, and its standard uncertainty.
        Below zero where it reads against the usual sense.
    along : int
        The axis of (col, row) along which it reads: 1 from row to row, 0 from column to column (a turned clip).
    backwards : bool
        From the bottom, or from the right.
    source : str
        Where the number comes from; "" where it is unknown.
    reason : str
        Why it is unknown.
    """

    readout_s: float
    u_s: float
    along: int = 1
    backwards: bool = False
    source: str = ""
    reason: str = ""

    @property
    def known(self) -> bool:
        """Whether the readout was given or estimated."""
        return bool(self.source)

    def because(self, reason: str) -> "RowTiming":
        """The same, unknown for this reason."""
        return replace(self, source="", reason=reason)

    def share(self, pixels_px: FloatArray, width_px: int, height_px: int) -> FloatArray:
        """Where pixels (..., 2) lie along the readout: −1/2 read first, 1/2 last."""
        length_px = (width_px, height_px)[self.along]
        share = np.asarray(pixels_px[..., self.along], dtype=np.float64) / max(1, length_px - 1) - 0.5
        return -share if self.backwards else share


@dataclass(frozen=True)
class PictureSteps:
    """The picture rate as it is: number of pictures, median and longest step [s], where, and how many are missing."""

    pictures: int
    median_s: float
    longest_s: float
    longest_at_s: float
    missing: int
    gaps: int


@dataclass(frozen=True, eq=False)
class TagInView:
    """A tag: its name, whether the sheet lists it, and its corners (4, 2) [px] and mean side, if it is in view."""

    family: str
    id: int
    listed: bool
    side_px: float = float("nan")
    corners_px: FloatArray | None = None


@dataclass(frozen=True)
class ColourInView:
    """A marker colour of the sheet: the markers that wear it, and those that could not be found."""

    colour: str
    srgb: str
    planned: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True)
class MarkerInView:
    """How surely a marker is found, by a few looks at the clip.

    Attributes
    ----------
    looks, found : int
        Pictures that were searched, and those in which it was found.
    strength_levels : float
        Distance of its colour from grey, in levels of 8 bits; NaN where it was not found.
    turned_deg : float
        How far its colour lies off that of the sheet, about grey in the chroma plane.
    rival, rival_deg : str, float
        The nearest other colour as it is seen, and how far it is; "" and NaN where there is no other.
    """

    name: str
    colour: str
    looks: int
    found: int
    strength_levels: float
    turned_deg: float
    rival: str
    rival_deg: float


@dataclass(frozen=True, eq=False)
class PlaceUncertainty:
    """How well a marker's place will be known over the table.

    Attributes
    ----------
    x_m : (c,) float array
    y_m : (r,) float array
    scale_px_per_mm : (r, c) float array
        Pixels that a millimetre along x spans; NaN out of view.
    U95_x_m, U95_y_m : (r, c) float arrays
        Expanded uncertainty (k = 1.96) of a place, at the marker's height.
    height_m, u_height_m, radius_m, u_px : float
        The marker that is meant: its height above the table, how well that is known, its radius, and how well its
        centre is located in the picture in the middle of the table.
    table_px : (n, 2) float array
        Outline of the table in the picture.
    """

    x_m: FloatArray
    y_m: FloatArray
    scale_px_per_mm: FloatArray
    U95_x_m: FloatArray
    U95_y_m: FloatArray
    height_m: float
    u_height_m: float
    radius_m: float
    u_px: float
    table_px: FloatArray


@dataclass(frozen=True, eq=False)
class FootageCheck:
    """The whole answer about a clip or a still before it is used.

    Attributes
    ----------
    facts : ClipFacts
    is_still : bool
    sheet : RunSheet or None
    steps : PictureSteps or None
        None for a still.
    look : PictureLook
    smear_px : float
        How far a marker at ``speed_m_s`` smears while the shutter is open for ``shutter_s``; NaN without a table.
    speed_m_s, shutter_s : float
        ``shutter_s`` is the step between pictures, the longest possible, where nobody gave it.
    tags, colours : what is in view
    places : PlaceUncertainty or None
        None where the table could not be found.
    picture : Frame
        One of the pictures looked at.
    markers_px : mapping of marker to its place (col, row) [px] in that picture
    faults : weaknesses, the gravest first
    rows : RowTiming or None
        How a rolling shutter reads the pictures; None for a still.
    markers : tuple of MarkerInView
        Where they were asked for.
    confusions : tuple of str
        A sentence for each pair of colours that can hardly be told apart.
    start : StartSignal or None
        The start sound, where the sheet asks for one and it is heard.
    """

    facts: ClipFacts
    is_still: bool
    sheet: RunSheet | None
    steps: PictureSteps | None
    look: PictureLook
    smear_px: float
    speed_m_s: float
    shutter_s: float
    shutter_known: bool
    tags: tuple[TagInView, ...]
    colours: tuple[ColourInView, ...]
    places: PlaceUncertainty | None
    picture: Frame
    markers_px: dict[str, tuple[float, float]]
    faults: tuple[FootageFault, ...]
    rows: RowTiming | None = None
    markers: tuple[MarkerInView, ...] = ()
    confusions: tuple[str, ...] = ()
    start: StartSignal | None = None

    @property
    def exit_code(self) -> int:
        """0 usable, 1 usable with weaknesses that cost something, 2 not usable."""
        return max([{"remark": 0, "costs": 1, "unusable": 2}[fault.weight] for fault in self.faults], default=0)
