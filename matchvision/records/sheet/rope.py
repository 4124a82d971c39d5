"""What a sheet says of the rope: its length, its beads, and a sprung link in it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import model_validator

from matchvision.records.values import Name, NotNegative, Number, Positive, SheetModel


class Bead(SheetModel):
    """A coloured sphere on the cord, at an arc length counted from the first end."""

    name: Name
    at_m: NotNegative
    colour: str


class LinkMarker(SheetModel):
    """One of the two markers beside the sprung link."""

    name: Name
    colour: str


class LinkSheet(SheetModel):
    """``[rope.link]``: a sprung link set into the rope, its two markers and its hang test."""

    from_m: NotNegative
    markers: tuple[LinkMarker, LinkMarker]
    hang_test: Path
    u_reading_m: Positive = 0.0005


class RopeSheet(SheetModel):
    """``[rope]``: length, what the ends are hitched to, beads, link and the cord's own stretch."""

    length_m: Positive
    ends: tuple[Name, Name]
    bead_radius_m: Positive = 0.009
    beads: tuple[Bead, ...] = ()
    first_bead_m: NotNegative | None = None
    bead_spacing_m: Positive | None = None
    bead_colours: tuple[str, ...] = ()
    stiffness_N_per_m: Number | None = None
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
