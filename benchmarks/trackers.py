"""Common ways to follow markers beside ours, in one run on a filmed clip whose centres are exact.

The others are given every marker's true place in the first picture; ours finds them by itself. All see the same decoded
pictures. Rms errors leave out places that are further than `LOST_PX` from the truth; their share stands beside them.
"""

import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.filming import demo_scene, film
from matchvision.footage import first_look, read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.records.sheet import Run
from matchvision.sheets import load_run
from matchvision.table import CameraFollower, find_table

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

SEED = 1
#: Pictures followed; the box tracker, being slow, follows fewer markers.
PICTURES = 300
BOX_MARKERS = 6
LOST_PX = 10.0
#: Half the side of a patch, and how far from the last place it is sought [px].
PATCH_PX, SEARCH_PX = 9, 16


@dataclass(frozen=True, eq=False)
class Material:
    """A filmed run and what is true in it: (n, m, 2) places [px], NaN where hidden, and the markers' colours."""

    run: Run
    truth_px: FloatArray
    srgb: tuple[str, ...]


def measure() -> pd.DataFrame:
    """One row a tracker: rms error [px], share lost, frames/s, and the ratios to ours and to the threshold script."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "run"
        film(demo_scene(SEED), folder)
        return compare(take_material(folder))


def compare(material: Material, pictures: int = PICTURES) -> pd.DataFrame:
    """Run every tracker over the first pictures of the clip."""
    rows = []
    for name, tracker in TRACKERS.items():
        markers = BOX_MARKERS if tracker is follow_boxes else len(material.srgb)
        chosen = np.linspace(0, len(material.srgb) - 1, markers).astype(int)
        part = replace(
            material, truth_px=material.truth_px[:pictures, chosen], srgb=tuple(material.srgb[i] for i in chosen)
        )
        start_s = time.perf_counter()
        places = tracker(part)
        taken_s = time.perf_counter() - start_s
        error = np.linalg.norm(places - part.truth_px, axis=2)[1:]
        visible = np.isfinite(part.truth_px[1:, :, 0])
        kept = visible & (error < LOST_PX)
        rows.append(
            {
                "tracker": name,
                "rms_px": float(np.sqrt(np.mean((places - part.truth_px)[1:][kept] ** 2))),
                "lost_ratio": 1 - float(kept.sum() / visible.sum()),
                "frames_per_s": len(places) / taken_s,
            }
        )
    table = pd.DataFrame(rows)
    own = table[table["tracker"] == OURS].iloc[0]
    script = table[table["tracker"] == SCRIPT].iloc[0]
    table["error_over_ours"] = table["rms_px"] / own["rms_px"]
    table["speed_over_script"] = table["frames_per_s"] / script["frames_per_s"]
    return table


def take_material(folder: Path) -> Material:
    """What the trackers need from a filmed folder."""
    run = load_run(folder)
    truth = pd.read_csv(folder / "truth.csv")
    plans = plan_markers(run)
    stems = [p.name.replace(".", "_") for p in plans]
    places = np.stack([truth[[f"{s}_u", f"{s}_v"]].to_numpy() for s in stems], axis=1)
    hidden = np.stack([truth[f"{s}_vis"].to_numpy() == 0 for s in stems], axis=1)
    places[hidden] = np.nan
    return Material(run, places, tuple(run.sheet.colour[p.colour].srgb for p in plans))


def follow_ours(material: Material) -> FloatArray:
    """The markers' stage as the pipeline calls it, with the table and camera that the clip itself gives."""
    run = material.run
    facts = read_facts(run.clip)
    view, _ = find_table(first_look(facts), run.sheet, run.lens)
    follower, tracker = CameraFollower(view, run.sheet), MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in islice(read_frames(facts), len(material.truth_px)):
        tracker.see(frame, follower.see(frame))
    tracks, _ = tracker.tracks()
    return np.stack([tracks.col_px, tracks.row_px], axis=2)


def follow_by_threshold(material: Material) -> FloatArray:
    """Whole pictures to HSV, a band of hues for each colour, and the centroid of its spot nearest to the last place."""
    hues = {c: int(_hsv(c)[0]) for c in material.srgb}
    places = _start(material)
    for n, picture in enumerate(_pictures(material, "bgr24")):
        hsv = cv2.cvtColor(picture, cv2.COLOR_BGR2HSV)
        spots = {}
        for colour, hue in hues.items():
            low, high = np.array((max(hue - 8, 0), 100, 50)), np.array((hue + 8, 255, 255))
            _, _, stats, centroids = cv2.connectedComponentsWithStats(cv2.inRange(hsv, low, high))
            spots[colour] = centroids[1:][stats[1:, cv2.CC_STAT_AREA] >= 10]
        if n > 0:
            for i, colour in enumerate(material.srgb):
                places[n, i] = _nearest(spots[colour], places[n - 1, i])
    return places


def follow_by_correlation(material: Material) -> FloatArray:
    """Grey patches of the first picture, sought by normalised correlation near the last place; peak by parabolas."""
    places = _start(material)
    patches: list[Picture] = []
    offsets: list[FloatArray] = []
    for n, grey in enumerate(_pictures(material, "gray")):
        for i in range(len(material.srgb)):
            col, row = np.rint(places[max(n - 1, 0), i]).astype(int)
            reach = PATCH_PX if n == 0 else PATCH_PX + SEARCH_PX
            part = grey[max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1]
            if n == 0:
                patches.append(part.copy())
                offsets.append(places[0, i] - [max(col - reach, 0), max(row - reach, 0)])
            elif part.shape[0] >= patches[i].shape[0] and part.shape[1] >= patches[i].shape[1]:
                answer = cv2.matchTemplate(part, patches[i], cv2.TM_CCOEFF_NORMED)
                peak = _peak(np.asarray(answer, dtype=np.float64))
                places[n, i] = peak + offsets[i] + [max(col - reach, 0), max(row - reach, 0)]
            else:
                places[n, i] = places[n - 1, i]
    return places


def follow_by_flow(material: Material) -> FloatArray:
    """Pyramidal Lucas and Kanade from picture to picture."""
    places = _start(material)
    before: Picture | None = None
    size = (2 * PATCH_PX + 1, 2 * PATCH_PX + 1)
    for n, grey in enumerate(_pictures(material, "gray")):
        if before is not None:
            points = places[n - 1].astype(np.float32)[:, None]
            moved, _, _ = cv2.calcOpticalFlowPyrLK(before, grey, points, points.copy(), winSize=size, maxLevel=3)
            places[n] = moved[:, 0]
        before = grey
    return places


def follow_boxes(material: Material) -> FloatArray:
    """The box tracker that opencv-python ships without model files, one for each marker."""
    places = _start(material)
    boxes: list[Any] = []
    offsets: list[FloatArray] = []
    for n, picture in enumerate(_pictures(material, "bgr24")):
        for i in range(len(material.srgb)):
            if n == 0:
                corner = np.rint(places[0, i]).astype(int) - PATCH_PX
                boxes.append(cv2.TrackerMIL.create())
                boxes[i].init(picture, (int(corner[0]), int(corner[1]), 2 * PATCH_PX + 1, 2 * PATCH_PX + 1))
                offsets.append(places[0, i] - corner)
            else:
                found, box = boxes[i].update(picture)
                places[n, i] = np.array(box[:2]) + offsets[i] if found else places[n - 1, i]
    return places


OURS, SCRIPT = "matchvision", "whole-frame HSV threshold"
TRACKERS: dict[str, Callable[[Material], FloatArray]] = {
    OURS: follow_ours,
    SCRIPT: follow_by_threshold,
    "normalised correlation": follow_by_correlation,
    "pyramidal Lucas–Kanade": follow_by_flow,
    "box tracker (MIL)": follow_boxes,
}


def _start(material: Material) -> FloatArray:
    places = np.full(material.truth_px.shape, np.nan)
    places[0] = material.truth_px[0]
    return places


def _pictures(material: Material, layout: str) -> Iterator[Picture]:
    with av.open(str(material.run.clip)) as clip:
        clip.streams.video[0].thread_type = "AUTO"
        for picture in islice(clip.decode(video=0), len(material.truth_px)):
            yield np.asarray(picture.to_ndarray(format=layout), dtype=np.uint8)


def _hsv(srgb: str) -> Picture:
    bgr = np.array([[[int(srgb[i : i + 2], 16) for i in (5, 3, 1)]]], dtype=np.uint8)
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2HSV)[0, 0], dtype=np.uint8)


def _nearest(spots: npt.NDArray[Any], place: FloatArray) -> FloatArray:
    away = np.hypot(*(spots - place).T)
    near = len(spots) > 0 and away.min() < 2 * SEARCH_PX
    return np.asarray(spots[int(np.argmin(away))], dtype=np.float64) if near else place


def _peak(answer: FloatArray) -> FloatArray:
    """Column and row of the greatest value, between samples by a parabola along each axis."""
    row, col = np.unravel_index(int(np.argmax(answer)), answer.shape)
    return np.array([col + _vertex(answer[row], int(col)), row + _vertex(answer[:, col], int(row))])


def _vertex(values: FloatArray | Sequence[float], at: int) -> float:
    if not 0 < at < len(values) - 1:
        return 0.0
    before, here, after = values[at - 1], values[at], values[at + 1]
    return float(0.5 * (before - after) / min(before - 2 * here + after, -1e-12))
