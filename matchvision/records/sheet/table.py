"""What a sheet says of the table, of the camera that looks at it and of the colours of markers."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from matchvision.records.values import Finite, NotNegative, Point2, Point3, Positive, SheetModel


class Tag(SheetModel):
    """A printed square tag lying on the table."""

    family: Literal["36h11", "25h9", "16h5"] = Field("36h11", description="which set of prints it belongs to")
    id: Annotated[int, Field(ge=0)] = Field(description="its number in that set")
    side_m: Positive = Field(description="outer side of its black border, as measured on the print")
    centre_m: Point2 = Field(description="where its middle lies: x along the pull, y across")
    angle_deg: Finite = Field(
        0.0, description="how it is turned from +x towards +y; at 0 it is upright for who looks along +y"
    )
    thickness_m: NotNegative | None = Field(
        None,
        description="how high the print lies above the table: paper 0.0001, laminated 0.0003, on card 0.0005 and more; "
        "left out, 0.0003 with a standard uncertainty as large",
    )


class TablePoint(SheetModel):
    """A point of known place on the table that somebody clicked in the picture."""

    name: str = Field(description="what it is, for people")
    at_m: Point2 | Point3 = Field(description="its place (x, y), with the height above the table as a third number")
    pixel: Point2 = Field(description="where it is in the upright picture: column, row")
    u_px: Positive = Field(1.0, description="standard uncertainty of the click, each way")


class TableSheet(SheetModel):
    """``[table]``: size, tags, clicked points and height profile."""

    length_m: Positive = Field(description="length along the pull")
    width_m: Positive = Field(description="width across the pull")
    edges: bool | None = Field(
        None, description="whether its outline helps to find the camera; left out, it does where it is clearly seen"
    )
    profile_m: tuple[Point2, ...] = Field(
        (), description="heights of a ridge or ramp: points (x, z), joined by straight lines; left out, it is flat"
    )
    tag: tuple[Tag, ...] = ()
    point: tuple[TablePoint, ...] = ()


class CameraSheet(SheetModel):
    """``[camera]``: how the camera was held, and what is known of it beforehand."""

    moves: bool = Field(False, description="true where it was held by hand")
    lens: Path | None = Field(None, description="lens sheet, as `matchvision lens` writes it")
    calibration: Path | None = Field(
        None, description="`camera.json` of an earlier run that was filmed without moving the camera"
    )
    readout_s: NotNegative | None = Field(
        None,
        description="rolling shutter: time from the first row's exposure to the last row's; left out, it is read from "
        "the file or estimated",
    )

    @model_validator(mode="after")
    def _share_only_what_stands(self) -> Self:
        if self.moves and self.calibration is not None:
            msg = "a camera that moves has no calibration to share: leave calibration out, or say moves = false"
            raise ValueError(msg)
        return self


Srgb = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]


class Colour(SheetModel):
    """What a marker colour looks like."""

    srgb: Srgb = Field(description='the colour as "#rrggbb"')
    samples: tuple[Srgb, ...] = Field(
        (),
        description="how it looks as well, under other lamps, in the shade or worn: patches from pictures of this "
        "camera. The colour is then the mean of all; the more they differ, the further a shade may lie from it",
    )
