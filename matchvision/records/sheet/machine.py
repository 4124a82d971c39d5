"""What a sheet says of a machine: its parts and markers, its drive as measured, and what its team forecast.

The machine frame lies on the table between the axles: x forward (the way it drives, towards home), y left, z up.
"""

from collections.abc import Sequence
from math import hypot, prod
from pathlib import Path
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer, model_validator

from matchvision.records.values import (
    Finite,
    Name,
    NotNegative,
    Number,
    Point2,
    Point3,
    Positive,
    Quantity,
    Share,
    SheetModel,
)

#: Numbers of a drive that follow from its stages, each from the stages' number of that name.
FROM_STAGES: Final = {"gear_ratio": "ratio", "drive_efficiency": "efficiency"}


class Hitch(SheetModel):
    """Where the rope is hitched."""

    at_m: Point3 = Field(description="its place in the machine frame: x forward, y left, z up from the table")
    on: Literal["body", "reach"] = Field(
        "body", description='"reach": the rope rides on the arm; place for it drawn in'
    )


class MachineMarker(SheetModel):
    """A marker on a machine: a flat disc facing up, or a sphere."""

    name: Name = Field(description="its name in the tables, behind the machine's: NAME.front")
    colour: str = Field(description="name of a [colour] block")
    radius_m: Positive = Field(description="radius of disc or sphere")
    at_m: Point3 = Field(description="middle of the disc's face, or of the sphere, in the machine frame")
    shape: Literal["disc", "sphere"] = Field("disc", description="what it is")
    on: Literal["body", "reach"] = Field("body", description='"reach": it rides on the arm; place for it drawn in')
    thickness_m: NotNegative | None = Field(
        None,
        description="how far the face stands out, where the disc's side shows in its colour as well: seen obliquely "
        "it shifts the colour's middle, which is then taken off",
    )


class RimMarker(SheetModel):
    """A disc on a wheel's outer face."""

    name: Name = Field(description="its name in the tables, behind the machine's")
    colour: str = Field(description="name of a [colour] block")
    radius_m: Positive = Field(description="radius of the disc")
    circle_m: Positive = Field(description="distance of its middle from the wheel's axle")
    angle_deg: Finite = Field(
        0.0, description="its place on that circle, from forward through up; only one mark against the other counts"
    )
    thickness_m: NotNegative | None = Field(
        None,
        description="how thick it is, where its side shows in its colour as well; `face_m` then lies in the discs' "
        "faces",
    )


class Wheel(SheetModel):
    """A wheel; with marks on its rim it shows how fast it turns and when it slips."""

    name: str = Field(description="its name in the tables")
    radius_m: Positive = Field(description="rolling radius")
    driven: bool = Field(True, description="whether the drive turns it")
    face_m: Point3 = Field(description="middle of the face that carries the rim marks, in the machine frame")
    rim: tuple[RimMarker, ...] = ()


class Load(SheetModel):
    """``[machine.X.load]``: a dragged weight, or one that hangs over a pulley."""

    grip_sliding: Number | None = Field(None, description="measured coefficient of sliding friction on the table")
    hangs: bool = Field(False, description="true for a weight that hangs over a pulley")
    pulley_loss_ratio: Number | None = Field(
        None, description="share of the pull that the pulley's friction takes while the weight rises"
    )

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
    """A base that holds by suction, weight or spikes."""

    holding_N: Number | None = Field(None, description="measured pull up to which it holds")


class Reach(SheetModel):
    """An arm that carries the hitch outwards."""

    stroke_m: Positive = Field(description="how far it goes out")
    mass_kg: NotNegative = Field(0.0, description="mass of what goes out, a part of the machine's")


class Brake(SheetModel):
    """A brake or a self-locking gear."""

    brake_N: Number | None = Field(None, description="measured pull up to which it holds against being drawn backwards")


class Blocker(SheetModel):
    """A wall set in the opponent's way."""

    size_m: Point3 = Field(description="length along its own direction, width, height")
    at_m: Point2 | None = Field(
        None, description="where its middle stands on the table; left out, nothing is said about who ran into it"
    )
    angle_deg: Finite = Field(0.0, description="how it is turned from +x towards +y")


class Body(SheetModel):
    """A second body, rigidly joined to the first: a part of the machine's mass, inertia and outline."""

    name: Name = Field(description="its name")
    mass_kg: Positive = Field(description="its mass, a part of the machine's")
    size_m: Point3 = Field(description="length, width, height")
    at_m: Point3 = Field(description="its middle, in the machine frame")


class StartPose(SheetModel):
    """Where a machine stands when the clock starts; without it that is read from the clip."""

    at_m: Point2 = Field(description="where its origin stands on the table")
    heading_deg: Finite = Field(description="the way it drives, from +x towards +y: 0 or 180 for straight home")


class Stage(SheetModel):
    """One step of a drive between motor and wheel, in any order: a pair of gears, a gearbox, a belt, a chain.

    The drive's `gear_ratio` is the product of its stages' ratios, its `drive_efficiency` that of their efficiencies;
    the u of a product follows from theirs, taken as independent of each other.
    """

    kind: Literal["gear", "planetary", "worm", "belt", "chain", "friction"] = Field(description="what it is")
    ratio: Number = Field(
        description="turns of the shaft on the motor's side for one on the wheel's side: driven teeth over driving ones"
    )
    efficiency: Number | None = Field(
        None, description="share of the power that it passes on; every stage states it or none does"
    )


class Drive(SheetModel):
    """A drive: what was measured about it, or what the team expects of it. Same keys in both places.

    With all driven wheels together Ts = motors · stall torque · gear · efficiency. Plans over time join their points by
    straight lines.
    """

    motors: Annotated[int, Field(ge=0)] | None = Field(None, description="how many motors turn the wheels")
    stall_torque_Nm: Number | None = Field(None, description="stall torque of one motor")
    no_load_rev_min: Number | None = Field(None, description="speed of a motor without load")
    gear_ratio: Number | None = Field(
        None, description="turns of the motor for one of the wheel, all stages together; left out where they are listed"
    )
    drive_efficiency: Number | None = Field(
        None,
        description="share of the torque that arrives at the wheels; left out where the listed stages state theirs",
    )
    stage: tuple[Stage, ...] = ()
    drive_friction_Nm: Number | None = Field(None, description="friction of the drive, at the wheels, all together")
    supply_sag_ratio: Number | None = Field(None, description="share of the supply's voltage that is lost at stall")
    wheel_inertia_kg_m2: Number | None = Field(None, description="inertia of one driven wheel with its gear")
    grip_static: Number | None = Field(None, description="coefficient of friction of the wheels that do not slide")
    grip_sliding: Number | None = Field(None, description="coefficient of friction of sliding wheels")
    rolling_resistance: Number | None = Field(None, description="resistance to rolling over the load")
    start_delay_s: Number | None = Field(None, description="how much later than the clock the whole plan begins")
    throttle: tuple[Point2, ...] = Field((), description="plan: match time, share of full drive (below 0: backwards)")
    throttle_acts_on: Literal["torque", "voltage"] = Field(
        "torque", description="torque: share · Ts · (1 − ω/ω0); voltage: Ts · (share − ω/ω0)"
    )
    holding_N: Number | None = Field(None, description="pull up to which an anchored base holds")
    holding_over_time: tuple[Point2, ...] = Field((), description="match time, share of holding_N that is left")
    holding_by_angle: tuple[Point2, ...] = Field(
        (), description="angle in degrees between the pull and straight back along the machine, share of holding_N"
    )
    reach_s: Number | None = Field(None, description="how long the arm takes to go out")
    brake_N: Number | None = Field(None, description="pull up to which a brake or gear holds the wheels")
    winding: tuple[Point2, ...] = Field((), description="match time, metres of rope wound in")
    release_s: Number | None = Field(None, description="match time at which the hitch lets the rope go")

    @model_validator(mode="after")
    def _multiply(self) -> Self:
        """Total numbers from the stages, as if they were stated; whoever states both is told by the checks of sense."""
        for key, own in FROM_STAGES.items():
            product = multiply_stages(self.stage, own)
            if product is not None and getattr(self, key) is None:
                self.__dict__[key] = product  # not yet handed out, so not yet frozen
                self.model_fields_set.add(key)
        return self

    @model_serializer(mode="wrap")
    def _as_stated(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Without what the stages give: it follows from them when read again, and seals cover what was stated."""
        written: dict[str, Any] = write(self)
        for key, own in FROM_STAGES.items():
            if key in written and getattr(self, key) == multiply_stages(self.stage, own):
                del written[key]
        return written


def multiply_stages(stages: Sequence[Stage], number: str) -> Quantity | None:
    """Product of one number of all stages, "ratio" or "efficiency"; None where not every stage states it.

    Notes
    -----
    First-order propagation for independent inputs: relative uncertainties add in squares (JCGM 100:2008, 5.1.6), here
    in the form of 5.1.2 that a factor of 0 does not upset.
    Checked by: tests/derived/test_drive_stages.py::test_relative_uncertainties_add_in_squares
    """
    factors: list[Quantity | None] = [getattr(stage, number) for stage in stages]
    stated = [factor for factor in factors if factor is not None]
    if not stated or len(stated) < len(factors):
        return None
    values = [factor.value for factor in stated]
    parts = [factor.u * prod(values[:at] + values[at + 1 :]) for at, factor in enumerate(stated)]
    return Quantity(value=prod(values), u=hypot(*parts))


class Forecast(Drive):
    """``[forecast.X]``: what the team calculated beforehand, and what it said would happen."""

    left: Drive | None = None
    right: Drive | None = None
    curve: Path | None = Field(
        None,
        description="the predicted run as a table from any tool: `t_s, position_m, speed_m_s, tension_N` with `u_` "
        "columns",
    )
    win_chance: Share | None = Field(None, description="stated chance to win")
    peak_pull_N: Number | None = Field(None, description="stated greatest pull")
    failure_named: str | None = Field(None, description="what will fail first, if anything does: a cause's name")


class Machine(SheetModel):
    """``[machine.X]``: home, mass, hitch, parts and markers of one machine."""

    home: Literal["-x", "+x"] = Field(description="the side to which it must bring the rope")
    unknown: bool = Field(False, description="true for an opponent that nobody measured: only what is seen is claimed")
    mass_kg: Positive | None = Field(None, description="its whole mass")
    u_mass_kg: NotNegative = Field(0.0, description="standard uncertainty of the mass")
    hitch: Hitch | None = None
    centre_of_mass_m: Point3 | None = Field(
        None,
        description="in the machine frame: x forward, y left, z up; left out, it follows from the bodies where further "
        "ones are listed",
    )
    size_m: Point3 | None = Field(
        None, description="length, width, height; where further bodies are listed, of the first, between the axles"
    )
    wheelbase_m: Positive | None = Field(None, description="from the front axle to the rear one")
    driven_wheels: Annotated[int, Field(ge=0)] | None = Field(None, description="how many wheels are driven")
    start: StartPose | None = None
    commands: Path | None = Field(
        None,
        description="what the operator really did, if logged: table of `t_s, share`, or `left_share, right_share`",
    )
    drive: Drive | None = None
    load: Load | None = None
    marker: tuple[MachineMarker, ...] = ()
    wheel: tuple[Wheel, ...] = ()
    anchor: Anchor | None = None
    reach: Reach | None = None
    brake: Brake | None = None
    blocker: Blocker | None = None
    body: tuple[Body, ...] = ()

    @property
    def middle_of_mass_m(self) -> Point3 | None:
        """The centre of mass as stated, or as it follows from the machine's bodies; None where neither is known.

        The first body has what the others leave of the mass, and stands on the table in the middle between the axles.
        """
        if self.centre_of_mass_m is not None or not self.body or self.mass_kg is None or self.size_m is None:
            return self.centre_of_mass_m
        first_kg = self.mass_kg - sum(body.mass_kg for body in self.body)
        parts = [(first_kg, (0.0, 0.0, self.size_m[2] / 2)), *((body.mass_kg, body.at_m) for body in self.body)]
        x, y, z = (sum(mass * at_m[axis] for mass, at_m in parts) / self.mass_kg for axis in range(3))
        return x, y, z
