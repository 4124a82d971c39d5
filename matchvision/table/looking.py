"""Look for the table's known points: one picture's worth of a still camera, several pictures of a moving one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.records.results import Contradiction
from matchvision.records.sheet import TableSheet
from matchvision.table.contradicting import refuse_mix_up
from matchvision.table.fitting import LensPrior, fit_cameras
from matchvision.table.guessing import camera_height_m, first_cameras
from matchvision.table.noise import Sighting
from matchvision.table.outline import Outline
from matchvision.table.sighting import join_sightings, sight_clicks, sight_edges, sight_roughly
from matchvision.table.tags import LARGER_TAGS, Luma, TagLayout, TagName, short_side_px, tell_tags

#: A tag that wanders further than this [px] belongs to a camera that moves.
_STILL_PX = 3.0
#: A first camera that misses the points by more than this [px] was not kept from fitting by a lens.
_MIXED_UP_PX = 8.0


@dataclass(frozen=True, eq=False)
class Seen:
    """What was found: sightings and starts for the fit, and what to say about it.

    ``first`` is the picture to which the first sighting belongs.
    """

    sightings: tuple[Sighting, ...]
    start: FloatArray
    tags: tuple[TagName, ...]
    pictures: int
    warnings: tuple[str, ...]
    clicks: tuple[str, ...] = ()
    outline: Outline | None = None
    first: int = 0
    contradictions: tuple[Contradiction, ...] = ()

    def contradicted(self, *by: Contradiction) -> "Seen":
        """The same with what contradicts the sheet, told as warnings too."""
        told = tuple(f"{one.shown}: {one.do}." for one in by)
        return replace(self, warnings=(*self.warnings, *told), contradictions=(*self.contradictions, *by))


def look_still(
    luma: Sequence[Luma],
    layout: TagLayout,
    table: TableSheet,
    prior: LensPrior,
    found: Sequence[Mapping[TagName, FloatArray]],
) -> Seen:
    """One picture's worth of sightings from all pictures of a still camera."""
    warnings: list[str] = []
    typical, wander = _typical_corners(layout, found)
    clicks = sight_clicks(table)
    clicked = tuple(point.name for point in table.point)
    rough = join_sightings([sight_roughly(layout, typical), clicks])
    start = _first_camera(rough, [*(f"tag {name[1]}" for name in typical), *clicked], prior, max(luma[0].shape))
    if not typical:
        return Seen((clicks,), start, (), 1, (), clicked)
    mean, pictures = _mean_around_tags(luma, list(typical.values()))
    sighting = clicks
    tags: tuple[TagName, ...] = ()
    chosen = layout.pick([name for name in layout.names if name in typical])
    for _ in range(3):
        edges, tags = sight_edges(mean, chosen, start[0])
        if not tags:
            break
        sighting = join_sightings([edges, clicks])
        if len(sighting.points_m) < 4:
            break
        start = fit_cameras([sighting], start, prior).parameters
    lost = [name for name in typical if name not in tags]
    small = {name: side for name in lost if np.isfinite(side := short_side_px(name, typical[name]))}
    lost = [name for name in lost if name not in small]
    if small and tags:
        warnings.append(
            f"Tag {tell_tags(list(small))} is in view, but its sides are only {min(small.values()):.0f} px long, too "
            f"short for its place to be measured: {LARGER_TAGS}."
        )
    if lost and tags:
        warnings.append(
            f"Tag {tell_tags(lost)} is in view but not where the sheet and the other tags put it, or not sharp: "
            "measure its centre_m, side_m and angle_deg again, and see that it lies flat and unturned."
        )
    if 4 * len(tags) + len(table.point) < 4:
        raise TableError(
            f"tags {tell_tags(typical)} are in view, but their sides are not sharp enough to measure",
            where="[[table.tag]]",
            do="film with the tags in focus, larger in the picture and with their white margin left on",
        )
    seen = Seen((sighting,), start, tags, pictures, tuple(warnings), clicked)
    if wander <= _STILL_PX:
        return seen
    # The camera itself stands on pictures that do not belong together: how far off it is, nothing says.
    shown = f"The tags wander by {wander:.1f} px in the first pictures"
    do = "if the camera was held by hand, set moves = true under [camera]"
    return seen.contradicted(Contradiction("[camera] moves", shown, do))


def _first_camera(rough: Sighting, names: Sequence[str], prior: LensPrior, longer_px: int) -> FloatArray:
    """A first camera (1, 15); TableError with the reason where tags or points were mixed up."""
    try:
        start = first_cameras([rough], prior, longer_px)
        apart = project_points(start[0], rough.points_m) - rough.pixels_px
        rms_px = float(np.sqrt(np.mean(np.where(np.isfinite(apart), apart, 1e3) ** 2)))
    except TableError:
        refuse_mix_up(rough, names, prior.lens, longer_px, 1e3)
        raise
    if rms_px > _MIXED_UP_PX or camera_height_m(start[0]) <= 0:
        refuse_mix_up(rough, names, prior.lens, longer_px, max(rms_px, _MIXED_UP_PX))
    return start


def look_moving(
    luma: Sequence[Luma],
    layout: TagLayout,
    table: TableSheet,
    prior: LensPrior,
    found: Sequence[Mapping[TagName, FloatArray]],
) -> Seen:
    """Sightings of several pictures, each from its own pose."""
    at = np.unique(np.linspace(0, len(luma) - 1, len(found)).round().astype(int))
    usable = [(int(k), tags) for k, tags in zip(at, found, strict=True) if set(tags) & set(layout.names)]
    if not usable:
        raise TableError(
            "the camera moves, and no tag is in view to tell where it is",
            where="[camera] moves",
            do="lay tags on the table, or film from a tripod: clicked points serve only a still camera",
        )
    rough = [sight_roughly(layout, tags) for _, tags in usable]
    start = first_cameras(rough, prior, max(luma[0].shape))
    sightings: list[Sighting] = []
    tags: tuple[TagName, ...] = ()
    for _ in range(2):
        looked = [sight_edges(luma[k], layout, camera) for (k, _), camera in zip(usable, start, strict=True)]
        kept = [n for n, (_, names) in enumerate(looked) if names]
        if not kept:
            raise TableError(
                "tags are in view, but their sides are not sharp enough to measure",
                where="[[table.tag]]",
                do="film with the tags in focus, larger in the picture and with their white margin left on",
            )
        usable, start = [usable[n] for n in kept], start[kept]
        sightings = [looked[n][0] for n in kept]
        tags = looked[kept[0]][1]
        start = fit_cameras(sightings, start, prior).parameters
    warnings = ("Clicked points serve only a still camera and were not used.",) if table.point else ()
    return Seen(tuple(sightings), start, tags, len(sightings), warnings, first=usable[0][0])


def _typical_corners(
    layout: TagLayout, found: Sequence[Mapping[TagName, FloatArray]]
) -> tuple[dict[TagName, FloatArray], float]:
    """Median corners of each tag over the pictures, and how far the tags wander together [px]."""
    typical: dict[TagName, FloatArray] = {}
    wander = []
    for name in layout.names:
        corners = np.array([tags[name] for tags in found if name in tags])
        if len(corners):
            typical[name] = np.median(corners, axis=0)
            wander.append(np.max(np.linalg.norm(np.mean(corners - typical[name], axis=1), axis=-1)))
    return typical, float(np.median(wander)) if wander else 0.0


def _mean_around_tags(luma: Sequence[Luma], corners: Sequence[FloatArray]) -> tuple[FloatArray, int]:
    """A picture with, around each tag, the mean of the pictures in which nothing covers it; and how many at least.

    Means of many pictures beat the noise down; a hand that passes is left out by its distance from the median picture.
    """
    rows, cols = luma[0].shape
    mean = np.zeros((rows, cols))
    fewest = len(luma)
    for quad in corners:
        size = np.ptp(quad, axis=0)
        left, top = np.clip(np.floor(quad.min(axis=0) - 0.25 * size - 6).astype(int), 0, None)
        right, bottom = np.ceil(quad.max(axis=0) + 0.25 * size + 6).astype(int)
        stack = np.array([picture[top:bottom, left:right] for picture in luma], dtype=np.float32)
        apart = np.mean(np.abs(stack - np.median(stack, axis=0)), axis=(1, 2))
        fine = apart <= 2.0 * np.median(apart) + 1.0
        mean[top:bottom, left:right] = np.mean(stack[fine], axis=0)
        fewest = min(fewest, int(np.sum(fine)))
    return mean, fewest
