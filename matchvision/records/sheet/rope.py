"""What a sheet says of the rope: its length, its beads, and a sprung link in it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import Field, model_validator

from matchvision.records.values import Name, NotNegative, Number, Positive, SheetModel


class Bead(SheetModel):
    """A coloured sphere on the cord."""

    name: Name = Field(description="its name in the tables")
    at_m: NotNegative = Field(description="arc length from the first end")
    colour: str = Field(description="name of a [colour] block")


class LinkMarker(SheetModel):
    """One of the two markers beside the sprung link."""

    name: Name = Field(description="its name in the tables")
    colour: str = Field(description="name of a [colour] block")


class LinkSheet(SheetModel):
    """``[rope.link]``: a sprung link set into the rope, a marker at each side of it."""

    from_m: NotNegative = Field(description="arc length at which it sits")
    markers: tuple[LinkMarker, LinkMarker]
    hang_test: Path = Field(description="table of `mass_kg, length_m` and, if read both ways, `loading` (up, down)")
    u_reading_m: Positive = Field(0.0005, description="standard uncertainty of a length read in the hang test")


class RopeSheet(SheetModel):
    """``[rope]``: its length, what the ends are hitched to, beads, link and the cord's own stretch.

    Beads are listed one by one, or laid out evenly by ``first_bead_m``, ``bead_spacing_m`` and ``bead_colours``.
    """

    length_m: Positive = Field(description="from hitch to hitch, unstretched")
    ends: tuple[Name, Name] = Field(description="the machines at its two ends; arc lengths count from the first")
    bead_radius_m: Positive = Field(0.009, description="radius of the beads")
    beads: tuple[Bead, ...] = ()
    first_bead_m: NotNegative | None = Field(None, description="arc length of the first of evenly spaced beads")
    bead_spacing_m: Positive | None = Field(None, description="arc length from one of them to the next")
    bead_colours: tuple[str, ...] = Field((), description="their colours, in turn")
    stiffness_N_per_m: Number | None = Field(None, description="pull over stretch of the whole cord, without the link")
    link: LinkSheet | None = None

    @model_validator(mode="before")
    @classmethod
    def _lay_out_beads(cls, raw: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
        """Write regular beads out one by one, so that everything downstream knows one form."""
        if not isinstance(raw, Mapping) or raw.get("beads"):
            return raw
        first, spacing, colours = (raw.get(k) for k in ("first_bead_m", "bead_spacing_m", "bead_colours"))
        length = raw.get("length_m")
        numbers = (first, spacing, length)
        if not colours or not all(isinstance(v, int | float) for v in numbers) or not float(spacing or 0) > 0:
            return raw
        places = np.arange(float(first or 0), float(length or 0), float(spacing or 1))
        beads = tuple(
            {"name": f"bead_{i + 1:02d}", "at_m": round(float(at), 6), "colour": colours[i % len(colours)]}
            for i, at in enumerate(places)
        )
        return {**raw, "beads": beads}
