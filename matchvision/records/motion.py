"""Positions, speeds, headings, wheel angles and the rope, each with its uncertainty, on one time line."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.tracks import Tracks


@dataclass(frozen=True, eq=False)
class Places:
    """Table positions of the tracked markers, (n frames, m markers) arrays, NaN where not known.

    ``u_x_m`` and ``u_y_m`` hold pixel noise, height and camera together (k = 1).
    """

    x_m: FloatArray
    y_m: FloatArray
    z_m: FloatArray
    u_x_m: FloatArray
    u_y_m: FloatArray


@dataclass(frozen=True, eq=False)
class MachineMotion:
    """A machine's motion, (n,) arrays on the frames, NaN where not known.

    Position of the machine frame's origin; speed and acceleration towards its home are positive; heading counts from
    +x towards +y and is unwrapped. Times are real seconds (slow motion already undone). ``pitch_deg`` and ``roll_deg``
    say how far its nose and its left side are up against the surface under it, less what they were at first; NaN where
    its markers do not show it, and where they are left out.
    """

    machine: str
    x_m: FloatArray
    y_m: FloatArray
    speed_m_s: FloatArray
    accel_m_s2: FloatArray
    heading_deg: FloatArray
    u_x_m: FloatArray
    u_y_m: FloatArray
    u_speed_m_s: FloatArray
    u_accel_m_s2: FloatArray
    u_heading_deg: FloatArray
    pitch_deg: FloatArray = field(default_factory=lambda: np.zeros(0))
    roll_deg: FloatArray = field(default_factory=lambda: np.zeros(0))
    u_pitch_deg: FloatArray = field(default_factory=lambda: np.zeros(0))
    u_roll_deg: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        for name in ("pitch_deg", "roll_deg", "u_pitch_deg", "u_roll_deg"):
            if len(getattr(self, name)) != len(self.x_m):
                object.__setattr__(self, name, np.full(len(self.x_m), np.nan))


@dataclass(frozen=True, eq=False)
class WheelMotion:
    """A wheel's turning, (n,) arrays. The angle grows while driving forward, from 0 at the first frame with a value.

    ``surface_speed_m_s`` = rate · radius; ``slip_speed_m_s`` = surface speed − the machine's speed along its drive
    direction; ``slip_ratio`` = 1 − v / surface speed, NaN where its uncertainty exceeds 0.1.

    ``slip_courses_m_s`` (m, n): slip speeds over the whole time that what was seen allows equally well; NaN where the
    wheel surely does not slide, and where nothing is known. Their spread in a frame is slip speed's own without what
    trembles faster than frames show; errors of neighbouring frames go together in them as they do in the smoothed one.
    """

    machine: str
    wheel: str
    radius_m: float
    driven: bool
    angle_rad: FloatArray
    rate_rad_s: FloatArray
    surface_speed_m_s: FloatArray
    slip_speed_m_s: FloatArray
    slip_ratio: FloatArray
    u_angle_rad: FloatArray
    u_rate_rad_s: FloatArray
    u_surface_speed_m_s: FloatArray
    u_slip_speed_m_s: FloatArray
    u_slip_ratio: FloatArray
    slip_courses_m_s: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass(frozen=True, eq=False)
class ArmMotion:
    """A machine's arm, (n,) arrays: how far it is out from where it is drawn in, and how that changes; NaN unknown.

    Outwards, away from home, is positive; speed and acceleration are those against the machine's body. ``outwards`` is
    -1 where outwards is the machine's backwards, as with a hitch at its rear, 1 where it is forwards.
    """

    machine: str
    outwards: int
    reach_m: FloatArray
    speed_m_s: FloatArray
    accel_m_s2: FloatArray
    u_reach_m: FloatArray
    u_speed_m_s: FloatArray
    u_accel_m_s2: FloatArray


@dataclass(frozen=True, eq=False)
class RopeMotion:
    """The rope, (n,) arrays. Length as it lies (link and stretch included) on each side of the centre line.

    Attributes
    ----------
    speed_m_s : rope speed at the centre line, positive towards +x.
    slack : (n,) float array, 1 slack, 0 taut, NaN unknown.
    crossing_arc_m : arc length (from the first end) at which the rope crosses the centre line.
    span_m : shortest way between the hitches, over crests that are in it; NaN where not both are known.
    link_length_m : distance between the two link markers, NaN without a link.
    u_link_length_m : part that is independent from frame to frame.
    u_link_common_ratio : relative part common to all frames (scale of the camera).
    pull_dir_x, pull_dir_y, pull_dir_z : (n, 2) arrays
        Unit vector of the pull that acts on each end's machine (from its hitch along the rope), ends in sheet order.
    total_m, u_total_m : length of the rope as it lies (n,).
    longer_m : how much longer the cord at each end is than the sheet says, where that was seen; lengths count it in.
    """

    on_minus_x_m: FloatArray
    on_plus_x_m: FloatArray
    u_on_minus_x_m: FloatArray
    u_on_plus_x_m: FloatArray
    speed_m_s: FloatArray
    u_speed_m_s: FloatArray
    slack: FloatArray
    crossing_arc_m: FloatArray
    span_m: FloatArray
    link_length_m: FloatArray
    u_link_length_m: FloatArray
    u_link_common_ratio: float
    pull_dir_x: FloatArray
    pull_dir_y: FloatArray
    pull_dir_z: FloatArray
    total_m: FloatArray
    u_total_m: FloatArray
    longer_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Motion:
    """Everything that moved. ``real_s`` is clip time in real seconds (slow motion undone), same zero as ``clip_s``."""

    frame: npt.NDArray[np.int64]
    clip_s: FloatArray
    real_s: FloatArray
    tracks: Tracks
    places: Places
    machines: Mapping[str, MachineMotion]
    wheels: tuple[WheelMotion, ...]
    rope: RopeMotion | None
    arms: tuple[ArmMotion, ...] = ()


@dataclass(frozen=True)
class StartSignal:
    """A start signal found in the clip: its clip time, standard uncertainty in clip seconds, and what it is."""

    clip_s: float
    u_s: float
    source: str


@dataclass(frozen=True)
class MatchClock:
    """From clip time to match time: ``t_s = (clip_s − start_clip_s) · real_per_clip_ratio``."""

    start_clip_s: float
    duration_s: float
    real_per_clip_ratio: float = 1.0
    u_start_s: float = 0.0
    source: str = "given in the sheet"

    def match_time(self, clip_s: FloatArray) -> FloatArray:
        """Match time [s] of clip times [s]."""
        return (np.asarray(clip_s, dtype=np.float64) - self.start_clip_s) * self.real_per_clip_ratio

    @property
    def end_clip_s(self) -> float:
        """Clip time [s] at which the match ends."""
        return self.start_clip_s + self.duration_s / self.real_per_clip_ratio
