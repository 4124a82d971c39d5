"""The whole run sheet: which run it is, its clock and the rules, beside table, rope and machines."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from matchvision.records.sheet.machine import Forecast, Machine
from matchvision.records.sheet.rope import RopeSheet
from matchvision.records.sheet.table import CameraSheet, Colour, TableSheet
from matchvision.records.values import Name, NotNegative, Number, Point2, Positive, SheetModel


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
