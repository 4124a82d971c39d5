"""Machines' poses from their markers, and how they move."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.motion.bodies import BodyPlaces, place_bodies
from matchvision.motion.bodyfit import rigid_fit, scatter_of_body
from matchvision.motion.sighting import Sighting, spread_from_camera
from matchvision.motion.smoothing import SlowNoise, Smoothed, smooth_series
from matchvision.motion.surface import Ground, axes_of, ground_under
from matchvision.records.motion import MachineMotion
from matchvision.records.sheet import Machine
from matchvision.records.tracks import Tracks

#: How far a machine may stand off its home direction where only one marker shows and nothing else tells [rad].
U_HOME_HEADING_RAD = 0.09
#: How well a heading carries over short gaps in which one marker alone is seen [rad].
U_BRIDGED_HEADING_RAD = 0.03
#: Step along the path for derivatives of a machine's places on a slope [m].
PATH_STEP_M = 0.001


@dataclass(frozen=True)
class Contact:
    """Where a machine stands: half the distance between its axles and between its sides [m]."""

    half_length_m: float
    half_width_m: float

    def origin_height(self, pitch_rad: FloatArray, roll_rad: FloatArray) -> FloatArray:
        """How high the origin is off the surface [m] while the machine stands on one end or side."""
        up = np.abs(np.sin(pitch_rad)) * self.half_length_m + np.abs(np.sin(roll_rad)) * self.half_width_m
        return np.asarray(up)


def tilted_axes(
    heading: FloatArray, slope: FloatArray, pitch: FloatArray, roll: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Forward, left and up (n, 3) of machines on a slope that are pitched (nose up) and rolled (left side up)."""
    forward, left, up = axes_of(heading, slope)
    c, s = np.cos(pitch)[..., None], np.sin(pitch)[..., None]
    forward, up = c * forward + s * up, c * up - s * forward
    c, s = np.cos(roll)[..., None], np.sin(roll)[..., None]
    return forward, c * left + s * up, c * up - s * left


@dataclass(frozen=True, eq=False)
class Pose:
    """A machine's pose over time, smoothed, with what the camera's error does to it.

    Attributes
    ----------
    ground : Ground
        The surface under it.
    along, y : Smoothed
        Travel of its origin along the surface [m], from x = 0, positive towards +x (x itself on a level table); y [m].
    heading : Smoothed
        [rad], within the plane on which it stands.
    camera_jacobian : (n, 3, 15) float array
        Derivatives of (along, y, heading) by what the frames' cameras have in common.
    seen_m, u_seen_m : (n, 2) float arrays
        along and y as seen frame by frame, before smoothing, and the part of their uncertainty that is new in each.
    slow : SlowNoise
        What of the uncertainty of along goes together over frames.
    scatter_ratio : float
        How much the places scatter against what the pixels' uncertainty says.
    seen_heading_rad, u_seen_heading_rad : (n,) float arrays
        The heading as seen frame by frame; NaN where fewer than two markers show.
    headed : bool
        Whether the heading was ever measured; if not, the home direction stands for it.
    bodies : BodyPlaces
    pitch_rad, roll_rad : (n,) float arrays, or 0
        Nose up and left side up, where the machine does not stand on all its wheels.
    contact : Contact
        What it stands on then.
    """

    machine: str
    home_sign: float
    ground: Ground
    along: Smoothed
    y: Smoothed
    heading: Smoothed
    camera_jacobian: FloatArray
    seen_m: FloatArray
    u_seen_m: FloatArray
    slow: SlowNoise
    scatter_ratio: float
    seen_heading_rad: FloatArray
    u_seen_heading_rad: FloatArray
    headed: bool
    bodies: BodyPlaces
    pitch_rad: FloatArray = field(default_factory=lambda: np.zeros(1))
    roll_rad: FloatArray = field(default_factory=lambda: np.zeros(1))
    contact: Contact = Contact(0.0, 0.0)

    def axes(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Forward, left and up (n, 3) in the table frame."""
        slope = self.ground.stand(self.along.value)[2]
        return tilted_axes(self.heading.value, slope, self.pitch_rad, self.roll_rad)

    def _carry(self, at_m: tuple[float, float, float], path_m: FloatArray) -> FloatArray:
        """Table places (n, 3) of a point of the machine frame for other travels along the path."""
        x, z, slope = self.ground.stand(path_m)
        forward, left, up = tilted_axes(self.heading.value, slope, self.pitch_rad, self.roll_rad)
        off_ground = axes_of(self.heading.value, slope)[2]
        lift = self.contact.origin_height(self.pitch_rad, self.roll_rad)
        origin = np.stack([x, self.y.value, z], axis=-1) + lift[:, None] * off_ground
        return np.asarray(origin + at_m[0] * forward + at_m[1] * left + at_m[2] * up)

    def point_of(self, at_m: tuple[float, float, float]) -> tuple[FloatArray, FloatArray]:
        """Table places (n, 3) of a point of the machine frame, and their derivatives (n, 3, 15) by the camera."""
        place = self._carry(at_m, self.along.value)
        ahead, behind = (self._carry(at_m, self.along.value + step) for step in (PATH_STEP_M, -PATH_STEP_M))
        by_path = (ahead - behind) / (2 * PATH_STEP_M)
        forward, left, _ = self.axes()
        by_heading = at_m[0] * left - at_m[1] * forward
        by_y = np.broadcast_to([0.0, 1.0, 0.0], by_path.shape)
        by_pose = np.stack([by_path, by_y, by_heading], axis=-1)
        return place, by_pose @ self.camera_jacobian

    def heading_from_above(self) -> FloatArray:
        """Heading [rad] as seen from above, from +x towards +y."""
        turn = self.heading.value
        level = np.cos(self.ground.stand(self.along.value)[2])
        off = np.arctan2(np.sin(turn), np.cos(turn) * level) - turn
        return np.asarray(turn + np.angle(np.exp(1j * off)))

    def speed_along_drive(self) -> tuple[FloatArray, FloatArray]:
        """Speed along the machine's own forward direction and the part of its uncertainty that is new every time."""
        c, s = np.cos(self.heading.value), np.sin(self.heading.value)
        speed = c * self.along.rate + s * self.y.rate
        across = c * self.y.rate - s * self.along.rate
        variance = (c * self.along.u_rate) ** 2 + (s * self.y.u_rate) ** 2 + (across * self.heading.u_value) ** 2
        return speed, np.sqrt(variance)

    def travel_along_drive(self, real_s: FloatArray, aside_m: float = 0.0) -> tuple[FloatArray, FloatArray]:
        """Travel along the forward direction (n,) [m], noisy as seen, and the uncertainty new in each frame.

        The smoothed speed is summed up, and each frame's departure from the smoothed place is put back. What stands
        ``aside_m`` to the left of the origin is carried back by that much a radian as the machine turns to the left.

        Notes
        -----
        Checked by: tests/motion/test_machines.py::test_a_wheel_beside_a_turning_machine_goes_its_own_way
        """
        c, s = np.cos(self.heading.value), np.sin(self.heading.value)
        speed, _ = self.speed_along_drive()
        pieces = 0.5 * (speed[1:] + speed[:-1]) * np.diff(real_s)
        smooth = np.concatenate([[0.0], np.cumsum(np.nan_to_num(pieces))])
        off = c * (self.seen_m[:, 0] - self.along.value) + s * (self.seen_m[:, 1] - self.y.value)
        travel, u = smooth + off, np.hypot(c * self.u_seen_m[:, 0], s * self.u_seen_m[:, 1])
        if not self.headed:
            return travel, u
        return travel - aside_m * self.heading.value, np.hypot(u, aside_m * self.heading.u_value)


def _middle(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else 0.0


def measure_pose(
    name: str, machine: Machine, tracks: Tracks, sighting: Sighting, real_s: FloatArray
) -> tuple[Pose, int] | None:
    """A machine's smoothed pose from its body markers; None where it has none. Also the number of markers used."""
    columns = [i for i, p in enumerate(tracks.plans) if p.kind == "body" and p.machine == name and not p.on_reach]
    if not columns:
        return None
    offsets = np.array([tracks.plans[i].at_m for i in columns])
    ground = ground_under(machine, sighting.profile_m)
    home_sign = -1.0 if machine.home == "-x" else 1.0
    placing = place_bodies(columns, offsets, ground, sighting, home_sign)
    points = placing.along_m.copy()
    points[~sighting.seen[:, columns]] = np.nan
    home_rad = np.pi if home_sign < 0 else 0.0
    n = len(real_s)
    both = np.asarray(np.isfinite(points).all(axis=-1))
    together = both.sum(axis=1) >= 2
    prior, u_prior = np.full(n, home_rad), np.full(n, 10.0)
    pose, cov, leverage = rigid_fit(points, placing.cov_own, offsets[:, :2], prior, np.where(together, 10.0, 0.1))
    headed = bool(together.sum() >= 5)
    if headed:
        # What goes together over frames pulls a heading as it does a place.
        u_turned = np.where(together, np.sqrt(cov[:, 2, 2]), np.nan)
        fast, slow_ratio, memory_s = scatter_of_body(points, placing.cov_own, offsets[:, :2], pose[:, 2], real_s)
        heading = smooth_series(
            real_s,
            np.where(together, np.unwrap(np.where(together, pose[:, 2], home_rad)), np.nan),
            fast * u_turned,
            slow=SlowNoise(slow_ratio * _middle(u_turned), memory_s),
        )
        at = np.flatnonzero(np.isfinite(heading.value))
        prior = np.interp(real_s, real_s[at], heading.value[at])
        after = np.clip(np.searchsorted(real_s[at], real_s), 1, len(at) - 1)
        away_s = np.minimum(np.abs(real_s - real_s[at[after - 1]]), np.abs(real_s[at[after]] - real_s))
        u_prior = np.where(together, 10.0, U_BRIDGED_HEADING_RAD * (1 + away_s / 0.3))
    else:
        u_prior = np.where(together, 10.0, U_HOME_HEADING_RAD)
    pose, cov, leverage = rigid_fit(points, placing.cov_own, offsets[:, :2], prior, u_prior)
    if not headed:
        flat = np.where(np.isfinite(pose[:, 0]), home_rad, np.nan)
        states = np.full((n, 3, 3), np.nan)
        states[np.isfinite(flat)] = np.diag([U_HOME_HEADING_RAD**2, 0.0, 0.0])
        zero = flat * 0
        heading = Smoothed(flat, zero, zero, states, 1.0, np.full(max(n - 1, 0), np.nan), np.isfinite(flat))
    # What a heading kept from elsewhere does to the place is common to the frames it serves, not new in each.
    own = leverage * both[:, None, :, None]
    of_points = np.einsum("nikl,nklm,njkm->nij", own, np.nan_to_num(placing.cov_own), own)
    by_camera = np.einsum("nikl,nklp->nip", own, np.nan_to_num(placing.camera_jacobian))
    of_points = of_points + sighting.own_spread(by_camera)
    usable = np.isfinite(pose[:, 0])
    u_along, u_y = (np.where(usable, np.sqrt(of_points[:, i, i]), np.nan) for i in (0, 1))
    fast, slow_ratio, memory_s = scatter_of_body(points, placing.cov_own, offsets[:, :2], pose[:, 2], real_s)
    slow, slow_y = (SlowNoise(slow_ratio * _middle(u), memory_s) for u in (u_along, u_y))
    u_along, u_y = fast * u_along, fast * u_y
    along = smooth_series(real_s, pose[:, 0], u_along, slow=slow)
    y = smooth_series(real_s, pose[:, 1], u_y, slow=slow_y)
    by_camera = carried(sighting.common(by_camera), usable)
    seen, u_seen = pose[:, :2], np.stack([u_along, u_y], axis=-1)
    ratio = float(np.hypot(fast, slow_ratio)) * along.noise_factor
    turn = np.where(together, pose[:, 2], np.nan)
    u_turn = np.where(together, np.sqrt(cov[:, 2, 2]), np.nan)
    found = Pose(
        name, home_sign, ground, along, y, heading, by_camera, seen, u_seen, slow, ratio, turn, u_turn, headed, placing
    )
    return found, len(columns)


def carried(series: FloatArray, usable: npt.NDArray[np.bool_]) -> FloatArray:
    """A slowly changing series (n, ...) carried over frames without data from the nearest one before, or after."""
    at = np.flatnonzero(usable)
    if len(at) == 0:
        return series
    n = len(series)
    nearest = at[np.clip(np.searchsorted(at, np.arange(n), side="right") - 1, 0, len(at) - 1)]
    return np.asarray(series[nearest])


def rate_spread_from_camera(jacobian: FloatArray, covariance: FloatArray, real_s: FloatArray) -> FloatArray:
    """Covariance (n, k, k) of the rates of k quantities from a lasting camera error: its scale changes with place.

    Notes
    -----
    d/dt of J·δ at constant δ, so C = J̇ C_camera J̇ᵀ. A camera error that changes from frame to frame shows in the
    residuals instead and is taken up by the smoother's noise factor.
    """
    changing = np.gradient(jacobian, real_s, axis=0) if len(real_s) > 1 else np.zeros_like(jacobian)
    return spread_from_camera(changing, covariance)


def motion_of(pose: Pose, covariance: FloatArray, real_s: FloatArray, lever_m: float) -> MachineMotion:
    """The record of a machine's motion; ``covariance`` is the camera's, ``lever_m`` a lone marker's place.

    A lone marker's unknown heading moves the origin across by ``lever_m`` times its uncertainty.
    """
    common = spread_from_camera(pose.camera_jacobian, covariance)
    common_rate = rate_spread_from_camera(pose.camera_jacobian, covariance, real_s)
    swing = 0.0 if pose.headed else (lever_m * U_HOME_HEADING_RAD) ** 2
    nowhere = pose.along.value * np.nan
    measured = pose.headed
    across = np.cos(pose.ground.climb(pose.along.value)) ** 2
    return MachineMotion(
        machine=pose.machine,
        x_m=pose.ground.stand(pose.along.value)[0],
        y_m=pose.y.value,
        speed_m_s=pose.home_sign * pose.along.rate,
        accel_m_s2=pose.home_sign * pose.along.accel,
        heading_deg=np.degrees(pose.heading_from_above()) if measured else nowhere,
        u_x_m=np.sqrt(across * (pose.along.u_value**2 + common[:, 0, 0] + swing * U_HOME_HEADING_RAD**2)),
        u_y_m=np.sqrt(pose.y.u_value**2 + common[:, 1, 1] + swing),
        u_speed_m_s=np.sqrt(pose.along.u_rate**2 + common_rate[:, 0, 0]),
        u_accel_m_s2=pose.along.u_accel,
        u_heading_deg=np.degrees(np.sqrt(pose.heading.u_value**2 + common[:, 2, 2])) if measured else nowhere,
    )
