"""Colours that cannot be told apart in a clip, and what to wear instead."""

import colorsys
from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.colours import chroma_of, chroma_of_plans, expect_palette, learn_chroma
from matchvision.markers.finding import find_all
from matchvision.markers.planning import plan_markers
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.sheet import Run
from matchvision.records.tracks import MarkerPlan

#: Colours nearer to each other in the chroma plane cannot be told apart when a lamp or a shadow turns them [deg].
APART_DEG: Final = 20.0
#: Distance that a better choice keeps from all other colours, and strength that it shows at least [deg, levels].
_BETTER_DEG: Final = 32.0
_LEAST_STRENGTH: Final = 55.0


def describe_colours(frame: Frame, camera: Camera, run: Run, facts: ClipFacts) -> tuple[str, ...]:
    """A sentence for each pair of marker colours that this clip's light makes too like, before anything is followed.

    Colours of markers that the picture does not show count as the sheet has them.

    Notes
    -----
    Checked by: tests/markers/test_confusing.py::test_like_colours_are_named_with_a_better_choice
    """
    plans = plan_markers(run)
    coding = (facts.matrix, facts.full_range, facts.transfer)
    palette = expect_palette(run.sheet.colour, *coding)
    found = find_all(frame, camera, plans, run.sheet, palette)
    seen = {i: found.blobs.chroma[n] for i, n in found.spots.items()}
    chroma = learn_chroma(plans, seen, chroma_of_plans(plans, palette))
    return name_confusions(plans, chroma, *coding)


def name_confusions(
    plans: Sequence[MarkerPlan], chroma: FloatArray, matrix: str, full_range: bool, transfer: str = ""
) -> tuple[str, ...]:
    """A sentence for each pair of colours that lie too near to each other, with the nearest better choice.

    Parameters
    ----------
    chroma : (m, 2) float array
        Chroma of each marker about the neutral, NaN where unknown.
    """
    known = np.asarray(np.isfinite(chroma).all(axis=1), dtype=np.bool_)
    names = list(dict.fromkeys(p.colour for p, k in zip(plans, known, strict=True) if k))
    angles = []
    for name in names:
        own = [i for i, p in enumerate(plans) if p.colour == name and known[i]]
        angles.append(_angle_deg(np.median(chroma[own], axis=0)))
    sentences = []
    for i, first in enumerate(names):
        for j in range(i + 1, len(names)):
            apart = _apart_deg(angles[i], angles[j])
            if apart < APART_DEG:
                others = [a for k, a in enumerate(angles) if k != j]
                better = _choose_better(angles[j], others, matrix, full_range, transfer)
                instead = f"; wear {better} in place of {names[j]}" if better else ""
                sentences.append(
                    f"{first} and {names[j]} can hardly be told apart: {apart:.0f}° in the chroma plane, "
                    f"{APART_DEG:.0f}° are needed{instead}"
                )
    return tuple(sentences)


def _choose_better(angle_deg: float, others_deg: Sequence[float], matrix: str, full_range: bool, transfer: str) -> str:
    """The full colour nearest to an angle that keeps away from all others, as ``#rrggbb``; "" where there is none."""
    best, least = "", np.inf
    for step in range(72):
        red, green, blue = (round(255 * v) for v in colorsys.hsv_to_rgb(step / 72, 0.9, 0.85))
        srgb = f"#{red:02x}{green:02x}{blue:02x}"
        chroma = chroma_of(srgb, matrix, full_range, transfer)
        there = _angle_deg(chroma)
        if np.hypot(*chroma) < _LEAST_STRENGTH or any(_apart_deg(there, a) < _BETTER_DEG for a in others_deg):
            continue
        if _apart_deg(there, angle_deg) < least:
            best, least = srgb, _apart_deg(there, angle_deg)
    return best


def _angle_deg(chroma: FloatArray) -> float:
    return float(np.rad2deg(np.arctan2(chroma[1], chroma[0])))


def _apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180) % 360 - 180)
