"""What is in view means for measuring: table, tags, places, markers and their colours."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.errors import TableError
from matchvision.records.footage import ColourInView, PlaceUncertainty, TagInView
from matchvision.records.frames import FootageFault
from matchvision.records.sheet import RunSheet

#: Expanded uncertainty of a place from which it costs something [m].
_POOR_PLACE_M: Final = 0.004
#: Share of the table that may lie outside the picture.
_OUT_OF_VIEW_SHARE: Final = 0.01
#: A tag with shorter sides is found with luck, a marker of smaller radius is lost easily [px].
_SMALL_TAG_PX, _SMALL_MARKER_PX = 28.0, 2.5
#: How much of its own radius a marker may smear.
_SMEARED_RADII: Final = 1.5


def weigh_table(
    reason: TableError | None, sheet: RunSheet | None, tags: Sequence[TagInView], places: PlaceUncertainty | None
) -> tuple[FootageFault, ...]:
    """Weaknesses of the table's and tags' view, each with what it costs and what to do."""
    faults = []
    if reason is not None:
        faults.append(
            FootageFault(
                what=f"the table cannot be found: {reason.what}",
                consequence="nothing can be measured on it",
                do=reason.do or "lay tags on the table and list them in the sheet",
                weight="unusable",
            )
        )
    missing = [f"{tag.id} ({tag.family})" for tag in tags if tag.listed and tag.corners_px is None]
    if missing and reason is None:
        faults.append(
            FootageFault(
                what=f"{'tags' if len(missing) > 1 else 'tag'} {', '.join(missing)} of the sheet "
                f"{'are' if len(missing) > 1 else 'is'} not in view",
                consequence="places near there are less sure, and the others are checked by less",
                do="turn or move the camera until every tag with its white margin is in the picture, "
                "flat and free of glare",
            )
        )
    small = [tag for tag in tags if tag.side_px < _SMALL_TAG_PX]
    if small:
        told = ", ".join(f"{tag.id} ({tag.side_px:.0f} px)" for tag in small)
        faults.append(
            FootageFault(
                what=f"tags look small: {told}; sides of {_SMALL_TAG_PX:.0f} px and more are read surely",
                consequence="they may drop out in single pictures",
                do="come closer or print them larger: matchvision targets",
                weight="remark",
            )
        )
    if sheet is None and not tags:
        faults.append(
            FootageFault(
                what="no tag is in view",
                consequence="the table has to be calibrated by clicked points or its edges, which is less sure",
                do="print tags (matchvision targets), lay four near the table's corners and list them in the sheet",
                weight="remark",
            )
        )
    if places is not None:
        faults += _weigh_places(places)
    return tuple(faults)


def _weigh_places(places: PlaceUncertainty) -> list[FootageFault]:
    faults = []
    outside = float(np.mean(~np.isfinite(places.scale_px_per_mm)))
    if outside > _OUT_OF_VIEW_SHARE:
        faults.append(
            FootageFault(
                what=f"{100 * outside:.0f} % of the table is out of the picture at marker height",
                consequence="what happens there is not seen",
                do="step back or turn the camera until the whole table and a hand's breadth above it are in view",
                weight="costs" if outside < 0.5 else "unusable",
            )
        )
    if np.isfinite(places.U95_x_m).any():
        worst = float(np.nanmax(places.U95_x_m))
        row, column = np.unravel_index(int(np.nanargmax(places.U95_x_m)), places.U95_x_m.shape)
        if worst > _POOR_PLACE_M:
            faults.append(
                FootageFault(
                    what=f"a place along the pull will be known to ±{1000 * worst:.1f} mm (95 %) only, at "
                    f"x = {places.x_m[column]:.1f} m, y = {places.y_m[row]:.1f} m",
                    consequence="the verdict and small motions are less sure by as much",
                    do="film from higher up and closer, lay tags at the far side too, and make a lens sheet: "
                    "matchvision lens",
                )
            )
    return faults


def weigh_markers(
    colours: Sequence[ColourInView],
    places: PlaceUncertainty | None,
    smear_px: float,
    speed_m_s: float,
    confusions: Sequence[str] = (),
) -> tuple[FootageFault, ...]:
    """Weaknesses of the markers' view.

    Parameters
    ----------
    smear_px : float
        At ``speed_m_s``; NaN where the shutter is not known.
    confusions : sequence of str
        Pairs of colours that are too like, each with a better choice after a semicolon, if there is one.
    """
    faults = []
    for pair in confusions:
        what, _, better = pair.partition("; ")
        faults.append(
            FootageFault(
                what=what,
                consequence="their markers may be taken for one another where a lamp or a shadow turns the colours",
                do=f"{better}, and write it in the sheet" if better else "use fewer colours, farther apart",
                weight="remark",
            )
        )
    missing = [name for colour in colours for name in colour.missing]
    planned = sum(len(colour.planned) for colour in colours)
    if missing:
        shown = ", ".join(missing[:6]) + (f" and {len(missing) - 6} more" if len(missing) > 6 else "")
        faults.append(
            FootageFault(
                what=f"{len(missing)} of {planned} markers are not found: {shown}",
                consequence="what rests on them cannot be measured, unless they come into view later",
                do="uncover them, light them evenly, and check colour and place in the sheet",
                weight="costs" if len(missing) < planned else "unusable",
            )
        )
    if places is None or not np.isfinite(places.scale_px_per_mm).any():
        return tuple(faults)
    radius_px = 1000 * places.radius_m * float(np.nanmin(places.scale_px_per_mm))
    if radius_px < _SMALL_MARKER_PX:
        faults.append(
            FootageFault(
                what=f"the smallest markers have a radius of only {radius_px:.1f} px where the table is farthest",
                consequence="they are located less surely and lost more easily there",
                do="come closer, film in a larger picture (1920 × 1080), or use larger markers",
            )
        )
    if smear_px > _SMEARED_RADII * max(radius_px, 1.0):
        faults.append(
            FootageFault(
                what=f"a marker at {speed_m_s:.1f} m/s smears over {smear_px:.0f} px at this shutter",
                consequence="quick markers grow pale and are lost",
                do="set a shorter shutter (1/500 s) and give more light for it",
            )
        )
    return tuple(faults)
