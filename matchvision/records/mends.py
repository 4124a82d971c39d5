"""What a person mended by hand in the tracking of a run: an ordered list that can be replayed.

Frames are numbers of pictures as in ``tracks.csv``, both ends of a range included.
"""

from typing import Annotated, Literal

from pydantic import Field

from matchvision.records.values import Number, Point2, Positive, SheetModel

Frame = Annotated[int, Field(ge=0)]


class Cut(SheetModel):
    """``do = "cut"``: from this frame on, what was followed under the marker's name is something else."""

    do: Literal["cut"]
    marker: str
    frame: Frame
    why: str = ""


class Strike(SheetModel):
    """``do = "strike"``: in these frames what was taken for the marker is not it; without ``until_frame``, in one."""

    do: Literal["strike"]
    marker: str
    frame: Frame
    until_frame: Frame | None = None
    why: str = ""


class Tie(SheetModel):
    """``do = "tie"``: what was followed as ``followed_as`` is this marker, from a frame on or up to another.

    It counts what the tracking gave, before any mend: two markers that were swapped are two ties, each way one.
    """

    do: Literal["tie"]
    marker: str
    followed_as: str
    frame: Frame
    until_frame: Frame | None = None
    why: str = ""


class Put(SheetModel):
    """``do = "set"``: in this frame the marker's middle is at this pixel, with the standard uncertainty ``u_px``."""

    do: Literal["set"]
    marker: str
    frame: Frame
    pixel: Point2
    u_px: Positive = 1.0
    why: str = ""


class End(SheetModel):
    """``do = "end"``: in this frame the rope ends here, where it is hitched to what ``[rope] ends`` calls ``end``.

    ``height_m``: how high that is above the table, where the sheet gives no hitch.
    """

    do: Literal["end"]
    end: str
    frame: Frame
    pixel: Point2
    u_px: Positive = 1.0
    height_m: Number | None = None
    why: str = ""


Mend = Annotated[Cut | Strike | Tie | Put | End, Field(discriminator="do")]


class Mends(SheetModel):
    """A file of mends. ``clip_sha256``: fingerprint of the clip in which they were made; they count for no other."""

    clip_sha256: str | None = None
    mend: tuple[Mend, ...] = ()

    @property
    def sets_points(self) -> bool:
        """Whether some mend gives a place that no tracking found."""
        return any(isinstance(mend, Put | End) for mend in self.mend)
