"""What a sheet says of a machine: its parts and markers, its drive as measured, and what its team forecast."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from matchvision.records.values import Finite, Name, NotNegative, Number, Point2, Point3, Positive, Share, SheetModel


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
