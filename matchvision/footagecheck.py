"""Is this footage good enough? A check before the long work, or before filming starts, by a clip or a single still.

Footage measures the pictures, table says how well places will be known, markers what is in view; here they are joined.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np

from matchvision.errors import TableError
from matchvision.footage import (
    NEIGHBOURS,
    describe_footage,
    first_look,
    is_still,
    join_frames,
    look_at_scene,
    measure_pictures,
    measure_steps,
    read_facts,
    read_frames,
    read_still,
    weigh_pictures,
)
from matchvision.markers import list_colours, plan_markers
from matchvision.records.camera import Camera
from matchvision.records.footage import (
    ColourInView,
    FootageCheck,
    PictureSteps,
    PlaceUncertainty,
    TagInView,
)
from matchvision.records.frames import ClipFacts, FootageFault, Frame
from matchvision.records.sheet import Run, RunSheet
from matchvision.table import expect_places, find_or_hold_table, list_tags

#: Pictures spread over the clip that are looked at.
_SPREAD: Final = 36
#: Expanded uncertainty of a place from which it costs something [m].
_POOR_PLACE_M: Final = 0.004
#: Share of the table that may lie outside the picture.
_OUT_OF_VIEW_SHARE: Final = 0.01
#: A tag with shorter sides is found with luck, a marker of smaller radius is lost easily [px].
_SMALL_TAG_PX, _SMALL_MARKER_PX = 28.0, 2.5
#: The speed at which smear is told [m/s], and how much of its own radius a marker may smear.
USUAL_SPEED_M_S: Final = 0.5
_SMEARED_RADII: Final = 1.5
_WEIGHTS: Final = {"unusable": 0, "costs": 1, "remark": 2}


@dataclass(frozen=True, eq=False)
class _Source:
    """Pictures of a clip or a still: spread ones first, with the clip's beginning."""

    facts: ClipFacts
    spread: tuple[Frame, ...]
    frames: tuple[Frame, ...]
    steps: PictureSteps | None
    clip_faults: tuple[FootageFault, ...]


def check_footage(
    path: Path, run: Run | None = None, *, speed_m_s: float = USUAL_SPEED_M_S, shutter_s: float | None = None
) -> FootageCheck:
    """Check a clip or a still; with a run also its table, tags and markers, and how well places will be known.

    Parameters
    ----------
    path : Path
        Clip or still. Only some pictures of a clip are decoded.
    run : Run, optional
        Its clip is not opened; what it says about table, camera and markers is looked for in ``path``.
    speed_m_s : float
        How fast a marker is meant to move where smear is told [m/s].
    shutter_s : float, optional
        How long the shutter is open; left out, it is known only to be no longer than a picture lasts.

    Raises
    ------
    FootageError
        The clip or still cannot be read.

    Notes
    -----
    Checked by: tests/end_to_end/test_footage_check.py::test_sample_clips_are_usable
    """
    sheet = run.sheet if run is not None else None
    source = _read_source(path, sheet)
    facts, first = source.facts, source.spread[0]
    camera, reason = _find_camera(source, run)
    tags = list_tags(source.spread, sheet.table if sheet is not None else None)
    colours: tuple[ColourInView, ...] = ()
    markers_px: dict[str, tuple[float, float]] = {}
    places = None
    if run is not None and camera is not None:
        places = _expect(camera, run, source)
        colours, markers_px = list_colours(source.spread, camera, run, facts)
    look = measure_pictures(source.frames, facts, places.table_px if places is not None else None)
    step_s = source.steps.median_s if source.steps is not None else float("nan")
    open_s = step_s if shutter_s is None else shutter_s
    scale = 1000 * float(np.nanmax(places.scale_px_per_mm)) if places is not None else float("nan")
    smear_px = scale * speed_m_s * open_s
    faults = (
        *source.clip_faults,
        *weigh_pictures(look, 1 / step_s, camera_moves=sheet is not None and sheet.camera.moves),
        *_weigh_table(reason, sheet, tags, places),
        *_weigh_markers(colours, places, smear_px if shutter_s is not None else float("nan"), speed_m_s),
    )
    return FootageCheck(
        facts=facts,
        is_still=source.steps is None,
        sheet=sheet,
        steps=source.steps,
        look=look,
        smear_px=smear_px,
        speed_m_s=speed_m_s,
        shutter_s=open_s,
        shutter_known=shutter_s is not None,
        tags=tags,
        colours=colours,
        places=places,
        picture=first,
        markers_px=markers_px,
        faults=tuple(sorted(faults, key=lambda fault: _WEIGHTS[fault.weight])),
    )


def _read_source(path: Path, sheet: RunSheet | None) -> _Source:
    if is_still(path):
        facts, frame = read_still(path)
        return _Source(facts, (frame,), (frame,), None, _weigh_still(facts))
    facts = read_facts(path)
    clock = sheet.clock if sheet is not None else None
    from_s, until_s = (clock.from_s, clock.until_s) if clock is not None else (None, None)
    begin = tuple(islice(read_frames(facts, from_s, until_s), NEIGHBOURS))
    spread = first_look(facts, _SPREAD, from_s, until_s, begin)
    frames = join_frames(spread, begin)
    steps, clip_s = measure_steps(facts, from_s, until_s)
    faults, _ = describe_footage(
        facts,
        clip_s,
        whole=from_s is None and until_s is None,
        recorded_fps=clock.recorded_fps if clock is not None else None,
    )
    return _Source(facts, spread, frames, steps, faults)


def _weigh_still(facts: ClipFacts) -> tuple[FootageFault, ...]:
    wide, tall = max(facts.width_px, facts.height_px), min(facts.width_px, facts.height_px)
    if abs(wide / tall - 16 / 9) < 0.02:
        return ()
    return (
        FootageFault(
            what=f"the still has {facts.width_px} × {facts.height_px} pixels, which is no video picture",
            consequence="in photo mode the phone sees more of the scene, and sharper, than when it films",
            do="film for a second and take the still out of that clip, or check the clip itself",
            weight="remark",
        ),
    )


def _find_camera(source: _Source, run: Run | None) -> tuple[Camera | None, TableError | None]:
    if run is None:
        return None, None
    try:
        scene = look_at_scene(source.spread, run.calibration)
        view, _ = find_or_hold_table(source.spread, run.sheet, run.lens, run.calibration, scene)
    except TableError as reason:
        return None, reason
    return view.camera, None


def _expect(camera: Camera, run: Run, source: _Source) -> PlaceUncertainty:
    """For the marker of usual height and the smallest radius that any machine or the rope wears."""
    plans = plan_markers(run)
    heights = [plan.at_m[2] for plan in plans if plan.kind == "body" and np.isfinite(plan.at_m[2])]
    radii = [plan.radius_m for plan in plans if plan.kind in {"body", "bead"}]
    look = measure_pictures(source.spread[:1], source.facts)
    return expect_places(
        camera,
        run.sheet.table,
        look.edge_px,
        min(radii) if radii else None,
        float(np.median(heights)) if heights else None,
    )


def _weigh_table(
    reason: TableError | None, sheet: RunSheet | None, tags: Sequence[TagInView], places: PlaceUncertainty | None
) -> tuple[FootageFault, ...]:
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


def _weigh_markers(
    colours: Sequence[ColourInView], places: PlaceUncertainty | None, smear_px: float, speed_m_s: float
) -> tuple[FootageFault, ...]:
    faults = []
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
