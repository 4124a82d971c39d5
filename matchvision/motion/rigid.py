"""Where cameras see the markers of a tilted machine, and how that moves with its pose: all frames in one call."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from matchvision.arrays import BoolArray, FloatArray, IntArray
from matchvision.compiling import compile_kept
from matchvision.motion.machines import Contact, tilted_axes
from matchvision.motion.surface import Ground, axes_of

#: Steps for numerical derivatives: along the path [m], and of an angle where the machine changes what it stands on.
STEPS = np.array([1e-5, 1e-4])


@dataclass(frozen=True, eq=False)
class Body:
    """A machine's k markers as one rigid body that stands on a ground.

    Attributes
    ----------
    at_m : (k, 3) float array
        In the machine's frame; of rim marks their wheel's middle.
    circle_m, place_rad : (k,) float arrays
        Radius on which a rim mark goes round, 0 for others, and its angle on it.
    wheel : (k,) int array
        Number of its wheel, −1 for others.
    contact : Contact
    ground : Ground
    """

    at_m: FloatArray
    circle_m: FloatArray
    place_rad: FloatArray
    wheel: IntArray
    contact: Contact
    ground: Ground

    def places(self, state: FloatArray) -> FloatArray:
        """Table places (n, k, 3) for states (n, d), as of `linearise`."""
        along, y, heading, pitch, roll = state[:, :5].T
        x, z, slope = self.ground.stand(along)
        forward, left, up = tilted_axes(heading, slope, pitch, roll)
        _, _, off_ground = axes_of(heading, slope)
        origin = np.stack([x, y, z], axis=-1) + self.contact.origin_height(pitch, roll)[:, None] * off_ground
        point = np.broadcast_to(self.at_m, (len(state), *self.at_m.shape)).copy()
        rims = self.wheel >= 0
        angle = self.place_rad[rims] - state[:, 5 + self.wheel[rims]]
        point[:, rims, 0] += self.circle_m[rims] * np.cos(angle)
        point[:, rims, 2] += self.circle_m[rims] * np.sin(angle)
        axes = np.stack([forward, left, up], axis=-1)
        return np.asarray(origin[:, None] + point @ np.swapaxes(axes, -1, -2))


@dataclass(frozen=True, eq=False)
class Linear:
    """Least squares about states (r, d) of r frames.

    Attributes
    ----------
    normal, right : (r, d, d) and (r, d) float arrays
        Normal matrix and right side of the pixels, weighted.
    design : (r, k, 2, d) float array
        Derivatives of the pixels, 0 where a marker is not seen.
    off : (r, k, 2) float array
        Pixels seen less those of the state [px], 0 where a marker is not seen.
    """

    normal: FloatArray
    right: FloatArray
    design: FloatArray
    off: FloatArray


def linearise(
    body: Body, state: FloatArray, parameters: FloatArray, pixels: FloatArray, u: FloatArray, seen: BoolArray
) -> Linear:
    """Least squares about states: along, y, heading, pitch and roll, then wheels' angles.

    Parameters
    ----------
    state : (r, d) float array
    parameters : (1 or r, 15) float array
        The cameras'.
    pixels, u, seen : (r, k, 2), (r, k, 2) and (r, k) arrays

    Notes
    -----
    On a level table all derivatives but those of the lift are in closed form; a machine that begins to lean stands on
    another edge at once, and there, as along a sloping path, differences are taken.
    Checked by: tests/motion/test_rigid.py::test_derivatives_are_those_of_the_places
    """
    (r, d), k = state.shape, len(body.at_m)
    found = Linear(np.zeros((r, d, d)), np.zeros((r, d)), np.zeros((r, k, 2, d)), np.zeros((r, k, 2)))
    _linearise(
        *(np.ascontiguousarray(part) for part in (state, parameters, pixels, u, seen)),
        body.at_m, body.circle_m, body.place_rad, body.wheel,
        np.array([body.contact.half_length_m, body.contact.half_width_m]),
        body.ground.path_m, body.ground.x_m, body.ground.z_m, body.ground.tilt_rad, STEPS,
        found.normal, found.right, found.design, found.off,
    )  # fmt: skip
    return found


def _rest_on(along: Any, path: Any, x: Any, z: Any, tilt: Any) -> Any:  # noqa: ANN401
    """Origin's x and z and the ground's slope at a travel."""
    if len(path) == 0:
        return along, 0.0, 0.0
    last = len(path) - 1
    held = min(max(along, path[0]), path[last])
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if path[middle] <= held:
            low = middle
        else:
            high = middle
    share = (held - path[low]) / (path[high] - path[low])
    return (
        x[low] + share * (x[high] - x[low]),
        z[low] + share * (z[high] - z[low]),
        tilt[low] + share * (tilt[high] - tilt[low]),
    )


def _lean(state: Any, slope: Any, axes: Any) -> None:  # noqa: ANN401
    """Fill forward, left and up of the upright machine, then those of the tilted one, and its up before it rolls."""
    c, s, level, steep = math.cos(state[2]), math.sin(state[2]), math.cos(slope), math.sin(slope)
    axes[0, 0], axes[0, 1], axes[0, 2] = c * level, s, c * steep
    axes[1, 0], axes[1, 1], axes[1, 2] = -s * level, c, -s * steep
    axes[2, 0], axes[2, 1], axes[2, 2] = -steep, 0.0, level
    cp, sp, cr, sr = math.cos(state[3]), math.sin(state[3]), math.cos(state[4]), math.sin(state[4])
    for i in range(3):
        axes[3, i] = cp * axes[0, i] + sp * axes[2, i]
        axes[6, i] = cp * axes[2, i] - sp * axes[0, i]
        axes[4, i] = cr * axes[1, i] + sr * axes[6, i]
        axes[5, i] = cr * axes[6, i] - sr * axes[1, i]


_rest: Callable[..., Any] = compile_kept(_rest_on)
_axes: Callable[..., Any] = compile_kept(_lean)


def _linearise_loops(
    state: Any, parameters: Any, pixels: Any, u: Any, seen: Any, at: Any, circle: Any, place_rad: Any,  # noqa: ANN401
    wheel: Any, contact: Any, path: Any, ground_x: Any, ground_z: Any, tilt: Any, steps: Any,  # noqa: ANN401
    normal: Any, right: Any, design: Any, off: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    d, k = state.shape[1], at.shape[0]
    rotation, axes, other = np.empty((3, 3)), np.empty((7, 3)), np.empty((7, 3))
    moves, by_place, beside = np.zeros((d, 3)), np.empty((2, 3)), np.zeros((2, 3))
    for n in range(state.shape[0]):
        camera = parameters[n if parameters.shape[0] > 1 else 0]
        if n == 0 or parameters.shape[0] > 1:
            a, b, c = camera[9], camera[10], camera[11]
            angle = math.sqrt(a * a + b * b + c * c)
            first, second = 1.0, 0.5
            if angle >= 1e-8:
                first, second = math.sin(angle) / angle, (1 - math.cos(angle)) / (angle * angle)
            rotation[0, 0], rotation[0, 1] = 1 - second * (b * b + c * c), second * a * b - first * c
            rotation[0, 2], rotation[1, 0] = second * a * c + first * b, second * a * b + first * c
            rotation[1, 1], rotation[1, 2] = 1 - second * (a * a + c * c), second * b * c - first * a
            rotation[2, 0], rotation[2, 1] = second * a * c - first * b, second * b * c + first * a
            rotation[2, 2] = 1 - second * (a * a + b * b)
        now = state[n]
        x, z, slope = _rest(now[0], path, ground_x, ground_z, tilt)
        _axes(now, slope, axes)
        forward0, left0, up0, forward, left, up, up1 = axes[0], axes[1], axes[2], axes[3], axes[4], axes[5], axes[6]
        lift = abs(math.sin(now[3])) * contact[0] + abs(math.sin(now[4])) * contact[1]
        step = steps[1]
        by_pitch = contact[0] * (abs(math.sin(now[3] + step)) - abs(math.sin(now[3] - step))) / (2 * step)
        by_roll = contact[1] * (abs(math.sin(now[4] + step)) - abs(math.sin(now[4] - step))) / (2 * step)
        sp, cr, sr = math.sin(now[3]), math.cos(now[4]), math.sin(now[4])
        cp = math.cos(now[3])
        for m in range(k):
            if not seen[n, m]:
                continue
            px, py, pz = at[m, 0], at[m, 1], at[m, 2]
            turned_x, turned_z = 0.0, 0.0
            if wheel[m] >= 0:
                angle = place_rad[m] - now[5 + wheel[m]]
                px += circle[m] * math.cos(angle)
                pz += circle[m] * math.sin(angle)
                turned_x, turned_z = circle[m] * math.sin(angle), -circle[m] * math.cos(angle)
            moves[:] = 0.0
            moves[0, 0], moves[1, 1] = 1.0, 1.0
            if len(path) > 0:
                for side in range(2):
                    along = now[0] + (steps[0] if side == 0 else -steps[0])
                    there_x, there_z, there_slope = _rest(along, path, ground_x, ground_z, tilt)
                    _axes(now, there_slope, other)
                    for i in range(3):
                        beside[side, i] = lift * other[2, i] + px * other[3, i] + py * other[4, i] + pz * other[5, i]
                    beside[side, 0] += there_x
                    beside[side, 2] += there_z
                for i in range(3):
                    moves[0, i] = (beside[0, i] - beside[1, i]) / (2 * steps[0])
            for i in range(3):
                moves[2, i] = (
                    px * cp * left0[i] - py * (cr * forward0[i] + sr * sp * left0[i])
                    + pz * (sr * forward0[i] - cr * sp * left0[i])
                )  # fmt: skip
                moves[3, i] = px * up1[i] - (py * sr + pz * cr) * forward[i] + by_pitch * up0[i]
                moves[4, i] = py * up[i] - pz * left[i] + by_roll * up0[i]
                if wheel[m] >= 0:
                    moves[5 + wheel[m], i] = turned_x * forward[i] + turned_z * up[i]
            place_x = x + lift * up0[0] + px * forward[0] + py * left[0] + pz * up[0]
            place_y = now[1] + lift * up0[1] + px * forward[1] + py * left[1] + pz * up[1]
            place_z = z + lift * up0[2] + px * forward[2] + py * left[2] + pz * up[2]
            across = rotation[0, 0] * place_x + rotation[0, 1] * place_y + rotation[0, 2] * place_z + camera[12]
            down = rotation[1, 0] * place_x + rotation[1, 1] * place_y + rotation[1, 2] * place_z + camera[13]
            depth = rotation[2, 0] * place_x + rotation[2, 1] * place_y + rotation[2, 2] * place_z + camera[14]
            if not depth > 1e-9:
                continue
            a, b = across / depth, down / depth
            k1, k2, p1, p2, k3 = camera[4], camera[5], camera[6], camera[7], camera[8]
            r2 = a * a + b * b
            radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
            steep = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))
            off[n, m, 0] = pixels[n, m, 0] - (
                camera[0] * (a * radial + 2 * p1 * a * b + p2 * (r2 + 2 * a * a)) + camera[2]
            )
            off[n, m, 1] = pixels[n, m, 1] - (
                camera[1] * (b * radial + p1 * (r2 + 2 * b * b) + 2 * p2 * a * b) + camera[3]
            )
            xx = camera[0] * (radial + steep * a * a + 2 * p1 * b + 6 * p2 * a) / depth
            xy = (steep * a * b + 2 * p1 * a + 2 * p2 * b) / depth
            yy = camera[1] * (radial + steep * b * b + 6 * p1 * b + 2 * p2 * a) / depth
            for i in range(3):
                rise = a * rotation[2, i]
                fall = b * rotation[2, i]
                by_place[0, i] = xx * (rotation[0, i] - rise) + camera[0] * xy * (rotation[1, i] - fall)
                by_place[1, i] = camera[1] * xy * (rotation[0, i] - rise) + yy * (rotation[1, i] - fall)
            for axis in range(2):
                weight = 1 / (u[n, m, axis] * u[n, m, axis])
                for i in range(d):
                    design[n, m, axis, i] = (
                        by_place[axis, 0] * moves[i, 0] + by_place[axis, 1] * moves[i, 1]
                        + by_place[axis, 2] * moves[i, 2]
                    )  # fmt: skip
                for i in range(d):
                    weighted = weight * design[n, m, axis, i]
                    right[n, i] += weighted * off[n, m, axis]
                    for j in range(d):
                        normal[n, i, j] += weighted * design[n, m, axis, j]


_linearise: Callable[..., Any] = compile_kept(_linearise_loops)
