"""What was set or corrected by hand, in words, with the moment at which each of it bears on the run."""

from dataclasses import dataclass

import numpy as np

from matchvision.records.mends import Cut, End, Mend, Put, Strike, Tie
from matchvision.records.results import Analysis
from matchvision.report.readings import match_times


@dataclass(frozen=True)
class ByHand:
    """One mend: what was done, from when on the match clock, and why, if that was written down."""

    words: str
    at_s: float
    why: str


def tell_mends(analysis: Analysis) -> tuple[ByHand, ...]:
    """Every mend of the tracks, in the order in which they were applied."""
    return tuple(_tell(mend, analysis) for mend in analysis.run.mends.mend)


def tell_settings(analysis: Analysis) -> tuple[str, ...]:
    """What the sheet says by hand that could have been found in the clip, or could not."""
    sheet = analysis.run.sheet
    told = []
    if sheet.clock.start_s is not None:
        told.append(f"the start of the clock ({sheet.clock.start_s:.3f} s of the clip)")
    if sheet.table.point:
        told.append(f"{len(sheet.table.point)} points of the table")
    if sheet.clock.from_s is not None or sheet.clock.until_s is not None:
        told.append("which part of the clip is this run")
    starts = [name for name, machine in sheet.machine.items() if machine.start is not None]
    if starts:
        told.append(f"where {' and '.join(starts)} stood at the start")
    return tuple(told)


def _tell(mend: Mend, analysis: Analysis) -> ByHand:
    frames, t_s = analysis.motion.frame, match_times(analysis)
    at_s = float(t_s[int(np.abs(frames - mend.frame).argmin())])
    when = f"in picture {mend.frame}"
    if isinstance(mend, Strike | Tie) and mend.until_frame is not None and mend.until_frame != mend.frame:
        when = f"in pictures {mend.frame} to {mend.until_frame}"
    if isinstance(mend, Cut):
        words = f"{mend.marker}: what was followed from picture {mend.frame} on was taken away"
    elif isinstance(mend, Strike):
        words = f"{mend.marker}: struck out {when}"
    elif isinstance(mend, Tie):
        since = when if mend.until_frame is not None else f"from picture {mend.frame} on"
        words = f"{mend.marker}: what was followed as {mend.followed_as} is this marker, {since}"
    elif isinstance(mend, Put):
        words = f"{mend.marker}: set {when} at {_pixel(mend)}"
    else:
        words = f"rope end at {mend.end}: set {when} at {_pixel(mend)}"
    return ByHand(words, at_s, mend.why)


def _pixel(mend: Put | End) -> str:
    return f"({mend.pixel[0]:.1f}, {mend.pixel[1]:.1f}) ± {1.96 * mend.u_px:.1f} px"
