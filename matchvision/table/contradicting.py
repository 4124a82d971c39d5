"""Say why no camera fits: a mirrored view, or two tags or points whose places were exchanged."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.table.guessing import FOCAL_GUESSES, camera_height_m, guess_camera
from matchvision.table.noise import Sighting

#: An exchange explains a contradiction when it brings the misfit down to this share, and to this [px].
_COLLAPSE, _COLLAPSED_PX = 0.25, 6.0


def refuse_mix_up(rough: Sighting, names: Sequence[str], lens: FloatArray, longer_px: int, rms_px: float) -> None:
    """Raise TableError where exchanging two things, or mirroring all, makes the misfit of ``rms_px`` collapse.

    Parameters
    ----------
    rough : Sighting
        Corners of tags, four a tag, then clicks, as detected.
    names : sequence of str
        Of the tags, then of the clicks.
    lens : (9,) float array
        A plausible lens.
    longer_px : int
        Longer side of the picture.
    rms_px : float
        Misfit of the best camera.

    Notes
    -----
    Checked by: tests/table/test_faults.py::test_swapped_points_are_named
    """
    wanted = min(_COLLAPSED_PX, _COLLAPSE * rms_px)
    if _misfit_px(rough.points_m * [1, -1, 1], rough, lens, longer_px) < wanted:
        raise TableError(
            "the picture or the places are mirrored: seen from below, or with y reversed, everything fits",
            where="[table]",
            do="check which tag or point lies where: seen from above, y is 90° to the left of x; a clip that was "
            "mirrored by an editor must be mirrored back",
        )
    clicks = len(rough.points_m) - 4 * (tags := (len(rough.points_m) - len(names)) // 3)
    tried = []
    for a, b in [*combinations(range(tags), 2), *(tuple(tags + k for k in p) for p in combinations(range(clicks), 2))]:
        at, to = _rows(a, tags), _rows(b, tags)
        points = rough.points_m.copy()
        shift = points[to].mean(axis=0) - points[at].mean(axis=0)
        points[at], points[to] = points[at] + shift, points[to] - shift
        tried.append((_misfit_px(points, rough, lens, longer_px), a, b))
    if not tried:
        return
    best, a, b = min(tried)
    others = sorted(px for px, *_ in tried)[1:2]
    # Of four corners any exchange of neighbours may fit; then it cannot be told which.
    first, second = sorted((names[a], names[b]))
    alone = not others or others[0] > 2 * best + 1.0
    if best < wanted and alone:
        raise TableError(
            f"{first} and {second} seem to be swapped: as the sheet has them no camera fits, exchanged they fit to "
            f"{best:.1f} px",
            where="[table]",
            do=f"look which is which, and exchange the places of {first} and {second} in the sheet",
        )


def _rows(unit: int, tags: int) -> slice:
    return slice(4 * unit, 4 * unit + 4) if unit < tags else slice(3 * tags + unit, 3 * tags + unit + 1)


def _misfit_px(points_m: FloatArray, rough: Sighting, lens: FloatArray, longer_px: int) -> float:
    """Smallest misfit [px] of a camera above the table, over plausible focal lengths."""
    moved = Sighting(points_m, rough.pixels_px, rough.directions, rough.u_px, rough.from_edges)
    best = np.inf
    for share in FOCAL_GUESSES:
        try:
            camera = guess_camera(moved, np.concatenate([[share * longer_px] * 2, lens[2:]]))
        except TableError:
            continue
        if camera_height_m(camera) > 0:
            apart = project_points(camera, points_m) - rough.pixels_px
            best = min(best, float(np.sqrt(np.nanmean(np.where(np.isfinite(apart), apart, 1e4) ** 2))))
    return best
