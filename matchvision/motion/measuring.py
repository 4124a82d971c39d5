"""The motion stage: from pixels and cameras to everything that moved."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from os import cpu_count

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.placing import Placing
from matchvision.motion.arms import measure_arm
from matchvision.motion.bodies import U_SHEET_HEIGHT_M
from matchvision.motion.handset import HandEnds, join_hand_ends
from matchvision.motion.lifting import leave_off_ground, lift_pose
from matchvision.motion.machines import Pose, measure_pose, motion_of
from matchvision.motion.rims import RimPlaces
from matchvision.motion.rope import RopeReading, measure_rope
from matchvision.motion.shutter import allow_for_readout
from matchvision.motion.sighting import Sighting, sight_markers, spread_from_camera
from matchvision.motion.telling import describe_motion
from matchvision.motion.tilting import find_tilt
from matchvision.motion.wheels import WheelReading, allow_for_trembling, measure_wheel
from matchvision.records.camera import Cameras
from matchvision.records.footage import RowTiming
from matchvision.records.motion import ArmMotion, MachineMotion, Motion, Places
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run, RunSheet
from matchvision.records.tracks import Tracks


def measure_motion(
    run: Run, tracks: Tracks, cameras: Cameras, real_per_clip_ratio: float = 1.0, rows: RowTiming | None = None
) -> tuple[Motion, StageNote]:
    """Places, machines' motion, wheels and rope, each with its uncertainty.

    Parameters
    ----------
    real_per_clip_ratio : float
        Real seconds in a second of the clip; below 1 for slow motion.
    rows : RowTiming, optional
        How a rolling shutter read the pictures; left out, as the sheet says, and at once where it says nothing.

    Raises
    ------
    CannotMeasure
        Where there are fewer than three frames.

    Notes
    -----
    Order: markers on machines give poses; poses give wheel faces and hitches; hitches give the rope's height; only then
    are rope and rim marks placed.
    Checked by: tests/motion/test_measuring.py::test_sample_clips_within_limits
    """
    sheet = run.sheet
    if len(tracks.frame) < 3:
        raise CannotMeasure(
            f"the clip has {len(tracks.frame)} frames, and motion needs at least three", do="film the whole match"
        )
    real_s = tracks.clip_s * real_per_clip_ratio
    rows = rows if rows is not None else RowTiming(sheet.camera.readout_s or 0.0, 0.0, source="given in the sheet")
    sighting = sight_markers(tracks, cameras, real_s, sheet.table.profile_m, rows)
    tracks, hand_ends = join_hand_ends(tracks, sighting, real_s)
    with ThreadPoolExecutor(max(1, min(cpu_count() or 1, len(sheet.machine)))) as pool:
        measuring = pool.map(lambda name: measure_machine(name, sheet, tracks, sighting, real_s), sheet.machine)
        measured = [machine for machine in measuring if machine is not None]
    poses = {machine.pose.machine: machine.pose for machine in measured}
    readings = [reading for machine in measured for reading in machine.wheels]
    wheels = tuple(reading.motion for reading in readings)
    arms = tuple(machine.arm for machine in measured if machine.arm is not None)
    rope = None
    if sheet.rope is not None:
        rope = measure_rope(sheet.rope, sheet.machine, poses, tracks, sighting, real_s, arms, hand_ends)
    motion = Motion(
        frame=tracks.frame,
        clip_s=tracks.clip_s,
        real_s=real_s,
        tracks=tracks,
        places=place_markers(tracks, sighting, poses, rope, [reading.rim for reading in readings], hand_ends),
        machines={machine.pose.machine: allow_for_trembling(machine.moved, wheels) for machine in measured},
        wheels=wheels,
        rope=None if rope is None else rope.motion,
        arms=arms,
    )
    motion = allow_for_readout(motion, rows, cameras.width_px, cameras.height_px)
    markers_used = {machine.pose.machine: machine.markers for machine in measured}
    return motion, describe_motion(sheet, motion, poses, markers_used, rope, readings)


@dataclass(frozen=True, eq=False)
class MeasuredMachine:
    """All that a machine's own markers show: ``markers`` of its body were used for its pose."""

    pose: Pose
    markers: int
    moved: MachineMotion
    wheels: tuple[WheelReading, ...]
    arm: ArmMotion | None


def measure_machine(
    name: str, sheet: RunSheet, tracks: Tracks, sighting: Sighting, real_s: FloatArray
) -> MeasuredMachine | None:
    """A machine's motion, its wheels and its arm; None where none of its markers was seen."""
    machine = sheet.machine[name]
    measured = measure_pose(name, machine, tracks, sighting, real_s)
    if measured is None or not np.isfinite(measured[0].along.value).any():
        return None
    upright, markers = measured
    tilt = find_tilt(upright, machine, tracks, sighting, real_s)
    pose = lift_pose(upright, tilt, machine, tracks, sighting, real_s)
    lever_m = max((float(np.hypot(*p.at_m[:2])) for p in tracks.plans if p.machine == name), default=0.0)
    moved = tilt.noted_in(motion_of(pose, sighting.covariance, real_s, lever_m))
    wheels: list[WheelReading] = []
    for wheel in machine.wheel:
        reading = measure_wheel(pose, wheel, tracks, sighting, real_s, (machine.drive, sheet.forecast.get(name)))
        if reading is not None:
            wheels.append(replace(reading, motion=leave_off_ground(reading.motion, wheel.face_m, tilt)))
    arm = measure_arm(pose, machine, tracks, sighting, real_s)
    return MeasuredMachine(pose, markers, moved, tuple(wheels), arm)


def place_markers(
    tracks: Tracks,
    sighting: Sighting,
    poses: dict[str, Pose],
    rope: RopeReading | None,
    rims: list[RimPlaces],
    hand_ends: HandEnds | None = None,
) -> Places:
    """Every marker's place with pixel noise, height and camera together; NaN where its height is not to be had."""
    n, m = tracks.col_px.shape
    x, y, z, u_x, u_y = (np.full((n, m), np.nan) for _ in range(5))

    def put(columns: list[int], placing: Placing, u_z: FloatArray) -> None:
        x[:, columns], y[:, columns] = placing.x_m, placing.y_m
        z[:, columns] = np.where(np.isfinite(placing.x_m), placing.z_m, np.nan)
        whole = placing.cov_own + placing.cov_camera
        lever = sighting.lever[:, columns]
        u_x[:, columns] = np.sqrt(whole[..., 0, 0] + (lever[..., 0] * u_z) ** 2)
        u_y[:, columns] = np.sqrt(whole[..., 1, 1] + (lever[..., 1] * u_z) ** 2)

    placed = {i for pose in poses.values() for i in pose.bodies.columns}
    loose = [i for i, p in enumerate(tracks.plans) if p.kind == "body" and i not in placed]
    if loose:
        heights = np.broadcast_to(np.array([tracks.plans[i].at_m[2] for i in loose]), (n, len(loose)))
        put(loose, sighting.place(loose, sighting.above(loose, heights)), np.full((n, len(loose)), U_SHEET_HEIGHT_M))
    for bodies in (pose.bodies for pose in poses.values()):
        x[:, bodies.columns], y[:, bodies.columns], z[:, bodies.columns] = np.moveaxis(bodies.place_m, -1, 0)
        u_x[:, bodies.columns], u_y[:, bodies.columns] = np.moveaxis(bodies.u_place_m, -1, 0)
    if rope is not None:
        put(rope.columns, rope.placing, rope.state.u_z_m)
    if hand_ends is not None:
        columns = list(hand_ends.columns)
        x[:, columns], y[:, columns], z[:, columns] = np.moveaxis(hand_ends.place_m, -1, 0)
        by_camera = spread_from_camera(hand_ends.camera_jacobian, sighting.whole_covariance[:, None])
        common = np.diagonal(by_camera, axis1=-2, axis2=-1) + (hand_ends.lever * hand_ends.u_height_m[:, None]) ** 2
        u_x[:, columns], u_y[:, columns] = np.moveaxis(np.sqrt(hand_ends.u_place_m**2 + common), -1, 0)
    for rim in rims:
        point = rim.placing.point_m
        x[:, rim.columns], y[:, rim.columns], z[:, rim.columns] = point[..., 0], point[..., 1], point[..., 2]
        by_camera = rim.camera_jacobian @ sighting.covariance @ np.swapaxes(rim.camera_jacobian, -1, -2)
        own = sighting.own_spread(rim.placing.camera_jacobian)
        whole_3d = rim.placing.cov_own + own + by_camera
        u_x[:, rim.columns] = np.sqrt(whole_3d[..., 0, 0])
        u_y[:, rim.columns] = np.sqrt(whole_3d[..., 1, 1])
    return Places(x, y, z, u_x, u_y)
