"""What the footage's contradictions of the sheet do to a ruling: told with it, and whether it still decides."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.geometry.camera import project_points
from matchvision.records.camera import Camera
from matchvision.records.results import Contradiction, Doubts, Ruling, StageNote
from matchvision.records.sheet import TableSheet
from matchvision.uncertainty import K_95

#: Places along the table's middle line at which the picture's scale is read, as shares of the length.
_READ_AT: Final = np.linspace(-0.45, 0.45, 19)
#: A step along the pull by which it is read [m].
_STEP_M: Final = 1e-3


def weigh_doubts(notes: Iterable[StageNote], camera: Camera, table: TableSheet) -> Doubts:
    """What contradicts the sheet, one a key, and how far off along the pull they may put the rope.

    Parameters
    ----------
    notes : StageNotes
    camera : Camera
        By which a distance in the picture becomes one on the table.
    table : TableSheet

    Returns
    -------
    Doubts
        ``shift_m`` is the greatest distance off, where the table lies farthest from the camera; NaN where one
        contradiction that no uncertainty covers says nothing of how far.

    Notes
    -----
    Checked by: tests/verdict/test_doubting.py::test_a_shift_in_the_picture_is_one_on_the_table
    """
    by_key: dict[str, Contradiction] = {}
    for one in (one for note in notes for one in note.contradictions):
        known = by_key.get(one.key)
        # Of two witnesses the worse counts: one that is not covered, above all one that says nothing of how far.
        if known is None or _weight(one) > _weight(known):
            by_key[one.key] = one
    still_open = tuple(one for one in by_key.values() if not one.covered)
    if not still_open:
        return Doubts(tuple(by_key.values()))
    # By a camera that moved, tags and edges seem to lie elsewhere: their contradictions may only follow from it.
    off_px = float(np.max([one.off_px for one in still_open]))
    return Doubts(still_open, off_px / _least_scale_px_m(camera, table))


def doubt(ruling: Ruling, doubts: Doubts) -> Ruling:
    """The ruling with what contradicts the sheet; it decides only where the margin outweighs that too.

    What no uncertainty covers is no draw from a known spread: it is added to U95 whole, not in squares. Where the
    result hangs on it, no probability of having won can be told.

    Notes
    -----
    Checked by: tests/verdict/test_doubting.py::test_what_may_outweigh_the_margin_does_not_decide
    """
    if not doubts.contradictions:
        return ruling
    told = replace(ruling, doubts=doubts.contradictions, shift_m=doubts.shift_m)
    if not ruling.sure:
        return told if doubts.shift_m == 0 else replace(told, winning=None)
    # Where less than half wins, who is ahead may hang on less than the winner's margin.
    lead = (abs(ruling.margin_m), ruling.u_margin_m)
    lead_m, u_lead_m = lead if ruling.winning is None else (ruling.winning.lead_m, ruling.winning.u_lead_m)
    if lead_m > K_95 * u_lead_m + doubts.shift_m:
        return told
    said = ruling.sentence.removeprefix(f"{ruling.winner or 'Nobody'} has won: ").rstrip(".")
    sentence = (
        f"The footage contradicts the sheet, so this does not decide: {said[0].lower()}{said[1:]}; "
        "no ± includes the contradiction."
    )
    return replace(told, sure=False, sentence=sentence, winning=None)


def _weight(one: Contradiction) -> tuple[bool, float]:
    return not one.covered, float("inf") if np.isnan(one.off_px) else one.off_px


def _least_scale_px_m(camera: Camera, table: TableSheet) -> float:
    """Pixels to a metre along the pull, where they are fewest on the table's middle line."""
    points = np.stack([_READ_AT * table.length_m, np.zeros(len(_READ_AT)), np.zeros(len(_READ_AT))], axis=-1)
    step = np.array([_STEP_M, 0.0, 0.0])
    moved = project_points(camera.parameters, points + step) - project_points(camera.parameters, points)
    return float(np.nanmin(np.linalg.norm(moved, axis=-1))) / _STEP_M
