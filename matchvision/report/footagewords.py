"""The measures of a footage check in words: a line each, for the terminal and for the picture."""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from matchvision.records.footage import FootageCheck
from matchvision.uncertainty import format_interval


@dataclass(frozen=True)
class Measure:
    """What was measured, and what came out."""

    label: str
    value: str


def list_measures(check: FootageCheck) -> tuple[Measure, ...]:
    """Every measure that the check could take, in the order of a person's questions.

    Notes
    -----
    Checked by: tests/report/test_footagepicture.py::test_measures_are_told_where_they_are_known
    """
    measures = [
        *_of_time(check),
        *_of_start(check),
        *_of_rows(check),
        *_of_pictures(check),
        *_of_view(check),
        *_of_places(check),
    ]
    return tuple(measures)


def answer(check: FootageCheck) -> str:
    """The answer in a sentence."""
    if check.is_still:
        return (
            "Yes, you may start.",
            "No, not yet: this costs something, so mend it first.",
            "No: from such a picture nothing can be measured.",
        )[check.exit_code]
    return (
        "Nothing speaks against using it.",
        "It can be used, but:",
        "It cannot be used:",
    )[check.exit_code]


def _of_time(check: FootageCheck) -> list[Measure]:
    steps = check.steps
    if steps is None or not isfinite(steps.median_s):
        return []
    rate = f"{1 / steps.median_s:.2f} pictures a second"
    if steps.gaps:
        gaps = "a gap" if steps.gaps == 1 else f"{steps.gaps} gaps, the longest"
        rate += f"; {steps.missing} missing in {gaps} of {1000 * steps.longest_s:.0f} ms at {steps.longest_at_s:.2f} s"
    else:
        rate += f"; longest step {1000 * steps.longest_s:.1f} ms"
    repeated = f"{check.look.doubled} of {check.look.pairs} looked at"
    return [Measure("rate", rate), *([Measure("repeated pictures", repeated)] if check.look.pairs else [])]


def _of_start(check: FootageCheck) -> list[Measure]:
    """The start sound, where the sheet asks for it."""
    if check.start is None:
        return []
    when = format_interval(check.start.clip_s, check.start.u_s, "s")
    return [Measure("start", f"{check.start.source} at {when} (95 %)")]


def _of_rows(check: FootageCheck) -> list[Measure]:
    """How long the shutter reads, and what that may cost a quick marker where it is not known."""
    rows = check.rows
    if rows is None:
        return []
    line = "column" if rows.along == 0 else "row"
    if rows.known:
        took = f"{1000 * rows.readout_s:.1f} ms"
        if rows.u_s > 0:
            took = format_interval(1000 * rows.readout_s, 1000 * rows.u_s, "ms") + " (95 %)"
        return [Measure("rolling shutter", f"{took} from the first {line} to the last, {rows.source}")]
    longest_s = float(np.sqrt(3)) * rows.u_s
    told = f"up to {1000 * longest_s:.1f} ms"
    if check.places is not None:
        shares = rows.share(check.places.table_px, check.facts.width_px, check.facts.height_px)
        off_mm = 1000 * check.speed_m_s * longest_s * float(np.abs(np.clip(shares, -0.5, 0.5)).max())
        told += f", {off_mm:.1f} mm at {check.speed_m_s:g} m/s"
    return [Measure("rolling shutter", f"{told}; not known, for {rows.reason}")]


def _of_pictures(check: FootageCheck) -> list[Measure]:
    look = check.look
    measures = []
    if isfinite(look.edge_px):
        measures.append(Measure("sharpness", f"edges rise over {look.edge_px:.1f} px"))
    where = "table" if check.places is not None else "picture"
    light = f"{where} at {100 * look.mean_ratio:.0f} % of the range, {100 * look.clipped_ratio:.1f} % blown out"
    measures.append(Measure("exposure", light))
    if isfinite(look.drift_ratio):
        measures.append(Measure("exposure drift", f"{100 * look.drift_ratio:.1f} %"))
    if isfinite(look.flicker_ratio):
        rate = f" at {look.flicker_per_s:.1f} Hz in the clip" if isfinite(look.flicker_per_s) else ", nothing periodic"
        measures.append(Measure("flicker", f"±{100 * look.flicker_ratio:.2f} %{rate}"))
    if isfinite(look.shake_px):
        shake = f"{look.shake_px:.1f} px between pictures"
        if isfinite(look.wander_px):
            shake += f", {look.wander_px:.1f} px over the clip"
        measures.append(Measure("shake", shake))
    if isfinite(check.smear_px):
        most = "" if check.shutter_known else "at most "
        measures.append(Measure(f"smear at {check.speed_m_s:g} m/s", f"{most}{check.smear_px:.1f} px"))
    return measures


def _of_view(check: FootageCheck) -> list[Measure]:
    measures = []
    seen = [tag for tag in check.tags if tag.corners_px is not None]
    sides = f", sides {min(t.side_px for t in seen):.0f} to {max(t.side_px for t in seen):.0f} px" if seen else ""
    listed = [tag for tag in check.tags if tag.listed]
    if listed:
        there = sum(tag.corners_px is not None for tag in listed)
        measures.append(Measure("tags in view", f"{there} of {len(listed)}{sides}"))
    else:
        names = ", ".join(f"{tag.id} ({tag.family})" for tag in seen[:6])
        more = f" and {len(seen) - 6} more" if len(seen) > 6 else ""
        measures.append(Measure("tags in view", f"{names}{more}{sides}" if seen else "none"))
    planned = sum(len(colour.planned) for colour in check.colours)
    if planned:
        missing = sum(len(colour.missing) for colour in check.colours)
        measures.append(Measure("markers found", f"{planned - missing} of {planned}"))
    return measures


def _of_places(check: FootageCheck) -> list[Measure]:
    places = check.places
    if places is None or not np.isfinite(places.scale_px_per_mm).any():
        return []
    low, high = float(np.nanmin(places.scale_px_per_mm)), float(np.nanmax(places.scale_px_per_mm))
    best, worst = 1000 * float(np.nanmin(places.U95_x_m)), 1000 * float(np.nanmax(places.U95_x_m))
    across = 1000 * float(np.nanmax(places.U95_y_m))
    height = f"at {1000 * places.height_m:.0f} mm height"
    return [
        Measure("scale", f"{low:.2f} to {high:.2f} px a millimetre"),
        Measure("place along x", f"±{best:.1f} to ±{worst:.1f} mm (95 %) {height}"),
        Measure("place across", f"±{across:.1f} mm at worst"),
    ]
