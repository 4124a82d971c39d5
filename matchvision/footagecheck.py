"""Is this footage good enough? A check before the long work, or before filming starts, by a clip or a single still.

Footage measures the pictures, table says how well places will be known, markers what is in view; here they are joined.
"""

from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure, TableError
from matchvision.footage import (
    NEIGHBOURS,
    BandWatch,
    describe_footage,
    first_look,
    hear_start,
    is_still,
    join_frames,
    look_at_scene,
    measure_pictures,
    measure_steps,
    read_facts,
    read_frames,
    read_still,
    weigh_markers,
    weigh_pictures,
    weigh_table,
)
from matchvision.markers import describe_colours, list_colours, list_markers, plan_markers
from matchvision.records.camera import Camera
from matchvision.records.footage import (
    ColourInView,
    FootageCheck,
    MarkerInView,
    PictureSteps,
    PlaceUncertainty,
    RowTiming,
)
from matchvision.records.frames import ClipFacts, FootageFault, Frame
from matchvision.records.motion import StartSignal
from matchvision.records.sheet import Run, RunSheet
from matchvision.table import expect_places, find_or_hold_table, list_tags

#: Pictures spread over the clip that are looked at.
_SPREAD: Final = 36
#: The speed at which smear is told [m/s].
USUAL_SPEED_M_S: Final = 0.5
_WEIGHTS: Final = {"unusable": 0, "costs": 1, "remark": 2}


@dataclass(frozen=True, eq=False)
class _Source:
    """Pictures of a clip or a still: spread ones first, with the clip's beginning."""

    facts: ClipFacts
    spread: tuple[Frame, ...]
    frames: tuple[Frame, ...]
    steps: PictureSteps | None
    clip_faults: tuple[FootageFault, ...]
    rows: RowTiming | None = None


def check_footage(
    path: Path,
    run: Run | None = None,
    *,
    speed_m_s: float = USUAL_SPEED_M_S,
    shutter_s: float | None = None,
    each_marker: bool = False,
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
    each_marker : bool
        Whether to look how surely each marker is found.

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
    markers: tuple[MarkerInView, ...] = ()
    confusions: tuple[str, ...] = ()
    if run is not None and camera is not None:
        places = _expect(camera, run, source)
        colours, markers_px = list_colours(source.spread, camera, run, facts)
        confusions = describe_colours(first, camera, run, facts)
        if each_marker:
            markers = list_markers(source.spread, camera, run, facts)
    start, start_faults = _hear(facts, sheet) if source.steps is not None else (None, ())
    look = measure_pictures(source.frames, facts, places.table_px if places is not None else None)
    step_s = source.steps.median_s if source.steps is not None else float("nan")
    open_s = step_s if shutter_s is None else shutter_s
    scale = 1000 * float(np.nanmax(places.scale_px_per_mm)) if places is not None else float("nan")
    smear_px = scale * speed_m_s * open_s
    faults = (
        *source.clip_faults,
        *start_faults,
        *weigh_pictures(look, 1 / step_s, camera_moves=sheet is not None and sheet.camera.moves),
        *weigh_table(reason, sheet, tags, places),
        *weigh_markers(colours, places, smear_px if shutter_s is not None else float("nan"), speed_m_s, confusions),
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
        rows=source.rows,
        markers=markers,
        confusions=confusions,
        start=start,
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
    bands = BandWatch(facts, clock.recorded_fps if clock is not None else None)
    for frame in begin:
        bands.see(frame)
    rows = bands.timing(sheet.camera.readout_s if sheet is not None else None)
    return _Source(facts, spread, frames, steps, faults, rows)


def _hear(facts: ClipFacts, sheet: RunSheet | None) -> tuple[StartSignal | None, tuple[FootageFault, ...]]:
    """The start sound, where the sheet asks for one; why it cannot be told, with the times of all that could be it."""
    if sheet is None or sheet.clock.start != "sound":
        return None, ()
    clock = sheet.clock
    late = clock.sound_delay_s
    delay_s = None if late is None else (late.value, late.u)
    try:
        return hear_start(facts, clock.from_s, clock.until_s, number=clock.sound_number, delay_s=delay_s), ()
    except CannotMeasure as reason:
        consequence = "the match clock cannot be started by it"
        return None, (FootageFault(reason.what, consequence, reason.do or "give [clock] start_s"),)


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
