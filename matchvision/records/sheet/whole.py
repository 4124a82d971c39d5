"""The whole run sheet: which run it is, its clock and the rules, beside table, rope and machines."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from matchvision.records.sheet.machine import Forecast, Machine
from matchvision.records.sheet.rope import RopeSheet
from matchvision.records.sheet.table import CameraSheet, Colour, TableSheet
from matchvision.records.values import Name, NotNegative, Number, Point2, Positive, SheetModel


class RunInfo(SheetModel):
    """``[run]``: which run it is, and its clip."""

    name: str = Field(min_length=1, description="its name, for people and for the folder of results")
    kind: Literal["match", "sled", "lift", "stall", "slope", "coast", "free"] = Field(
        "match", description="a match, or a practice run that measures a machine"
    )
    clip: Path = Field(description="the clip")


class ClockSheet(SheetModel):
    """``[clock]``: when the match starts and how long it lasts. All are clip times but ``duration_s``."""

    start_s: NotNegative | None = Field(None, description="clip time of the start signal; or, instead of it, `start`")
    start: Literal["first-motion", "sound", "lamp"] | None = Field(None, description="what in the clip shows the start")
    duration_s: Positive = Field(description="how long the match lasts")
    recorded_fps: Positive | None = Field(
        None, description="slow motion: pictures a second that the camera took, not those that a player shows"
    )
    from_s: NotNegative | None = Field(None, description="where one clip holds many runs: begin of this one's part")
    until_s: Positive | None = Field(None, description="end of this run's part")
    lamp_at_px: Point2 | None = Field(None, description="a start lamp's middle in the upright picture: column, row")
    lamp_radius_px: Positive | None = Field(None, description="radius of the disc that is watched there")
    sound_number: int | None = Field(
        None,
        description="which of several start sounds about as loud starts the match, as in a countdown: 1 the first in "
        "this run's part of the clip, -1 the last",
    )
    sound_delay_s: Number | None = Field(
        None, description="how much later than its pictures this phone's sound is, if that was measured"
    )

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


class PracticeSheet(SheetModel):
    """``[practice]``: what only a practice run needs to be told."""

    machine: str | None = Field(None, description="which machine it measures, where that is not plain")
    tilt_deg: Number | None = Field(None, description="slope: how steep the table stood when the machine slid")
    high_end: Literal["-x", "+x"] | None = Field(None, description="slope: the end that was raised")
    level_s: NotNegative | None = Field(
        None,
        description="slope, instead of `tilt_deg`: a clip time at which the table still lay level, where a camera that "
        "stands still watches it being raised (with `moves = true`: seen from the table it moves)",
    )
    let_go: bool = Field(
        False, description="slope: it was let go where it was steep enough, so that nothing is said of grip at rest"
    )


class Rules(SheetModel):
    """``[rules]``: how the event decides; nothing is built in but the share of one half."""

    decide: Literal["rope-share", "mark-past-line"] = Field(
        "rope-share",
        description="by the larger share of the rope when the clock stops, or by the line that a mark passes first",
    )
    share_to_win: Annotated[float, Field(gt=0, lt=1)] = Field(
        0.5, description="share of the rope beyond which a side wins"
    )
    mark: str | None = Field(None, description="mark-past-line: name of the marker that decides, such as a bead")
    line_m: NotNegative | None = Field(None, description="mark-past-line: distance of both lines from the centre line")
    setup_limit_s: Positive | None = Field(None, description="time that the rules allow for setting up")
    hitch_from_centre_m: Positive | None = Field(
        None,
        description="how far from the centre line each machine's hitch stands at the start; without it, the rope is "
        "taut and halved",
    )


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
