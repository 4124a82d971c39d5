"""The kinds of number and word that a scene sheet may hold."""

from typing import Annotated

from pydantic import ConfigDict, Field

STRICT = ConfigDict(extra="forbid")

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Colour = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
Point2 = tuple[Number, Number]
Point3 = tuple[Number, Number, Number]
