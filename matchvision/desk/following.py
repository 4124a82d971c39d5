"""Markers found in a chosen picture, and followed from there over two seconds, as the analysis would follow them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.desk.calibrating import find_camera, plain
from matchvision.desk.clipbook import ClipBook
from matchvision.errors import MarkerError
from matchvision.geometry.camera import place_at_height
from matchvision.markers import MarkerTracker, expect_palette, find_all, marker_heights, mend_tracks, plan_markers
from matchvision.markers.poses import Pose
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.mends import End, Mends, Put
from matchvision.records.sheet import Run, RunSheet
from matchvision.records.tracks import Tracks, TrackState
from matchvision.sheets import Draft
from matchvision.table import CameraFollower

#: How long tracking is previewed [s].
PREVIEW_S: Final = 2.0


def known_part(draft: Draft) -> Run:
    """The run with those colours alone that somebody has shown, so that stand-ins are never looked for."""
    colours = {n: c for n, c in draft.run.sheet.colour.items() if n not in draft.unknown_colours}
    return replace(draft.run, sheet=draft.run.sheet.model_copy(update={"colour": colours}))


@dataclass(frozen=True, eq=False)
class Sight:
    """Markers as found and named in one picture: pixels and places on the table by name, poses of machines, all spots.

    ``places`` are (x, y) [m] at the height at which each marker is.
    """

    pixels: Mapping[str, FloatArray]
    places: Mapping[str, FloatArray]
    poses: Mapping[str, Pose]
    spots_px: FloatArray
    wanted: tuple[str, ...]


def look_for(book: ClipBook, run: Run, number: int) -> Sight:
    """Find and name in a picture the markers whose colour is known.

    Raises
    ------
    TableError
    """
    frame, sheet = book.frame(number), run.sheet
    camera = camera_at(book, run, frame)
    plans = [plan for plan in plan_markers(run) if plan.colour in sheet.colour]
    palette = expect_palette(sheet.colour, book.facts.matrix, book.facts.full_range, book.facts.transfer)
    found = find_all(frame, camera, plans, sheet, palette)
    heights = marker_heights(plans, sheet)
    pixels = {plans[column].name: found.blobs.place_px[spot] for column, spot in found.spots.items()}
    places = {
        plans[column].name: place_at_height(camera.parameters, found.blobs.place_px[spot], heights[column])[:2]
        for column, spot in found.spots.items()
    }
    poses = {name: machine.pose for name, machine in found.machines.items()}
    return Sight(pixels, places, poses, found.blobs.place_px, tuple(plan.name for plan in plans))


def find_markers(book: ClipBook, run: Run, number: int) -> dict[str, Any]:
    """Where each marker of a known colour is found in a picture, which are not found, and spots that are none."""
    sight = look_for(book, run, number)
    taken = {tuple(pixel) for pixel in sight.pixels.values()}
    return {
        "number": number,
        "found": [
            {"name": name, "pixel": plain(pixel), "at_m": plain(sight.places[name])}
            for name, pixel in sight.pixels.items()
        ],
        "missing": [name for name in sight.wanted if name not in sight.pixels],
        "spots": [plain(spot) for spot in sight.spots_px if tuple(spot) not in taken],
    }


def camera_at(book: ClipBook, run: Run, frame: Frame) -> Camera:
    """The camera that the sheet gives for a picture.

    Raises
    ------
    TableError
    """
    view, _ = find_camera(book, run)
    return CameraFollower(view, run.sheet).see(frame) if run.sheet.camera.moves else view.camera


def follow(book: ClipBook, run: Run, number: int, tell: Callable[[int, int], None], *, whole: bool = False) -> Tracks:
    """Tracks from a picture on, two seconds long at most; of the ``whole`` run, as the analysis itself follows it.

    Raises
    ------
    TableError, MarkerError
    """
    view, _ = find_camera(book, run)
    planned = plan_markers(run)
    plans = [plan for plan in planned if plan.colour in run.sheet.colour]
    if not planned:
        raise MarkerError("the sheet names no markers to follow", do="set the rope's ends by hand instead")
    if not plans:
        raise MarkerError("no marker has a colour that is known", do="click a marker to teach its colour")
    follower, tracker = CameraFollower(view, run.sheet), MarkerTracker(plans, run.sheet, book.facts)
    first, last = book.first, book.last
    if not whole:
        until_s = book.clip_s[number] + PREVIEW_S * _clip_per_real(book, run.sheet)
        first, last = number, min(book.last, int(np.searchsorted(book.clip_s, until_s + 1e-6, side="right")) - 1)
    for done, frame in enumerate(book.between(first, last), start=1):
        tracker.see(frame, follower.see(frame))
        tell(done, last - first + 1)
    return tracker.tracks()[0]


def _clip_per_real(book: ClipBook, sheet: RunSheet) -> float:
    """Clip seconds that show a real one: more for slow motion."""
    return 1.0 / book.facts.real_per_clip_ratio(sheet.clock.recorded_fps)


def describe_tracks(tracks: Tracks, mends: Mends, sheet: RunSheet) -> dict[str, Any]:
    """Tracks with the mends in them, as the page draws them."""
    here = set(tracks.frame.tolist())
    names = set(tracks.names)
    ours = tuple(
        mend
        for mend in mends.mend
        if not (isinstance(mend, Put | End) and mend.frame not in here)
        and (isinstance(mend, End) or {mend.marker, getattr(mend, "followed_as", mend.marker)} <= names)
    )
    mended, _ = mend_tracks(tracks, Mends(mend=ours), sheet)
    words = [TrackState(k).word for k in range(len(TrackState))]
    return {
        "first": int(tracks.frame[0]),
        "frames": [int(frame) for frame in mended.frame],
        "tracks": [
            {
                "name": plan.name,
                "col": plain(mended.col_px[:, k].round(2)),
                "row": plain(mended.row_px[:, k].round(2)),
                "state": [words[state] for state in mended.state[:, k]],
            }
            for k, plan in enumerate(mended.plans)
        ],
    }
