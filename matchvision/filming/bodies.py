"""Machines drawn as shaded solids of plain polygons, four by four subpixels a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from matchvision.filming.backdrop import irradiance, light_direction, linear_from_srgb
from matchvision.filming.camera import Lens, Poses, project_points
from matchvision.filming.places import machine_points
from matchvision.filming.scene import Light, Machine

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

FINE = 4  # subpixels a pixel along each side
SHIFT = 4  # binary digits of a subpixel that the polygon filler keeps
TURN = np.linspace(0, 2 * np.pi, 40, endpoint=False)


@dataclass(frozen=True)
class Polygon:
    """A flat convex piece in the machine frame, in linear light."""

    corners: Array  # (k, 3) [m]
    colour: Array  # (3,)


@dataclass(frozen=True)
class Stand:
    """A machine at one moment as seen from one place."""

    x_m: float
    y_m: float
    heading_rad: float
    wheel_angle_rad: float

    def to_table(self, points: Array) -> Array:
        """Points (k, 3) of the machine frame in the table frame."""
        pose = (np.array([self.x_m]), np.array([self.y_m]), np.array([self.heading_rad]))
        return np.asarray(machine_points(points, *pose)[0])

    def to_machine(self, point: Array) -> Array:
        """A point (3,) of the table frame in the machine frame."""
        cos, sin = np.cos(self.heading_rad), np.sin(self.heading_rad)
        dx, dy = point[0] - self.x_m, point[1] - self.y_m
        return np.array([cos * dx + sin * dy, cos * dy - sin * dx, point[2]])


def _box_faces(low: Array, high: Array) -> list[tuple[Array, Array]]:
    """Six faces of a box, corners and outward normal each."""
    faces = []
    for axis in range(3):
        for sign, at in ((-1.0, low[axis]), (1.0, high[axis])):
            a, b = (axis + 1) % 3, (axis + 2) % 3
            corners = np.empty((4, 3))
            corners[:, axis] = at
            corners[:, a] = [low[a], high[a], high[a], low[a]]
            corners[:, b] = [low[b], low[b], high[b], high[b]]
            normal = np.zeros(3)
            normal[axis] = sign
            faces.append((corners, normal))
    return faces


class Painter:
    """Collects the polygons of one machine that face the camera, back to front."""

    def __init__(self, stand: Stand, eye: Array, light: Light) -> None:
        self.stand, self.light = stand, light
        self.eye = stand.to_machine(eye)
        cos, sin = np.cos(stand.heading_rad), np.sin(stand.heading_rad)
        self.turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
        self.polygons: list[Polygon] = []

    def flat(self, corners: Array, normal: Array, colour: Array, gain: float = 1.0) -> None:
        """One piece, if it faces the camera."""
        if (self.eye - corners[0]) @ normal > 0:
            self.polygons.append(Polygon(corners, gain * irradiance(self.light, self.turn @ normal) * colour))

    def box(self, low: Array, high: Array, colour: Array, bevel_m: float = 0.0) -> None:
        """A box, with lighter edges about its top where ``bevel_m`` is set."""
        for corners, normal in _box_faces(low, high):
            self.flat(corners, normal, colour)
            if bevel_m and normal[2] > 0:
                middle = corners.mean(0)
                inner = middle + (corners - middle) * (1 - bevel_m / np.maximum(np.abs(corners - middle), 1e-9))
                inner[:, 2] = corners[:, 2]
                self.flat(corners, normal, colour, 1.35)
                self.flat(inner, normal, colour, 1.0)

    def disc(self, centre: Array, radius: float, normal: Array, colour: Array, gain: float = 1.0) -> None:
        """A round piece in a plane across y or z."""
        a, b = (0, 2) if abs(normal[1]) > 0.5 else (0, 1)
        corners = np.repeat(centre[None], len(TURN), 0)
        corners[:, a] += radius * np.cos(TURN)
        corners[:, b] += radius * np.sin(TURN)
        self.flat(corners, normal, colour, gain)

    def wheel(self, centre: Array, radius: float, width: float, angle: float) -> None:
        """A wheel whose outer face's middle is ``centre``; spokes turn with it."""
        out = np.array([0.0, np.sign(centre[1]), 0.0])
        rubber, metal = linear_from_srgb("#202124"), linear_from_srgb("#34373b")
        for k in range(len(TURN)):  # the tread, in narrow strips
            t0, t1 = TURN[k], TURN[k] + TURN[1]
            normal = np.array([np.cos((t0 + t1) / 2), 0.0, np.sin((t0 + t1) / 2)])
            rim = [[np.cos(t0), 0, np.sin(t0)], [np.cos(t1), 0, np.sin(t1)]]
            near = centre + radius * np.array(rim)
            tread = rubber * (1.25 if (k // 2) % 2 else 0.9)
            self.flat(np.array([near[0], near[1], near[1] - width * out, near[0] - width * out]), normal, tread)
        self.disc(centre, radius, out, rubber)
        self.disc(centre, 0.89 * radius, out, rubber, 0.7)
        self.disc(centre, 0.86 * radius, out, metal)
        for spoke in range(5):
            t = 2 * np.pi * spoke / 5 - angle
            along, across = np.array([np.cos(t), 0, np.sin(t)]), np.array([-np.sin(t), 0, np.cos(t)])
            bar = [0.2 * along - 0.06 * across, 0.84 * along - 0.04 * across, 0.84 * along + 0.04 * across, 0.2 * along + 0.06 * across]
            self.flat(centre + radius * np.array(bar), out, metal, 0.62)
        self.disc(centre, 0.2 * radius, out, linear_from_srgb("#8d9196"))
        self.disc(centre, 0.1 * radius, out, linear_from_srgb("#4a4d52"))


def body_polygons(machine: Machine, stand: Stand, eye: Array, light: Light) -> list[Polygon]:
    """Polygons of a machine that face the camera, in the order in which they are drawn."""
    painter = Painter(stand, eye, light)
    length, width, height = machine.size_m
    base = linear_from_srgb(machine.colour)
    hitch = np.array(machine.hitch_m)
    metal = linear_from_srgb("#7b8085")
    rear = np.array([-length / 2 + 0.004, hitch[1], hitch[2]])
    post = [rear + [0, -0.004, -0.004], hitch + [0, -0.003, -0.003], hitch + [0, 0.003, 0.003], rear + [0, 0.004, 0.004]]
    if machine.drive is None:
        painter.box(np.array([-length / 2, -width / 2, 0.0]), np.array([length / 2, width / 2, height]), base, 0.012)
        for x in (-0.32, 0.32):
            for y in (-0.32, 0.32):
                painter.disc(np.array([x * length, y * width, height]), 0.006, np.array([0, 0, 1.0]), metal)
        painter.flat(np.array(post), np.array([0, 0, 1.0]), metal)
        return painter.polygons
    radius, thick = machine.drive.wheel_radius_m, 0.03
    deck = 2 * radius + 0.002
    half = width / 2 - thick - 0.002
    near = float(np.sign(painter.eye[1]))
    for side in (-near, near):
        for x in (-machine.wheelbase_m / 2, machine.wheelbase_m / 2):
            painter.wheel(np.array([x, side * width / 2, radius]), radius, thick, stand.wheel_angle_rad)
        if side == -near:
            low, high = np.array([-length / 2 + 0.012, -half, 0.5 * radius]), np.array([length / 2 - 0.012, half, deck])
            painter.box(low, high, 0.55 * base)
            painter.flat(np.array(post), np.array([0, 0, 1.0]), metal)
    top = width / 2 - 0.024
    painter.box(np.array([-length / 2, -top, deck]), np.array([length / 2, top, height]), base, 0.006)
    up = np.array([0, 0, 1.0])
    stripe = linear_from_srgb("#c9cbc8")
    for y in (-0.62 * top, 0.62 * top):
        bar = [[-0.42 * length, y - 0.003, height], [0.42 * length, y - 0.003, height],
               [0.42 * length, y + 0.003, height], [-0.42 * length, y + 0.003, height]]  # fmt: skip
        painter.flat(np.array(bar), up, stripe, 0.55)
    panel = [[-0.13 * length, -0.4 * top, height], [0.13 * length, -0.4 * top, height],
             [0.13 * length, 0.4 * top, height], [-0.13 * length, 0.4 * top, height]]  # fmt: skip
    painter.flat(np.array(panel), up, base, 0.6)
    for x in (-0.45, 0.45):
        for y in (-0.86, 0.86):
            painter.disc(np.array([x * length, y * top, height]), 0.0045, up, metal)
    return painter.polygons


def draw_polygons(picture: Picture, left: int, top: int, pieces: list[Polygon], stand: Stand, lens: Lens, pose: Poses) -> None:
    """Draw pieces into a window of linear light whose first pixel is (left, top)."""
    if not pieces:
        return
    corners = project_points(stand.to_table(np.concatenate([p.corners for p in pieces])), lens, pose)
    rows, cols = picture.shape[:2]
    low = np.maximum(np.floor(corners.min(0)).astype(int) - 1 - [left, top], 0)
    high = np.minimum(np.ceil(corners.max(0)).astype(int) + 2 - [left, top], [cols, rows])
    if (high <= low).any():
        return
    size = (high - low) * FINE
    # Half floats of the colours would do; 16-bit integers are what the filler and the averaging both handle.
    canvas = np.zeros((size[1], size[0], 4), np.float32)
    fine = ((corners - [left, top] - low + 0.5) * FINE - 0.5) * 2**SHIFT
    fine = np.rint(fine).astype(np.int32)
    start = 0
    for piece in pieces:
        stop = start + len(piece.corners)
        cv2.fillConvexPoly(canvas, fine[start:stop], (*map(float, piece.colour), 1.0), cv2.LINE_8, SHIFT)
        start = stop
    small = cv2.resize(canvas, tuple(int(n) for n in high - low), interpolation=cv2.INTER_AREA)
    window = picture[low[1] : high[1], low[0] : high[0]]
    window *= 1 - small[..., 3:]
    window += small[..., :3]


def shadow_outline(machine: Machine, stand: Stand, light: Light) -> list[Array]:
    """Outlines on the table, (k, 3) each, of the shadows of a machine's parts."""
    length, width, height = machine.size_m
    slope = light_direction(light)[:2] / light_direction(light)[2]
    parts = [(np.array([-length / 2, -width / 2 + 0.024, 0.0]), np.array([length / 2, width / 2 - 0.024, height]))]
    if machine.drive is not None:
        r = machine.drive.wheel_radius_m
        parts = [(parts[0][0] + [0, 0, 0.4 * r], parts[0][1])]
        for x in (-machine.wheelbase_m / 2, machine.wheelbase_m / 2):
            low, high = np.array([x - 0.75 * r, -width / 2, 0.0]), np.array([x + 0.75 * r, width / 2, 1.85 * r])
            parts.append((low, high))
    outlines = []
    for low, high in parts:
        signs = np.array([[sx, sy, sz] for sx in (0, 1) for sy in (0, 1) for sz in (0, 1)])
        points = stand.to_table(low + signs * (high - low))
        ground = points[:, :2] - slope * points[:, 2:]
        hull = cv2.convexHull(ground.astype(np.float32))[:, 0].astype(float)
        outlines.append(np.column_stack([hull, np.zeros(len(hull))]))
    return outlines
