"""The pose of a machine that is lifted at one end or side: its markers no longer stand at their sheet heights."""

from dataclasses import replace

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.motion.bodies import U_SHEET_HEIGHT_M, BodyPlaces
from matchvision.motion.machines import Pose, carried
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import smooth_series
from matchvision.motion.tilting import HEADING, PITCH, ROLL, RigidMarkers, Tilt, X, Y, start_states
from matchvision.records.motion import WheelMotion
from matchvision.records.sheet import Machine
from matchvision.records.tracks import Tracks

#: How closely a machine that is not lifted is held upright [rad].
UPRIGHT_RAD = 1e-5
#: A wheel is off the ground where its end or side is lifted by more than this [rad].
OFF_GROUND_RAD = 0.02


def lift_pose(pose: Pose, tilt: Tilt, machine: Machine, tracks: Tracks, sighting: Sighting, real_s: FloatArray) -> Pose:
    """The pose with the machine tilted where it is lifted; as it was where nothing is.

    Notes
    -----
    Each frame's place and heading are fitted again to the body's markers at the tilt that all markers have shown;
    frames that are not lifted keep what they had. What is unsure about the tilt is unsure about the place as well, and
    where the tilt of a lifted machine is not told, its place is not known.
    Checked by: tests/motion/test_tilting.py::test_lift_of_an_invented_run
    """
    if not tilt.lifted.any():
        return pose
    pitch, roll = tilt.applied()
    body = RigidMarkers(machine, pose.machine, tracks, pose.ground, sighting, kinds=("body",))
    start = start_states(pose, machine, tracks, sighting, body)
    start[:, PITCH], start[:, ROLL] = pitch, roll
    u = np.tile([1.0, 1.0, 10.0, UPRIGHT_RAD, UPRIGHT_RAD], (len(start), 1))
    u[tilt.lifted, PITCH] = np.nan_to_num(tilt.u_pitch[tilt.lifted], nan=UPRIGHT_RAD)
    u[tilt.lifted, ROLL] = np.nan_to_num(tilt.u_roll[tilt.lifted], nan=UPRIGHT_RAD)
    fit = body.fit(start, start, u)
    at = tilt.lifted & np.isfinite(fit.pose).all(axis=1) & np.isfinite(tilt.pitch)
    seen, u_seen, jacobian = pose.seen_m.copy(), pose.u_seen_m.copy(), pose.camera_jacobian.copy()
    spread = np.sqrt(np.einsum("nii->ni", fit.covariance))
    seen[at], u_seen[at] = fit.pose[at][:, [X, Y]], spread[at][:, [X, Y]]
    seen[tilt.lifted & ~at] = np.nan
    u_seen[tilt.lifted & ~at] = np.nan
    jacobian[at] = fit.by_camera[at, :3]
    heading, u_heading = pose.seen_heading_rad.copy(), pose.u_seen_heading_rad.copy()
    heading[tilt.lifted], u_heading[tilt.lifted] = np.nan, np.nan
    near = pose.heading.value[at] + np.angle(np.exp(1j * (fit.pose[at, HEADING] - pose.heading.value[at])))
    heading[at], u_heading[at] = near, spread[at, HEADING]
    lifted = replace(
        pose,
        along=smooth_series(real_s, seen[:, 0], u_seen[:, 0], slow=pose.slow),
        y=smooth_series(real_s, seen[:, 1], u_seen[:, 1]),
        heading=smooth_series(real_s, heading, u_heading) if pose.headed else pose.heading,
        camera_jacobian=carried(jacobian, np.isfinite(seen[:, 0])),
        seen_m=seen,
        u_seen_m=u_seen,
        seen_heading_rad=heading,
        u_seen_heading_rad=u_heading,
        pitch_rad=pitch,
        roll_rad=roll,
        contact=body.contact,
    )
    return replace(lifted, bodies=_place_lifted(lifted, tilt.lifted, tracks, sighting))


def _place_lifted(pose: Pose, lifted: BoolArray, tracks: Tracks, sighting: Sighting) -> BodyPlaces:
    """The body's markers on the planes of their heights in the tilted machine; others stay where they were."""
    bodies = pose.bodies
    up = pose.axes()[2]
    point = np.stack([pose.point_of(tracks.plans[i].at_m)[0] for i in bodies.columns], axis=1)
    placing = sighting.place_on(bodies.columns, point, up[:, None], np.full(1, U_SHEET_HEIGHT_M))
    whole = placing.cov_own + placing.cov_camera
    u = np.sqrt(np.stack([whole[..., 0, 0], whole[..., 1, 1]], axis=-1))
    at = lifted[:, None, None] & np.isfinite(placing.point_m[..., :1])
    return replace(
        bodies,
        place_m=np.where(at, placing.point_m, bodies.place_m),
        u_place_m=np.where(at, u, bodies.u_place_m),
    )


def leave_off_ground(wheel: WheelMotion, face_m: tuple[float, float, float], tilt: Tilt) -> WheelMotion:
    """A wheel's motion without slip where the wheel does not touch the ground."""
    pitch, roll = tilt.applied()
    up = np.where(face_m[0] > 0, pitch, -pitch) > OFF_GROUND_RAD
    up |= np.where(face_m[1] > 0, roll, -roll) > OFF_GROUND_RAD
    if not up.any():
        return wheel
    return replace(
        wheel,
        slip_speed_m_s=np.where(up, np.nan, wheel.slip_speed_m_s),
        u_slip_speed_m_s=np.where(up, np.nan, wheel.u_slip_speed_m_s),
        slip_ratio=np.where(up, np.nan, wheel.slip_ratio),
        u_slip_ratio=np.where(up, np.nan, wheel.u_slip_ratio),
        slip_courses_m_s=np.where(up, np.nan, wheel.slip_courses_m_s)
        if len(wheel.slip_courses_m_s)
        else wheel.slip_courses_m_s,
    )
