"""What people write about a run, as frozen, checked objects.

The types mirror the run sheet key by key (``docs/conventions.md`` lists them); ``matchvision.sheets`` reads the files
and turns what these types refuse into messages for people. Units stand in the names; SI throughout.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from matchvision.records.camera import Calibration, Camera
from matchvision.records.mends import Mends
from matchvision.records.values import Finite, Name, NotNegative, Number, Point2, Point3, Positive, Share, SheetModel
from matchvision.records.values import Quantity as Quantity


class RunInfo(SheetModel):
    """``[run]``: name, kind of run and the clip file (relative to the sheet)."""

    name: str = Field(min_length=1)
    kind: Literal["match", "sled", "lift", "stall", "slope", "coast", "free"] = "match"
    clip: Path


class ClockSheet(SheetModel):
    """``[clock]``: start of the match in clip time, its length and the recording rate of slow motion.

    ``from_s`` and ``until_s``: the part of the clip that holds this run, where one clip holds many; all other times
    stay those of the whole clip. ``lamp_at_px`` and ``lamp_radius_px``: where a start lamp stands in the upright
    picture, (column, row), and the radius of the disc that is watched there. ``sound_number``: which of several start
    sounds that are about as loud begins the match, as in a countdown: 1 the first in this run's part of the clip, -1
    the last. ``sound_delay_s``: how much later than its pictures the phone's sound is, if that was measured.
    """

    start_s: NotNegative | None = None
    start: Literal["first-motion", "sound", "lamp"] | None = None
    duration_s: Positive
    recorded_fps: Positive | None = None
    from_s: NotNegative | None = None
    until_s: Positive | None = None
    lamp_at_px: Point2 | None = None
    lamp_radius_px: Positive | None = None
    sound_number: int | None = None
    sound_delay_s: Number | None = None

    @model_validator(mode="after")
    def _which_sound(self) -> Self:
        if self.sound_number == 0:
            msg = "sound_number counts from 1 for the first sound, or from -1 for the last, backwards"
            raise ValueError(msg)
        if self.sound_number is not None and self.start not in (None, "sound"):
            msg = f'sound_number says which sound starts the match, but start = "{self.start}"'
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _place_of_lamp(self) -> Self:
        if self.start == "lamp" and self.lamp_at_px is None:
            msg = 'start = "lamp" needs lamp_at_px = [column, row], the lamp\'s middle in the upright picture'
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _one_part(self) -> Self:
        begin_s, end_s = self.from_s or 0.0, float("inf") if self.until_s is None else self.until_s
        if begin_s >= end_s:
            msg = f"the run's part of the clip ends before it begins: from_s = {begin_s:g}, until_s = {end_s:g}"
            raise ValueError(msg)
        if self.start_s is not None and not begin_s <= self.start_s < end_s:
            msg = f"start_s = {self.start_s:g} lies outside the run's part of the clip; all three are clip times"
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _one_start(self) -> Self:
        if (self.start_s is None) == (self.start is None):
            msg = 'give either start_s (clip time in seconds) or start = "first-motion"'
            raise ValueError(msg)
        return self


class Tag(SheetModel):
    """A printed square tag lying on the table; ``side_m`` is the outer side of its black border.

    ``thickness_m`` is how high the print lies above the table's surface: the paper or card under it. Left out, it is
    taken as 0.0003 with a standard uncertainty as large (paper 0.0001, laminated 0.0003, on card 0.0005 and more).
    """

    family: Literal["36h11", "25h9", "16h5"] = "36h11"
    id: Annotated[int, Field(ge=0)]
    side_m: Positive
    centre_m: Point2
    angle_deg: Finite = 0.0
    thickness_m: NotNegative | None = None


class TablePoint(SheetModel):
    """A point of known place on the table that somebody clicked in the picture."""

    name: str
    at_m: Point2 | Point3
    pixel: Point2
    u_px: Positive = 1.0


class TableSheet(SheetModel):
    """``[table]``: size, tags, clicked points and the height profile ``z(x)``.

    ``edges``: whether the table's outline helps to find the camera; left out, it does where it is clearly seen.
    """

    length_m: Positive
    width_m: Positive
    edges: bool | None = None
    profile_m: tuple[Point2, ...] = ()
    tag: tuple[Tag, ...] = ()
    point: tuple[TablePoint, ...] = ()


class CameraSheet(SheetModel):
    """``[camera]``: held by hand or not, and the lens sheet where there is one.

    ``calibration``: the ``camera.json`` in the results of an earlier run that was filmed without moving the camera.
    """

    moves: bool = False
    lens: Path | None = None
    calibration: Path | None = None
    readout_s: NotNegative | None = None

    @model_validator(mode="after")
    def _share_only_what_stands(self) -> Self:
        if self.moves and self.calibration is not None:
            msg = "a camera that moves has no calibration to share: leave calibration out, or say moves = false"
            raise ValueError(msg)
        return self


Srgb = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]


class Colour(SheetModel):
    """What a marker colour looks like.

    ``samples``: how it looks as well, under other lamps, in the shade or worn: patches from pictures of this camera.
    The colour is then their mean together with ``srgb``; the more they differ, the further a shade may lie from it.
    """

    srgb: Srgb
    samples: tuple[Srgb, ...] = ()


class Bead(SheetModel):
    """A coloured sphere on the cord, at an arc length counted from the first end."""

    name: Name
    at_m: NotNegative
    colour: str


class LinkMarker(SheetModel):
    """One of the two markers beside the sprung link."""

    name: Name
    colour: str


class LinkSheet(SheetModel):
    """``[rope.link]``: a sprung link set into the rope, its two markers and its hang test."""

    from_m: NotNegative
    markers: tuple[LinkMarker, LinkMarker]
    hang_test: Path
    u_reading_m: Positive = 0.0005


class RopeSheet(SheetModel):
    """``[rope]``: length, what the ends are hitched to, beads, link and the cord's own stretch."""

    length_m: Positive
    ends: tuple[Name, Name]
    bead_radius_m: Positive = 0.009
    beads: tuple[Bead, ...] = ()
    first_bead_m: NotNegative | None = None
    bead_spacing_m: Positive | None = None
    bead_colours: tuple[str, ...] = ()
    stiffness_N_per_m: Number | None = None
    link: LinkSheet | None = None

    @model_validator(mode="before")
    @classmethod
    def _lay_out_beads(cls, raw: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
        """Write regular beads out one by one, so that everything downstream knows one form."""
        if not isinstance(raw, Mapping) or raw.get("beads"):
            return raw
        first, spacing, colours = (raw.get(k) for k in ("first_bead_m", "bead_spacing_m", "bead_colours"))
        length = raw.get("length_m")
        numbers = (first, spacing, length)
        if not colours or not all(isinstance(v, int | float) for v in numbers) or not float(spacing or 0) > 0:
            return raw
        places = np.arange(float(first or 0), float(length or 0), float(spacing or 1))
        beads = tuple(
            {"name": f"bead_{i + 1:02d}", "at_m": round(float(at), 6), "colour": colours[i % len(colours)]}
            for i, at in enumerate(places)
        )
        return {**raw, "beads": beads}


class Hitch(SheetModel):
    """Where the rope is hitched, in the machine frame; ``on = "reach"``: it rides on the arm."""

    at_m: Point3
    on: Literal["body", "reach"] = "body"


class MachineMarker(SheetModel):
    """A marker on a machine: a flat disc facing up, or a sphere.

    ``at_m`` is the middle of a disc's face. ``thickness_m`` is how far the face stands out, where the disc's side shows
    in its colour as well: seen obliquely, the side shifts the colour's middle, and that is taken off.
    """

    name: Name
    colour: str
    radius_m: Positive
    at_m: Point3
    shape: Literal["disc", "sphere"] = "disc"
    on: Literal["body", "reach"] = "body"
    thickness_m: NotNegative | None = None


class RimMarker(SheetModel):
    """A disc on a wheel's outer face; the angle counts from forward through up.

    ``thickness_m`` is how thick the disc is, where its side shows in its colour as well; ``face_m`` of the wheel then
    lies in the discs' faces.
    """

    name: Name
    colour: str
    radius_m: Positive
    circle_m: Positive
    angle_deg: Finite = 0.0
    thickness_m: NotNegative | None = None


class Wheel(SheetModel):
    """A wheel; ``face_m`` is the middle of the face that carries the rim markers, in the machine frame."""

    name: str
    radius_m: Positive
    driven: bool = True
    face_m: Point3
    rim: tuple[RimMarker, ...] = ()


class Load(SheetModel):
    """``[machine.X.load]``: a dragged weight, with its measured sliding friction, or one that hangs over a pulley.

    ``pulley_loss_ratio`` is the share of the pull that the pulley's friction takes while the weight rises.
    """

    grip_sliding: Number | None = None
    hangs: bool = False
    pulley_loss_ratio: Number | None = None

    @model_validator(mode="after")
    def _dragged_or_hanging(self) -> Self:
        if self.hangs and self.grip_sliding is not None:
            msg = "give grip_sliding (a weight that is dragged) or hangs = true (one that a pulley carries), not both"
            raise ValueError(msg)
        if self.pulley_loss_ratio is not None and not self.hangs:
            msg = "pulley_loss_ratio belongs to a weight that hangs: say hangs = true, or leave it out"
            raise ValueError(msg)
        return self


class Anchor(SheetModel):
    """A base that holds by suction, weight or spikes, up to a pull."""

    holding_N: Number | None = None


class Reach(SheetModel):
    """An arm that carries the hitch outwards."""

    stroke_m: Positive
    mass_kg: NotNegative = 0.0


class Brake(SheetModel):
    """A brake or a self-locking gear."""

    brake_N: Number | None = None


class Blocker(SheetModel):
    """A wall set in the opponent's way: length along its own direction, width, height.

    ``at_m``: where its middle stands on the table, ``angle_deg`` how it is turned from +x towards +y; without a place
    nothing is said about who ran into it.
    """

    size_m: Point3
    at_m: Point2 | None = None
    angle_deg: Finite = 0.0


class Body(SheetModel):
    """A second body of the machine."""

    name: Name
    mass_kg: Positive
    size_m: Point3


class StartPose(SheetModel):
    """Where a machine stands when the clock starts."""

    at_m: Point2
    heading_deg: Finite


class Drive(SheetModel):
    """A drive: what was measured about it, or what the team expects of it. Same keys in both places.

    ``throttle`` joins (match time s, share of full drive) by straight lines; it acts on the torque,
    ``share · Ts · (1 − ω/ω0)``, or on the voltage, ``Ts · (share − ω/ω0)``. In the same manner ``holding_over_time``
    joins (match time s, share of holding_N), ``holding_by_angle`` (angle in degrees between the pull and straight back
    along the machine, share of holding_N) and ``winding`` (match time s, metres of rope wound in). ``reach_s`` is how
    long the arm takes to go out; at ``release_s`` (match time) the hitch lets the rope go.
    """

    motors: Annotated[int, Field(ge=0)] | None = None
    stall_torque_Nm: Number | None = None
    no_load_rev_min: Number | None = None
    gear_ratio: Number | None = None
    drive_efficiency: Number | None = None
    drive_friction_Nm: Number | None = None
    supply_sag_ratio: Number | None = None
    wheel_inertia_kg_m2: Number | None = None
    grip_static: Number | None = None
    grip_sliding: Number | None = None
    rolling_resistance: Number | None = None
    start_delay_s: Number | None = None
    throttle: tuple[Point2, ...] = ()
    throttle_acts_on: Literal["torque", "voltage"] = "torque"
    holding_N: Number | None = None
    holding_over_time: tuple[Point2, ...] = ()
    holding_by_angle: tuple[Point2, ...] = ()
    reach_s: Number | None = None
    brake_N: Number | None = None
    winding: tuple[Point2, ...] = ()
    release_s: Number | None = None


class Forecast(Drive):
    """``[forecast.X]``: what the team calculated beforehand, and what it said would happen."""

    left: Drive | None = None
    right: Drive | None = None
    curve: Path | None = None
    win_chance: Share | None = None
    peak_pull_N: Number | None = None
    failure_named: str | None = None


class Machine(SheetModel):
    """``[machine.X]``: home, mass, hitch, parts and markers of one machine."""

    home: Literal["-x", "+x"]
    unknown: bool = False
    mass_kg: Positive | None = None
    u_mass_kg: NotNegative = 0.0
    hitch: Hitch | None = None
    centre_of_mass_m: Point3 | None = None
    size_m: Point3 | None = None
    wheelbase_m: Positive | None = None
    driven_wheels: Annotated[int, Field(ge=0)] | None = None
    start: StartPose | None = None
    commands: Path | None = None
    drive: Drive | None = None
    load: Load | None = None
    marker: tuple[MachineMarker, ...] = ()
    wheel: tuple[Wheel, ...] = ()
    anchor: Anchor | None = None
    reach: Reach | None = None
    brake: Brake | None = None
    blocker: Blocker | None = None
    body: tuple[Body, ...] = ()


class PracticeSheet(SheetModel):
    """``[practice]``: what only a practice run needs to be told.

    ``machine``: which machine it measures, where that is not plain. On a slope: ``tilt_deg``, how steep the table stood
    when the machine slid, and ``high_end``, which of its ends was high; or ``level_s``, a clip time at which the table
    still lay level, where a camera that stands still watches it being raised (``[camera] moves = true``: it moves as
    seen from the table). ``let_go``: it was let go on a slope that was steep enough, so that nothing is said about grip
    at rest.
    """

    machine: str | None = None
    tilt_deg: Number | None = None
    high_end: Literal["-x", "+x"] | None = None
    level_s: NotNegative | None = None
    let_go: bool = False


class Rules(SheetModel):
    """``[rules]``: how the event decides; nothing is built in but the share of one half."""

    decide: Literal["rope-share", "mark-past-line"] = "rope-share"
    share_to_win: Annotated[float, Field(gt=0, lt=1)] = 0.5
    mark: str | None = None
    line_m: NotNegative | None = None
    setup_limit_s: Positive | None = None


class RunSheet(SheetModel):
    """A whole run sheet; every block beyond run, clock and table is optional."""

    run: RunInfo
    clock: ClockSheet
    table: TableSheet
    camera: CameraSheet = CameraSheet()
    colour: dict[str, Colour] = Field(default_factory=dict)
    rope: RopeSheet | None = None
    machine: dict[Name, Machine] = Field(default_factory=dict)
    rules: Rules = Rules()
    practice: PracticeSheet = PracticeSheet()
    forecast: dict[str, Forecast] = Field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class HangTest:
    """A hang test of the sprung link: masses hung on it and its length under each.

    ``mass_kg`` and ``length_m`` are float arrays of one length n >= 3; ``loading`` says "up", "down" or "" a row.
    """

    mass_kg: npt.NDArray[np.float64]
    length_m: npt.NDArray[np.float64]
    loading: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ForecastCurve:
    """A forecast brought as a table from any tool: columns by name, each a float array of one length."""

    columns: Mapping[str, npt.NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class LensSheet:
    """A lens from chessboard stills: a camera whose pose is meaningless, with the covariance of its lens part."""

    camera: Camera
    views: int
    rms_px: float


@dataclass(frozen=True, eq=False)
class Run:
    """A run as read from disk: the sheet and every file that it points to, loaded and checked.

    ``sheet_texts`` keeps the sheets as they were written, by path, for the report; ``mends`` what was mended by hand.
    """

    sheet: RunSheet
    folder: Path
    hang_test: HangTest | None = None
    lens: LensSheet | None = None
    calibration: Calibration | None = None
    curves: Mapping[str, ForecastCurve] = field(default_factory=dict)
    commands: Mapping[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    sheet_texts: Mapping[str, str] = field(default_factory=dict)
    mends: Mends = field(default_factory=Mends)

    @property
    def clip(self) -> Path:
        """The clip file; the loader has made its path absolute."""
        return self.sheet.run.clip
