"""What a sheet says of the table, of the camera that looks at it and of the colours of markers."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from matchvision.records.values import Finite, NotNegative, Point2, Point3, Positive, SheetModel


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
