"""What the marker stage says about its work."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from matchvision.errors import MarkerError
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

#: Markers seen in a smaller share of the frames are named in a warning.
LOW_SHARE = 0.9


def describe_tracks(tracks: Tracks, confusions: Sequence[str] = (), sheet: RunSheet | None = None) -> StageNote:
    """Shares of seen, bridged and lost, typical uncertainty, and the markers that were hard to follow.

    Parameters
    ----------
    confusions : sequence of str
        What `name_confusions` says of the colours.
    sheet : RunSheet, optional
        Where a weight hangs over a pulley, beads that go down beside the table with it are not missed.

    Notes
    -----
    Checked by: tests/markers/test_noting.py::test_beads_that_hang_beside_the_table_are_not_missed
    """
    if not tracks.plans:
        return StageNote("markers", "skipped", "Skipped, because the sheet names no markers.")
    seen = tracks.state == TrackState.SEEN
    bridged = tracks.state == TrackState.BRIDGED
    u_px = np.sqrt((tracks.u_col_px[seen] ** 2 + tracks.u_row_px[seen] ** 2) / 2)
    sentence = (
        f"Followed {len(tracks.plans)} markers through {len(tracks.frame)} frames in luma and chroma: "
        f"{100 * seen.mean():.1f} % of the places were seen, {100 * bridged.mean():.1f} % bridged over gaps of at most "
        f"0.16 s and {100 * (~seen & ~bridged).mean():.1f} % lost; the median standard uncertainty of a seen place "
        f"is {np.median(u_px):.2f} px."
    )
    shares = seen.mean(axis=0)
    hanging = _beyond_pulley(tracks.plans, shares, sheet)
    if hanging:
        are = "beads hang" if len(hanging) > 1 else "bead hangs"
        sentence += f" {len(hanging)} {are} beyond the pulley, at least for a time, and need not be seen there."
    missed = [(p, s) for p, s in zip(tracks.plans, shares, strict=True) if p.name not in hanging]
    never = [p for p, s in missed if s == 0]
    seldom = [(p, s) for p, s in missed if 0 < s < LOW_SHARE]
    warnings = list(confusions)
    advice = []
    if never:
        names = ", ".join(f"{p.name} ({p.colour})" for p in never)
        warnings.append(f"never found: {names}")
        advice.append("Check that these markers face the camera and that their colours match the sheet's srgb values.")
    if seldom:
        names = ", ".join(f"{p.name} ({100 * s:.0f} %)" for p, s in seldom)
        warnings.append(f"seen in less than {100 * LOW_SHARE:.0f} % of the frames: {names}")
        advice.append("Keep hands and people out of the line of sight while the clock runs.")
    return StageNote("markers", "partly" if warnings else "done", sentence, tuple(warnings), tuple(advice))


def _beyond_pulley(
    plans: Sequence[MarkerPlan], shares: npt.NDArray[np.float64], sheet: RunSheet | None
) -> frozenset[str]:
    """Beads between a hanging weight and the first bead that was seen nearly always."""
    if sheet is None or sheet.rope is None:
        return frozenset()
    hangs = [name in sheet.machine and _hangs(sheet, name) for name in sheet.rope.ends]
    if sum(hangs) != 1:
        return frozenset()
    beads = sorted((k for k, p in enumerate(plans) if p.kind == "bead"), key=lambda k: plans[k].arc_m)
    found = []
    for k in beads if hangs[0] else reversed(beads):
        if shares[k] >= LOW_SHARE:
            break
        found.append(plans[k].name)
    return frozenset(found)


def _hangs(sheet: RunSheet, name: str) -> bool:
    load = sheet.machine[name].load
    return load is not None and load.hangs


def nothing_found(plans: Sequence[MarkerPlan], sheet: RunSheet) -> MarkerError:
    """The error for a clip in which not one marker was found, with the colours that were sought."""
    names = list(dict.fromkeys(p.colour for p in plans))
    colours = ", ".join(
        f"{n} ({sheet.colour[n].srgb})" if n in sheet.colour else f"{n} (no such colour)" for n in names
    )
    return MarkerError(
        f"not one of the {len(plans)} markers was found over the table; colours sought: {colours}",
        do="check that the sheet's colours look like the markers in this light, and that the table was found in the "
        "right place",
    )
