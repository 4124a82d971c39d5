"""What is filmed: the words of a scene sheet as frozen objects.

A scene says what is true; the run sheet that is written beside the clip says only what a user would know.
Lengths in metres, times in seconds of the clip unless a name says otherwise.
"""

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from matchvision.filming.equipment import Camera, Hand, Lamp, Light, Sound
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.filming.values import STRICT, Colour, Name, NotNegative, Number, Point2, Point3, Positive, Share

PALETTE: dict[str, str] = {
    "red": "#d7231e",
    "cyan": "#0ab4cd",
    "yellow": "#f0cd14",
    "green": "#1eaf3c",
    "magenta": "#d71e8c",
    "orange": "#fa780a",
    "blue": "#2350d7",
}


@dataclass(frozen=True, config=STRICT)
class Clock:
    """When the match runs within the clip.

    ``told_by``: how the run sheet says when it starts, by its clip time or by what shows it. ``from_s``: clip time of
    the run's first picture, where one clip holds several runs.
    """

    start_s: NotNegative
    duration_s: Positive
    after_s: NotNegative = 0.5
    told_by: Literal["time", "first-motion", "sound", "lamp"] = "time"
    from_s: NotNegative = 0.0


@dataclass(frozen=True, config=STRICT)
class Tag:
    """A printed fiducial flat on the table; ``side_m`` is the outer side of its black border."""

    id: Annotated[int, Field(ge=0, le=586)]
    side_m: Positive
    centre_m: Point2


@dataclass(frozen=True, config=STRICT)
class Patch:
    """A stretch of table on which everything grips differently."""

    from_m: Number
    to_m: Number
    grip_ratio: NotNegative
    half_width_m: Positive = 0.22
    colour: Colour = "#6f6a60"


@dataclass(frozen=True, config=STRICT)
class Table:
    """The table top and what is printed or laid on it.

    ``profile_m`` lists height z at x for a ridge or ramps, 0 at x = 0; lengths along x are horizontal. Without it the
    table is flat.
    """

    length_m: Positive
    width_m: Positive
    profile_m: tuple[Point2, ...] = ()
    tag: tuple[Tag, ...] = ()
    patch: tuple[Patch, ...] = ()
    height_m: Positive = 0.74
    thickness_m: Positive = 0.032
    colour: Colour = "#b9bbbe"


@dataclass(frozen=True, config=STRICT)
class Link:
    """A sprung link set into the rope."""

    from_m: Positive
    rest_m: Positive
    stiffness_N_per_m: Positive
    colour: Name
    hang_masses_kg: tuple[NotNegative, ...] = (0.0, 0.2, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
    u_reading_m: NotNegative = 0.0003


@dataclass(frozen=True, config=STRICT)
class Release:
    """A hitch that lets the taut rope go, so long after the start."""

    hitch: Name
    after_start_s: Positive


@dataclass(frozen=True, config=STRICT)
class Rope:
    """The rope; ``length_m`` is unloaded and includes the link's resting length.

    ``pulley_m``: x and z of a pulley's top over which it runs down to a weight that hangs.
    """

    length_m: Positive
    ends: tuple[Name, Name]
    first_bead_m: Positive
    bead_spacing_m: Positive
    bead_colours: tuple[Name, ...]
    bead_radius_m: Positive = 0.009
    stiffness_N_per_m: Positive = 5000.0
    damping_N_s_per_m: NotNegative = 12.0
    link: Link | None = None
    release: Release | None = None
    pulley_m: Point2 | None = None


#: In a scene without a rope: nobody is at its ends, and no bead fits on it.
NO_ROPE = Rope(
    length_m=1e-3, ends=("nobody", "nobody"), first_bead_m=1.0, bead_spacing_m=1.0, bead_colours=(), bead_radius_m=1e-6
)


@dataclass(frozen=True, config=STRICT)
class Disc:
    """A flat round sticker on a machine's top."""

    name: Name
    colour: Name
    radius_m: Positive
    at_m: Point3
    on: Literal["body", "reach"] = "body"


@dataclass(frozen=True, config=STRICT)
class RimMark:
    """A round sticker on a wheel's face."""

    name: Name
    colour: Name
    radius_m: Positive
    circle_m: Positive
    angle_deg: Number


@dataclass(frozen=True, config=STRICT)
class Wheel:
    """A wheel that carries rim marks."""

    name: str
    face_m: Point3
    rim: tuple[RimMark, ...]


@dataclass(frozen=True, config=STRICT)
class Drive:
    """What the machine's drive really is and does; throttle times count from the start plus ``start_delay_s``.

    At ``loss_s`` (match time) the drive falls to ``loss_ratio`` of itself. Where one side alone is lost the machine
    turns from then on, by ``loss_turn_deg_per_m`` (to the left positive) of the way it goes, backwards too.
    """

    stall_torque_Nm: Positive
    no_load_rev_min: Positive
    gear_ratio: Positive
    throttle: Annotated[tuple[tuple[Number, Share], ...], Field(min_length=1)]
    motors: Annotated[int, Field(ge=1)] = 2
    drive_efficiency: Annotated[float, Field(gt=0, le=1)] = 0.72
    drive_friction_Nm: NotNegative = 0.09
    wheel_radius_m: Positive = 0.045
    wheel_inertia_kg_m2: Positive = 0.004
    throttle_acts_on: Literal["torque", "voltage"] = "torque"
    start_delay_s: NotNegative = 0.0
    loss_s: NotNegative | None = None
    loss_ratio: Share = 0.5
    loss_turn_deg_per_m: Number = 0.0


@dataclass(frozen=True, config=STRICT)
class Stated:
    """A number as its team states it, with its standard uncertainty."""

    value: Number
    u: NotNegative


@dataclass(frozen=True, config=STRICT)
class Forecast:
    """What the team calculated with; it need not be right."""

    motors: int | None = None
    stall_torque_Nm: Stated | Number | None = None
    no_load_rev_min: Stated | Number | None = None
    gear_ratio: Stated | Number | None = None
    drive_efficiency: Stated | Number | None = None
    drive_friction_Nm: Stated | Number | None = None
    grip_static: Stated | Number | None = None
    grip_sliding: Stated | Number | None = None
    wheel_inertia_kg_m2: Stated | Number | None = None
    throttle: tuple[tuple[Number, Share], ...] | None = None
    throttle_acts_on: Literal["torque", "voltage"] | None = None


@dataclass(frozen=True, config=STRICT)
class Machine:
    """A machine or a dragged load (one without a drive).

    ``hitch_x_m`` and ``y_m`` say where it stands at the clip's beginning: the hitch's x and the origin's y.
    The heading is home's, plus ``heading_offset_deg``, plus ``wander_deg`` times the sine of the path travelled
    over ``wander_m``. With an ``arm`` the hitch rides on it. ``let_go_s``: match time at which it is let go and its
    drive begins; before that it is held. A load that ``hangs`` does so from the rope, beyond its pulley.
    ``lift`` joins (match time, degrees) by straight lines: how far its nose is up, its rear standing on; below 0 its
    nose stands and its rear is up.
    """

    home: Literal["-x", "+x"]
    mass_kg: Positive
    grip_ratio: NotNegative
    hitch_m: Point3
    hitch_x_m: Number
    size_m: tuple[Positive, Positive, Positive]
    marker: tuple[Disc, ...]
    y_m: Number = 0.0
    heading_offset_deg: Number = 0.0
    wander_deg: Number = 0.0
    wander_m: Positive = 0.15
    u_mass_kg: NotNegative = 0.01
    centre_of_mass_m: Point3 | None = None
    wheelbase_m: Positive = 0.17
    colour: Colour = "#34373f"
    drive: Drive | None = None
    wheel: tuple[Wheel, ...] = ()
    forecast: Forecast | None = None
    load_grip: Stated | None = None
    anchor: Anchor | None = None
    arm: Arm | None = None
    brake_stated_N: Stated | None = None
    let_go_s: Number = 0.0
    hangs: bool = False
    lift: tuple[Point2, ...] = ()


@dataclass(frozen=True, config=STRICT)
class Practice:
    """What the run sheet of a practice run says beyond the others; the table's tilt as it was read off."""

    tilt_deg: Stated | None = None
    high_end: Literal["-x", "+x"] | None = None


@dataclass(frozen=True, config=STRICT)
class Thing:
    """Something that lies about, off the table: a box or a ball; z counts from the floor."""

    shape: Literal["box", "ball"]
    at_m: Point3
    size_m: tuple[Positive, Positive, Positive]
    colour: Colour
    turn_deg: Number = 0.0


@dataclass(frozen=True, config=STRICT)
class Scene:
    """One clip's worth of truth."""

    name: Annotated[str, Field(min_length=1)]
    kind: Literal["match", "sled", "lift", "slope", "coast", "free", "stall"]
    clock: Clock
    table: Table
    camera: Camera
    machine: dict[Name, Machine]
    rope: Rope = NO_ROPE
    story: str = ""
    seed: Annotated[int, Field(ge=0)] = 0
    light: Light = Field(default_factory=Light)
    colour: dict[Name, Colour] = Field(default_factory=lambda: dict(PALETTE))
    share_to_win: Share = 0.5
    thing: tuple[Thing, ...] = ()
    sound: Sound | None = None
    lamp: Lamp | None = None
    hand: tuple[Hand, ...] = ()
    wall: tuple[Wall, ...] = ()
    practice: Practice | None = None

    @property
    def roped(self) -> bool:
        """Whether there is a rope."""
        return self.rope != NO_ROPE

    @property
    def start_sound_s(self) -> float | None:
        """Clip time at which the start sound begins, if there is one."""
        if self.sound is None:
            return None
        return self.clock.start_s if self.sound.at_s is None else self.sound.at_s

    @property
    def lamp_on_s(self) -> float | None:
        """Clip time at which the start lamp goes on, if there is one."""
        if self.lamp is None:
            return None
        return self.clock.start_s if self.lamp.on_s is None else self.lamp.on_s

    @property
    def end_s(self) -> float:
        """Clip time at which the match clock stops."""
        return self.clock.start_s + self.clock.duration_s

    @property
    def frames(self) -> int:
        """Number of pictures."""
        length_s = self.end_s + self.clock.after_s - self.clock.from_s
        return round(length_s * self.camera.frames_per_s) + 1

    @property
    def last_s(self) -> float:
        """Clip time of the last picture."""
        return self.clock.from_s + (self.frames - 1) / self.camera.frames_per_s

    @property
    def release_s(self) -> float | None:
        """Clip time at which a hitch lets the rope go, if one does."""
        return None if self.rope.release is None else self.clock.start_s + self.rope.release.after_start_s

    def beads(self) -> list[tuple[str, float, str]]:
        """Name, arc length [m] and colour of every bead; none sits on the link or on a hitch."""
        found: list[tuple[str, float, str]] = []
        place, index = self.rope.first_bead_m, 1
        link = self.rope.link
        clear = 1.5 * self.rope.bead_radius_m
        while place < self.rope.length_m - clear:
            if link is None or not link.from_m - clear < place < link.from_m + link.rest_m + clear:
                colours = self.rope.bead_colours
                found.append((f"bead_{index:02d}", round(place, 6), colours[len(found) % len(colours)]))
            index += 1
            place = self.rope.first_bead_m + (index - 1) * self.rope.bead_spacing_m
        return found
