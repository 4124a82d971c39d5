"""Arms that carry the hitch outwards: how far out, how fast, from the markers that ride on them."""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.motion.machines import Pose
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import smooth_series
from matchvision.records.motion import ArmMotion
from matchvision.records.sheet import Machine
from matchvision.records.tracks import Tracks


def outwards_of(machine: Machine, marker_x_m: float) -> int:
    """Which way along the machine the arm goes out: where the hitch sits, else its marker; -1 is back."""
    hitch = machine.hitch
    x_m = hitch.at_m[0] if hitch is not None and hitch.at_m[0] != 0 else marker_x_m
    return 1 if x_m > 0 else -1


def measure_arm(
    pose: Pose, machine: Machine, tracks: Tracks, sighting: Sighting, real_s: FloatArray
) -> ArmMotion | None:
    """An arm's stroke over time; None where no marker rides on it.

    The arm goes along the machine, at the height that its markers have drawn in. Its markers are seen against the
    smoothed pose of the body, so that what the camera's error does to both falls out.

    Notes
    -----
    Checked by: tests/motion/test_arms.py::test_filmed_arm_goes_out_as_it_did
    """
    columns = [i for i, p in enumerate(tracks.plans) if p.kind == "body" and p.machine == pose.machine and p.on_reach]
    if not columns or machine.reach is None:
        return None
    offsets = np.array([tracks.plans[i].at_m for i in columns])
    outwards = outwards_of(machine, float(offsets[0, 0]))
    n = len(real_s)
    heights = sighting.above(columns, np.broadcast_to(offsets[:, 2], (n, len(columns))))
    placing = sighting.place(columns, heights)
    forward = pose.axes()[0]
    origin, _ = pose.point_of((0.0, 0.0, 0.0))
    away = np.stack([placing.x_m, placing.y_m, placing.z_m], axis=-1) - origin[:, None]
    out = outwards * (np.einsum("nki,ni->nk", away, forward) - offsets[:, 0])
    variance = np.einsum("ni,nkij,nj->nk", forward[:, :2], placing.cov_own, forward[:, :2])
    seen = sighting.seen[:, columns] & np.isfinite(out) & np.isfinite(variance) & (variance > 0)
    weight = np.where(seen, 1.0 / np.where(seen, variance, 1.0), 0.0)
    total = weight.sum(axis=1)
    some = total > 0
    safe = np.where(some, total, 1.0)
    mean = np.where(some, (weight * np.where(seen, out, 0.0)).sum(axis=1) / safe, np.nan)
    u_mean = np.where(some, np.hypot(1 / np.sqrt(safe), pose.along.u_value), np.nan)
    stroke = smooth_series(real_s, mean, u_mean)
    return ArmMotion(
        pose.machine, outwards, stroke.value, stroke.rate, stroke.accel, stroke.u_value, stroke.u_rate, stroke.u_accel
    )
