"""What the page may ask for: the bodies of its posts, checked before anything is done."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from matchvision.records.mends import Mend
from matchvision.records.sheet import Tag
from matchvision.records.values import Finite, Name, NotNegative, Point2, Point3, Positive

_Number = Annotated[int, Field(ge=0)]
_Text = Annotated[str, Field(min_length=1, max_length=80)]


class Asked(BaseModel):
    """Common manners: unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class SetPoint(Asked):
    """A point of the table that somebody set in a picture."""

    name: _Text
    at_m: Point2 | Point3
    pixel: Point2
    u_px: Positive = 1.0


class SetPoints(Asked):
    """All points of the table; ``keep``: written to the desk's file, else only tried, and quickly where that can be."""

    points: Annotated[tuple[SetPoint, ...], Field(max_length=200)]
    keep: bool = False


class SetTags(Asked):
    """The tags that shall count, all of them; None: as the sheet has them."""

    tags: Annotated[tuple[Tag, ...], Field(max_length=600)] | None


class SetStart(Asked):
    """The clip time at which the match starts; None: as the sheet has it."""

    start_s: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None


class ShowColour(Asked):
    """A click on a marker of a colour. ``more``: one sample more; else the colour is learnt anew from this one."""

    name: _Text
    number: _Number
    pixel: Point2
    more: bool = False


class ForgetColour(Asked):
    """A colour that shall be as the sheet has it."""

    name: _Text


class Look(Asked):
    """Something to be done with a picture."""

    number: _Number


class Point(Asked):
    """A place in a picture."""

    number: _Number
    pixel: Point2


class Declare(Asked):
    """A marker that the sheet does not name: a disc on a machine, or a bead on the rope.

    ``at_m`` is the disc's place on its machine, forward and to the left; ``along_m`` the bead's along the rope.
    """

    kind: Literal["disc", "bead"]
    name: Name
    colour: _Text
    number: _Number
    pixel: Point2
    machine: str = ""
    height_m: Finite = 0.0
    radius_m: Positive = 0.01
    at_m: Point2 = (0.0, 0.0)
    along_m: NotNegative = 0.0


class Withdraw(Asked):
    """A marker that was declared at the desk and shall go."""

    name: _Text


class Follow(Asked):
    """Markers shall be followed over two seconds from a picture, or, ``whole``, over the whole run."""

    number: _Number
    whole: bool = False


class SetMends(Asked):
    """All mends, in their order."""

    mend: Annotated[tuple[Mend, ...], Field(max_length=5000)]


class TurnRope(Asked):
    """Which end the rope's arc length counts from: the other one."""


class Begin(Asked):
    """Long work shall begin."""
