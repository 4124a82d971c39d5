"""A rigid body in the plane from some of its points, frame by frame, and how those points scatter about it."""

import itertools

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.motion.scatter import NO_SLOW_NOISE, split_scatter

#: Places are believed to scatter by at least this share of what is stated, however well a few of them agree.
LEAST_FAST_RATIO = 0.1


def rigid_fit(
    points_m: FloatArray, covariance: FloatArray, offsets_m: FloatArray, prior_rad: FloatArray, u_prior_rad: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pose (n, 3) of a rigid body from k of its points, frame by frame, with its covariance and the points' leverage.

    Parameters
    ----------
    points_m : (n, k, 2) float array
        Seen places; NaN where not seen.
    covariance : (n, k, 2, 2) float array
    offsets_m : (k, 2) float array
        The points in the body's frame.
    prior_rad, u_prior_rad : (n,) float arrays
        Heading beforehand: decides alone where one point is seen, and hardly counts where there are two.

    Returns
    -------
    pose : (n, 3) float array
        x, y [m], heading [rad]; NaN where no point is seen.
    covariance : (n, 3, 3) float array
    leverage : (n, 3, k, 2) float array
        Derivatives of the pose by the points.

    Notes
    -----
    Gauss–Newton on the weighted distances; three turns from the prior bring headings within 30° to rounding error.
    Checked by: tests/motion/test_machines.py::test_pose_of_two_points
    """
    seen = np.asarray(np.isfinite(points_m).all(axis=-1))
    safe = np.where(seen[..., None, None], covariance, np.eye(2))
    weight = np.linalg.inv(safe) * seen[..., None, None]
    points = np.where(seen[..., None], points_m, 0.0)
    count = seen.sum(axis=1)
    heading = np.array(prior_rad, dtype=np.float64)
    n, k = seen.shape
    # With two points or more, the direction between the outermost seen ones is the better start.
    wide = count >= 2
    if wide.any():
        order = np.argsort(np.where(seen, np.arange(k), -1), axis=1)
        last, first = order[:, -1], np.argmax(seen, axis=1)
        rows = np.arange(n)
        there = points[rows, last] - points[rows, first]
        here = offsets_m[last] - offsets_m[first]
        measured = np.arctan2(there[:, 1], there[:, 0]) - np.arctan2(here[:, 1], here[:, 0])
        heading = np.where(wide, prior_rad + np.angle(np.exp(1j * (measured - prior_rad))), heading)
    design = np.zeros((n, k, 2, 3))
    design[..., 0, 0] = design[..., 1, 1] = 1.0
    x, y = offsets_m[:, 0], offsets_m[:, 1]
    for _ in range(4):
        c, s = np.cos(heading)[:, None], np.sin(heading)[:, None]
        turned = np.stack([c * x - s * y, s * x + c * y], axis=-1)
        design[..., 0, 2], design[..., 1, 2] = -s * x - c * y, c * x - s * y
        weighted = np.swapaxes(design, -1, -2) @ weight
        normal = (weighted @ design).sum(axis=1)
        normal[:, 2, 2] += u_prior_rad**-2.0
        none = count == 0
        normal[none] = np.eye(3)
        # Residuals against the turned body at the origin; its place comes out whole, the heading as a correction.
        right = (weighted @ (points - turned)[..., None]).sum(axis=1)[..., 0]
        right[:, 2] += (prior_rad - heading) * u_prior_rad**-2.0
        inverse = np.linalg.inv(normal)
        solution = (inverse @ right[..., None])[..., 0]
        heading = heading + solution[:, 2]
    pose = np.stack([solution[:, 0], solution[:, 1], heading], axis=-1)
    pose[none] = np.nan
    leverage = np.einsum("nij,nkjl->nikl", inverse, weighted)
    inverse[none] = np.nan
    return pose, inverse, leverage


def scatter_of_body(
    points_m: FloatArray, covariance: FloatArray, offsets_m: FloatArray, heading_rad: FloatArray, real_s: FloatArray
) -> tuple[float, float, float]:
    """How much of the stated scatter of a body's points is new in each frame, how much is slow, and its memory [s].

    The distances between the points of a rigid body do not change, so what they do is error. As stated, and nothing
    slow, where too few show.
    """
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    apart = []
    for i, j in itertools.combinations(range(points_m.shape[1]), 2):
        x, y = offsets_m[j] - offsets_m[i]
        length = float(np.hypot(x, y))
        if length > 0:
            unit = np.stack([c * x - s * y, s * x + c * y], axis=-1) / length
            off = np.einsum("ni,ni->n", unit, points_m[:, j] - points_m[:, i]) - length
            stated = np.einsum("ni,nij,nj->n", unit, covariance[:, i] + covariance[:, j], unit)
            apart.append(off / np.sqrt(stated))
    scatter = split_scatter(np.stack(apart, axis=1), real_s) if apart else None
    if scatter is None:
        return 1.0, 0.0, NO_SLOW_NOISE.memory_s
    return max(scatter.u_fast, LEAST_FAST_RATIO), scatter.slow.u, scatter.slow.memory_s
