"""How surely each of the sheet's markers can be found in a clip: a few looks at it, before anything is followed."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.colours import chroma_of, expect_palette
from matchvision.markers.finding import find_all
from matchvision.markers.planning import plan_markers
from matchvision.records.camera import Camera
from matchvision.records.footage import MarkerInView
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.sheet import Run

#: Pictures that are searched.
_LOOKS: Final = 8


def list_markers(frames: Sequence[Frame], camera: Camera, run: Run, facts: ClipFacts) -> tuple[MarkerInView, ...]:
    """In how many looks each marker is found, how strong its colour is there, and how near the next colour is.

    Parameters
    ----------
    camera : Camera
        That of the pictures; a camera that moves serves only the first of them.

    Notes
    -----
    Colours are compared as directions about the neutral in the chroma plane, as they are seen; where a colour is seen
    nowhere, as the sheet has it.
    Checked by: tests/markers/test_surely.py::test_markers_are_found_in_their_colours
    """
    plans = plan_markers(run)
    if not plans or not run.sheet.colour:
        return ()
    coding = (facts.matrix, facts.full_range, facts.transfer)
    palette = expect_palette(run.sheet.colour, *coding)
    looks = 1 if run.sheet.camera.moves else _LOOKS
    chosen = np.unique(np.linspace(0, len(frames) - 1, looks).round().astype(int))
    seen: list[list[FloatArray]] = [[] for _ in plans]
    for k in chosen:
        found = find_all(frames[k], camera, plans, run.sheet, palette)
        for i, spot in found.spots.items():
            seen[i].append(np.asarray(found.blobs.chroma[spot], dtype=np.float64))
    of_colour: dict[str, FloatArray] = {}
    for name in dict.fromkeys(p.colour for p in plans):
        own = [c for i, p in enumerate(plans) if p.colour == name for c in seen[i]]
        stated = chroma_of(run.sheet.colour[name].srgb, *coding)
        of_colour[name] = np.median(own, axis=0) if own else np.asarray(stated, dtype=np.float64)
    markers = []
    for i, plan in enumerate(plans):
        own_chroma = np.median(seen[i], axis=0) if seen[i] else of_colour[plan.colour]
        rivals = {n: _apart_deg(own_chroma, c) for n, c in of_colour.items() if n != plan.colour}
        rival = min(rivals, key=lambda name: rivals[name], default="")
        markers.append(
            MarkerInView(
                name=plan.name,
                colour=plan.colour,
                looks=len(chosen),
                found=len(seen[i]),
                strength_levels=float(np.hypot(*own_chroma)) if seen[i] else float("nan"),
                turned_deg=_apart_deg(own_chroma, chroma_of(run.sheet.colour[plan.colour].srgb, *coding))
                if seen[i]
                else float("nan"),
                rival=rival,
                rival_deg=rivals.get(rival, float("nan")),
            )
        )
    return tuple(markers)


def _apart_deg(one: FloatArray, other: FloatArray) -> float:
    angles = np.rad2deg(np.arctan2([one[1], other[1]], [one[0], other[0]]))
    return float(abs((angles[0] - angles[1] + 180) % 360 - 180))
