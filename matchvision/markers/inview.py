"""Which of the sheet's markers some pictures show, before anything is followed."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.markers.colours import expect_palette
from matchvision.markers.finding import find_all
from matchvision.markers.planning import plan_markers
from matchvision.records.camera import Camera
from matchvision.records.footage import ColourInView
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.sheet import Run

#: Pictures that are searched.
_LOOKS: Final = 4


def list_colours(
    frames: Sequence[Frame], camera: Camera, run: Run, facts: ClipFacts
) -> tuple[tuple[ColourInView, ...], dict[str, tuple[float, float]]]:
    """The sheet's colours with the markers that were found in none of some pictures, and where the first shows them.

    Parameters
    ----------
    camera : Camera
        That of the pictures; a camera that moves serves only the first of them.

    Returns
    -------
    tuple of ColourInView, mapping of marker to (col, row) [px] in the first picture

    Notes
    -----
    Checked by: tests/markers/test_inview.py::test_a_hidden_marker_is_missed
    """
    plans = plan_markers(run)
    if not plans or not run.sheet.colour:
        return (), {}
    palette = expect_palette(run.sheet.colour, facts.matrix, facts.full_range, facts.transfer)
    looks = 1 if run.sheet.camera.moves else _LOOKS
    found: set[int] = set()
    first: dict[str, tuple[float, float]] = {}
    for order, k in enumerate(np.unique(np.linspace(0, len(frames) - 1, looks).round().astype(int))):
        seen = find_all(frames[k], camera, plans, run.sheet, palette)
        found |= set(seen.spots)
        if order == 0:
            places = seen.blobs.place_px
            first = {plans[i].name: (float(places[n, 0]), float(places[n, 1])) for i, n in seen.spots.items()}
    colours = []
    for name, colour in run.sheet.colour.items():
        planned = tuple(p.name for p in plans if p.colour == name)
        missing = tuple(p.name for i, p in enumerate(plans) if p.colour == name and i not in found)
        if planned:
            colours.append(ColourInView(name, colour.srgb, planned, missing))
    return tuple(colours), first
