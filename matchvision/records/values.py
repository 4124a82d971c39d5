"""Plain values of which sheets are made: numbers with bounds, names, points, and numbers with an uncertainty."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Name = Annotated[str, Field(pattern=r"^[^\s.]+$", description="a name without spaces or full stops")]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Point2 = tuple[Finite, Finite]
Point3 = tuple[Finite, Finite, Finite]


class SheetModel(BaseModel):
    """Common manners: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Quantity(SheetModel):
    """A number with its standard uncertainty; a bare number in the sheet has none stated (``u = 0``)."""

    value: Finite
    u: NotNegative = 0.0


def _as_quantity(raw: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return {"value": float(raw)}
    return raw


Number = Annotated[Quantity, BeforeValidator(_as_quantity, json_schema_input_type=float | Quantity)]
