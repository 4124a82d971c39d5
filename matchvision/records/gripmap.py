"""Grip over the place on the table and over time, side by side, and what lost grip belongs to."""

from dataclasses import dataclass


@dataclass(frozen=True)
class GripCell:
    """What one side's wheels used of their grip at one place in one span of time.

    ``grip_kind``: "available" (the watched wheels slid: that much and no more), "at least" (they gripped: there was as
    much or more) or "at most" (this side slid alone; what the whole machine used is as much as this side had, or more).
    Grip is traction over load. ``data_s``: for how long; 0.1 s are one look.
    """

    machine: str
    side: str
    from_x_m: float
    to_x_m: float
    from_s: float
    until_s: float
    grip_kind: str
    grip_ratio: float
    u_grip_ratio: float
    data_s: float


@dataclass(frozen=True)
class GripTale:
    """One way to explain where and when a machine's wheels slid, with its probability among those considered.

    ``kind``: "even" (one grip throughout: more was asked of it than it gives), "place" (less grip on a stretch of the
    table), "time" (less for a span of time, wherever it was), "matter" (less on a stretch from a moment on) or "other"
    (none of these).
    ``side``: "left", "right", or "both". Numbers that have no meaning for the kind are NaN.
    """

    kind: str
    side: str
    probability: float
    grip_ratio: float
    u_grip_ratio: float
    less_grip_ratio: float
    u_less_grip_ratio: float
    from_x_m: float = float("nan")
    u_from_x_m: float = float("nan")
    to_x_m: float = float("nan")
    u_to_x_m: float = float("nan")
    from_s: float = float("nan")
    u_from_s: float = float("nan")
    until_s: float = float("nan")


@dataclass(frozen=True)
class GripMap:
    """One machine's map: its cells, the tales with their probabilities (largest first), and what they come to."""

    machine: str
    sides: tuple[str, ...]
    cells: tuple[GripCell, ...]
    tales: tuple[GripTale, ...]
    statement: str
