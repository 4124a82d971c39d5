"""Printed tags: where the sheet puts their corners, and where a picture shows them."""

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.profile import surface_height, surface_slope
from matchvision.records.sheet import TableSheet, Tag
from matchvision.table.noise import U_STATED_HEIGHT_M, U_TAG_HEIGHT_M, USUAL_TAG_HEIGHT_M

Luma = npt.NDArray[np.uint8]
TagName = tuple[str, int]

_DICTIONARIES = {
    "36h11": cv2.aruco.DICT_APRILTAG_36h11,
    "25h9": cv2.aruco.DICT_APRILTAG_25h9,
    "16h5": cv2.aruco.DICT_APRILTAG_16h5,
}
#: Cells along a side of the black square, the border counted.
_CELLS = {"36h11": 8, "25h9": 7, "16h5": 6}
#: How wide a sharp edge usually is in a clip. A tag's black border is one cell wide: where that is no wider than an
#: edge, its two edges run into each other, and neither can be located.
_USUAL_EDGE_PX = 3.0
LARGER_TAGS = "film in a larger format or from nearer, or print larger tags"
#: Corners of the upright print, seen with its top away from the reader: top left, top right, bottom right, bottom
#: left, the order in which the detector gives them. With angle 0 the top looks towards +y.
_PRINT_CORNERS = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])


def short_side_px(name: TagName, corners_px: FloatArray) -> float:
    """Mean length of a tag's sides (4, 2 corners) where they are too short for its edges to be located; else infinity.

    Notes
    -----
    Checked by: tests/table/test_faults.py::test_a_tag_too_small_to_be_placed_is_not_said_to_lie_elsewhere
    """
    side_px = float(np.mean(np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=-1)))
    return side_px if side_px < _USUAL_EDGE_PX * _CELLS[name[0]] else float("inf")


@dataclass(frozen=True, eq=False)
class TagLayout:
    """The tags of the sheet, k of them.

    Attributes
    ----------
    names : k pairs of family and id
    corners_m : (k, 4, 3) float array
        Outer corners of the black borders in the table frame, in the detector's order.
    cells : (k,) int array
        Cells along a side, the border counted.
    u_height_m : float
        How well the tags' common height above the table is known.
    """

    names: tuple[TagName, ...]
    corners_m: FloatArray
    cells: npt.NDArray[np.int64]
    u_height_m: float = U_TAG_HEIGHT_M

    def pick(self, wanted: Sequence[TagName]) -> "TagLayout":
        """The same for some of the tags, in the order wanted."""
        at = [self.names.index(name) for name in wanted]
        return TagLayout(tuple(wanted), self.corners_m[at], self.cells[at], self.u_height_m)


def lay_out_tags(table: TableSheet) -> TagLayout:
    """Corners of the sheet's tags; on a ridge or ramp a tag lies in the slope.

    A print of unstated thickness is taken to be as thick as usual, and its height to be that unsure.

    Raises
    ------
    TableError
        When the sheet names a tag twice, or one that its family does not have.
    """
    unknown = [(tag.family, tag.id) for tag in table.tag if tag.id >= count_tags(tag.family)]
    if unknown:
        family = unknown[0][0]
        raise TableError(
            f"there is no tag {tell_tags(unknown)}: family {family} ends at {count_tags(family) - 1}",
            where="[[table.tag]]",
            do="write family and id as they stand on the print",
        )
    names = tuple((tag.family, tag.id) for tag in table.tag)
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise TableError(
            f"tag {tell_tags(twice)} is named twice",
            where="[[table.tag]]",
            do="print tags with different ids and lay each on one place",
        )
    corners = [_corners_of(tag, table.profile_m) for tag in table.tag]
    cells = np.array([_CELLS[tag.family] for tag in table.tag], dtype=np.int64)
    stated = all(tag.thickness_m is not None for tag in table.tag)
    u_height_m = U_STATED_HEIGHT_M if stated else U_TAG_HEIGHT_M
    return TagLayout(names, np.array(corners).reshape(-1, 4, 3), cells, u_height_m)


def count_tags(family: str) -> int:
    """Number of tags in a family.

    Notes
    -----
    Checked by: tests/published/test_tag_families.py::test_sizes_of_families
    """
    return len(cv2.aruco.getPredefinedDictionary(_DICTIONARIES[family]).bytesList)


def _corners_of(tag: Tag, profile_m: Sequence[tuple[float, float]]) -> FloatArray:
    angle = np.deg2rad(tag.angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    flat = tag.side_m * _PRINT_CORNERS @ turn.T
    x, y = tag.centre_m
    tilt = np.arctan(float(surface_slope(profile_m, x)))
    # A print lies on its card: along the surface's normal, which on a slope also moves it along x.
    card = USUAL_TAG_HEIGHT_M if tag.thickness_m is None else tag.thickness_m
    x, height = x - card * np.sin(tilt), float(surface_height(profile_m, x)) + card * np.cos(tilt)
    return np.stack([x + flat[:, 0] * np.cos(tilt), y + flat[:, 1], height + flat[:, 0] * np.sin(tilt)], axis=-1)


def tell_tags(names: Iterable[TagName]) -> str:
    """Tags in words, such as "0, 1 (36h11)"."""
    families: dict[str, list[int]] = {}
    for family, number in sorted(names):
        families.setdefault(family, []).append(number)
    told = [f"{', '.join(str(n) for n in numbers)} ({family})" for family, numbers in families.items()]
    return "; ".join(told) if told else "none"


def detect_tags(luma: Luma, families: Iterable[str]) -> dict[TagName, FloatArray]:
    """Corners (4, 2) [px] of the tags in a picture, clockwise from the print's top left, right to a pixel or so.

    Where a tag is seen twice the larger one counts. The corners are only a start for `locate_edges`: the detector's
    finest refinement lies half a pixel to the lower right of the pixel convention, so it is not used.
    """
    found: dict[TagName, FloatArray] = {}
    options = cv2.aruco.DetectorParameters()
    options.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    options.cornerRefinementWinSize = 3
    for family in sorted(set(families)):
        detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(_DICTIONARIES[family]), options)
        quads, numbers, _ = detector.detectMarkers(luma)
        for quad, number in zip(quads, [] if numbers is None else np.ravel(numbers), strict=True):
            name = (family, int(number))
            corners = np.asarray(quad, dtype=np.float64).reshape(4, 2)
            if name not in found or _girth(corners) > _girth(found[name]):
                found[name] = corners
    return found


def _girth(corners: FloatArray) -> float:
    return float(np.sum(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)))


def detect_tags_enlarged(luma: Luma, families: Iterable[str]) -> dict[TagName, FloatArray]:
    """`detect_tags` on the picture enlarged twofold, which finds tags only a few pixels a cell wide."""
    large = np.asarray(cv2.resize(luma, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    # Enlarging keeps the outer rim of the picture, so pixel centres move by a quarter of a small pixel.
    return {name: (corners + 0.5) / 2 - 0.5 for name, corners in detect_tags(large, families).items()}


def search_tags(pictures: Sequence[Luma], layout: TagLayout, looks: int = 6) -> list[Mapping[TagName, FloatArray]]:
    """Tags found in some of the pictures, spread evenly; a tag missed in all is looked for once more, enlarged.

    Returns
    -------
    list of mappings, one a picture looked at, in order; unwanted tags included.
    """
    families = [family for family, _ in layout.names]
    if not families or not pictures:
        return []
    chosen = np.unique(np.linspace(0, len(pictures) - 1, looks).round().astype(int))
    with ThreadPoolExecutor(min(cpu_count() or 1, len(chosen))) as pool:
        found = list(pool.map(lambda k: detect_tags(pictures[k], families), chosen))
    seen = {name for tags in found for name in tags}
    if set(layout.names) - seen:
        again = detect_tags_enlarged(pictures[int(chosen[0])], families)
        found[0] = {**again, **found[0]}
    return list(found)
