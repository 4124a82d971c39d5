"""One column list per table: the only source for files, their schema, the documentation and the boundary checks."""

from dataclasses import dataclass
from typing import Final

#: Unit suffixes that a physical column name may end in.
UNIT_SUFFIXES: Final = (
    "_px", "_mm", "_m", "_m_s", "_m_s2", "_s", "_deg", "_rad", "_rad_s", "_rev_min", "_kg", "_N", "_Nm", "_N_per_m",
    "_ratio",
)  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column: name, kind of value, unit ("" for words, "1" for pure numbers), meaning, may it be missing."""

    name: str
    dtype: str
    unit: str
    meaning: str
    may_be_missing: bool = True


def _c(name: str, unit: str, meaning: str, *, dtype: str = "float", missing: bool = True) -> Column:
    return Column(name, dtype, unit, meaning, missing)


_FRAME: Final = (
    _c("frame", "1", "number of the picture in order of presentation, from 0", dtype="int", missing=False),
    _c("clip_s", "s", "presentation time less that of the first picture", missing=False),
    _c("t_s", "s", "match time, 0 at the start signal"),
)


def _with_u(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    return columns + tuple(_c(f"u_{c.name}", c.unit, f"standard uncertainty of {c.name}") for c in columns)


TRACKS: Final = (
    *_FRAME,
    _c("marker", "", "name of the marker", dtype="word", missing=False),
    _c("col_px", "px", "column of the marker's centre in the upright picture; integer = pixel centre"),
    _c("row_px", "px", "row of the marker's centre"),
    _c("u_col_px", "px", "standard uncertainty of col_px"),
    _c("u_row_px", "px", "standard uncertainty of row_px"),
    _c("state", "", "seen, bridged, lost; set or tied by hand", dtype="word", missing=False),
    _c("x_m", "m", "place along the pull, from the centre line"),
    _c("y_m", "m", "place across the table"),
    _c("z_m", "m", "height above the table's surface that was used"),
    _c("u_x_m", "m", "standard uncertainty of x_m"),
    _c("u_y_m", "m", "standard uncertainty of y_m"),
)
MOTION: Final = (
    *_FRAME,
    _c("machine", "", "name of the machine", dtype="word", missing=False),
    *_with_u((
        _c("x_m", "m", "place of the machine frame's origin along the pull"),
        _c("y_m", "m", "place of the machine frame's origin across the table"),
        _c("speed_m_s", "m/s", "speed, positive towards home"),
        _c("accel_m_s2", "m/s²", "acceleration, positive towards home"),
        _c("heading_deg", "°", "direction of driving, from +x towards +y, unwrapped"),
        _c("pitch_deg", "°", "nose up against the surface, less what it was at first; empty where not shown"),
        _c("roll_deg", "°", "left side up, likewise"),
    )),
)  # fmt: skip
WHEELS: Final = (
    *_FRAME,
    _c("machine", "", "name of the machine", dtype="word", missing=False),
    _c("wheel", "", "name of the wheel", dtype="word", missing=False),
    *_with_u((
        _c("angle_rad", "rad", "angle turned since the first value, growing while driving forward"),
        _c("rate_rad_s", "rad/s", "turning rate, positive while driving forward"),
        _c("surface_speed_m_s", "m/s", "rate times wheel radius"),
        _c("slip_speed_m_s", "m/s", "surface speed less ground speed along the drive direction"),
        _c("slip_ratio", "1", "travel reduction 1 - v / surface speed; empty where its uncertainty exceeds 0.1"),
    )),
    _c("grip_state", "", "gripping, held, slipping, spinning, dragged or locked", dtype="word"),
)  # fmt: skip
ROPE: Final = (
    *_FRAME,
    _c("on_minus_x_m", "m", "rope on the -x side of the centre line, as it lies"),
    _c("on_plus_x_m", "m", "rope on the +x side of the centre line, as it lies"),
    _c("u_on_minus_x_m", "m", "standard uncertainty of on_minus_x_m"),
    _c("u_on_plus_x_m", "m", "standard uncertainty of on_plus_x_m"),
    _c("speed_m_s", "m/s", "speed of the rope at the centre line, positive towards +x"),
    _c("u_speed_m_s", "m/s", "standard uncertainty of speed_m_s"),
    _c("slack", "1", "1 where the rope is slack, 0 where it is taut"),
)
PULL: Final = (
    *_FRAME,
    _c("source", "", "link, stretch, inertia, momentum, drive or fused", dtype="word", missing=False),
    _c("tension_N", "N", "rope tension"),
    _c("u_tension_N", "N", "standard uncertainty of tension_N"),
)
TRACTION: Final = (
    *_FRAME,
    _c("machine", "", "name of the machine", dtype="word", missing=False),
    *_with_u((
        _c("traction_N", "N", "gross traction along the drive direction"),
        _c("load_N", "N", "dynamic normal load on the driven wheels"),
        _c("grip_used", "1", "traction over load"),
    )),
)  # fmt: skip
GRIP_MAP: Final = (
    _c("machine", "", "name of the machine", dtype="word", missing=False),
    _c("side", "", "left or right: the side whose wheel was watched", dtype="word", missing=False),
    _c("from_x_m", "m", "the cell's place: where the middle of that side's driven wheels was", missing=False),
    _c("to_x_m", "m", "its other end", missing=False),
    _c("from_s", "s", "the cell's time, on the match clock", missing=False),
    _c("until_s", "s", "its end", missing=False),
    _c("grip_kind", "", "available (the wheels slid), at least (they gripped) or at most (this side slid alone)",
       dtype="word", missing=False),
    _c("grip_ratio", "1", "traction over load: mean while sliding, greatest while gripping", missing=False),
    _c("u_grip_ratio", "1", "standard uncertainty of grip_ratio", missing=False),
    _c("data_s", "s", "for how long it was so in the cell", missing=False),
)  # fmt: skip
EVENTS: Final = (
    _c("kind", "", "what happened", dtype="word", missing=False),
    _c("machine", "", "which machine, if one is meant", dtype="word"),
    _c("start_s", "s", "beginning, on the match clock", missing=False),
    _c("end_s", "s", "end, on the match clock; empty for a moment"),
    _c("u_start_s", "s", "standard uncertainty of start_s"),
    _c("probability", "1", "probability that it happened"),
    _c("evidence", "", "the numbers that it rests on", dtype="word", missing=False),
    _c("frame", "1", "number of the picture nearest to its beginning", dtype="int", missing=False),
)
COMPARISON: Final = (
    _c("quantity", "", "what is compared", dtype="word", missing=False),
    _c("unit", "", "its unit", dtype="word", missing=False),
    _c("predicted", "unit", "predicted value"),
    _c("u_predicted", "unit", "standard uncertainty of the prediction"),
    _c("measured", "unit", "measured value"),
    _c("u_measured", "unit", "standard uncertainty of the measurement"),
    _c("error", "unit", "comparison error E = predicted - measured"),
    _c("u_validation", "unit", "validation uncertainty"),
    _c("en", "1", "E over the expanded (k = 2) validation uncertainty"),
    _c("within", "", "yes, no or inconclusive", dtype="word", missing=False),
    _c("phase", "", "empty for the whole run, else reach, first-pull, contest or hold", dtype="word"),
    _c("machine", "", "which machine, if one is meant", dtype="word"),
    _c("scale", "unit", "the quantity's own size, by which errors are judged"),
)
CURVES: Final = (
    _c("quantity", "", "pull, speed or slip speed", dtype="word", missing=False),
    _c("unit", "", "its unit", dtype="word", missing=False),
    _c("machine", "", "which machine, if one is meant", dtype="word"),
    _c("phase", "", "empty for the whole run, else reach, first-pull, contest or hold", dtype="word"),
    _c("from_s", "s", "beginning of the stretch, on the match clock", missing=False),
    _c("until_s", "s", "its end", missing=False),
    _c("distance_ratio", "1", "rms of predicted - measured over rms of measured"),
    _c("shift_s", "s", "by how much the prediction comes too late; empty where the curves show no shift"),
    _c("u_shift_s", "s", "standard uncertainty of shift_s"),
    _c("size_ratio", "1", "predicted over measured in size, once shifted"),
    _c("u_size_ratio", "1", "standard uncertainty of size_ratio"),
    _c("shape_ratio", "1", "rms of what is left after shift and size, over rms of measured"),
    _c("inside_ratio", "1", "share of the time in which both lie within their 95 % of each other"),
    _c("crps_ratio", "1", "mean CRPS of the predicted band over rms of measured"),
)
CAUSES: Final = (
    _c("cause", "", "the explanation", dtype="word", missing=False),
    _c("machine", "", "which machine, if one is meant", dtype="word"),
    _c("probability", "1", "its probability among those considered"),
    _c("estimate", "unit", "size of the change"),
    _c("u_estimate", "unit", "standard uncertainty of the estimate"),
    _c("unit", "", "unit of the estimate", dtype="word"),
    _c("since_s", "s", "since when, on the match clock"),
    _c("statement", "", "the explanation as a sentence", dtype="word", missing=False),
)

#: Every table by the stem of its file.
TABLES: Final = {
    "tracks": TRACKS,
    "motion": MOTION,
    "wheels": WHEELS,
    "rope": ROPE,
    "pull": PULL,
    "traction": TRACTION,
    "grip_map": GRIP_MAP,
    "events": EVENTS,
    "comparison": COMPARISON,
    "curves": CURVES,
    "causes": CAUSES,
}
