"""Words of a scene sheet about what films, what lights, what tells the start and who reaches in."""

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from matchvision.filming.values import STRICT, Colour, NotNegative, Number, Point2, Point3, Positive, Share


@dataclass(frozen=True, config=STRICT)
class Sway:
    """The unrest of a hand that holds the camera."""

    move_m: NotNegative
    turn_deg: NotNegative
    period_s: Positive = 2.7


@dataclass(frozen=True, config=STRICT)
class Bump:
    """A knock that the camera had before this run: moved in the table frame, then turned about its own axes.

    The camera's axes are x to the right of the picture, y down, z forward.
    """

    move_m: Point3 = (0.0, 0.0, 0.0)
    turn_deg: Point3 = (0.0, 0.0, 0.0)


@dataclass(frozen=True, config=STRICT)
class Camera:
    """The phone.

    ``readout_s`` is the rolling shutter's time from the first row to the last: row v is exposed about
    pts + (v / (height − 1) − 0.5) · readout_s.
    """

    position_m: Point3
    look_at_m: Point3
    f_px: tuple[Positive, Positive]
    size_px: tuple[Annotated[int, Field(ge=64, multiple_of=2)], Annotated[int, Field(ge=64, multiple_of=2)]] = (
        1280,
        720,
    )
    frames_per_s: Positive = 60.0
    centre_px: Point2 | None = None
    distortion: tuple[Number, Number, Number, Number, Number] = (0.0, 0.0, 0.0, 0.0, 0.0)
    roll_deg: Number = 0.0
    exposure_s: NotNegative = 1 / 120
    readout_s: NotNegative = 0.0
    subframes: Annotated[int, Field(ge=1, le=16)] = 3
    noise_levels: NotNegative = 1.2
    blur_px: NotNegative = 0.3
    bitrate: Annotated[int, Field(ge=100_000)] = 4_000_000
    sway: Sway | None = None
    bump: Bump | None = None


@dataclass(frozen=True, config=STRICT)
class Light:
    """One lamp far away and the light from everywhere else.

    ``brightness`` scales all light, or the camera's fixed exposure. ``flicker_ratio`` is the ripple that mains lamps
    have at ``flicker_Hz``, ``drift_ratio`` the slow swing of an exposure that is not locked, ``tint`` the colour that
    white paper has in the picture.
    """

    azimuth_deg: Number = -60.0
    elevation_deg: Annotated[float, Field(gt=5, le=90)] = 62.0
    brightness: Positive = 1.0
    ambient_ratio: Share = 0.5
    softness_m: Positive = 0.012
    flicker_ratio: Share = 0.0
    flicker_Hz: Positive = 100.0
    drift_ratio: Share = 0.0
    drift_period_s: Positive = 7.0
    tint: Colour = "#ffffff"


@dataclass(frozen=True, config=STRICT)
class Sound:
    """The clip's sound: a room's noise and a start signal. ``at_s`` is clip time; else the clock's start."""

    kind: Literal["beep", "horn", "clap"] = "beep"
    at_s: NotNegative | None = None
    lasts_s: Positive = 0.35
    pitch_Hz: Positive = 1000.0
    level_ratio: Share = 0.3
    noise_ratio: Share = 0.004


@dataclass(frozen=True, config=STRICT)
class Lamp:
    """A start lamp in view, a ball on a post; place in the table frame.

    ``on_s`` is clip time; else the clock's start.
    """

    at_m: Point3
    radius_m: Positive = 0.022
    colour: Colour = "#fff1c9"
    on_s: NotNegative | None = None


@dataclass(frozen=True, config=STRICT)
class Hand:
    """A bare hand and forearm that reach in over the table and out again.

    The fingertips cross the table's edge at ``from_s`` and ``until_s`` (clip time) and reach ``reach_m`` past it
    midway; meanwhile they go from ``from_x_m`` to ``to_x_m``.
    """

    from_s: NotNegative
    until_s: NotNegative
    from_x_m: Number = 0.0
    to_x_m: Number = 0.0
    reach_m: Positive = 0.6
    height_m: Positive = 0.18
    edge: Literal["-y", "+y"] = "-y"
    colour: Colour = "#c58c6d"
