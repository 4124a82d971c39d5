"""Machines drawn as shaded solids of plain polygons, four by four subpixels a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.backdrop import irradiance, light_direction, linear_from_srgb
from matchvision.filming.camera import Lens, Poses, project_points
from matchvision.filming.equipment import Light
from matchvision.filming.ground import shadows_of, surface_m
from matchvision.filming.parts import Wall
from matchvision.filming.scene import Machine, Table

FINE = 4  # subpixels a pixel along each side
SHIFT = 4  # binary digits of a subpixel that the polygon filler keeps
TURN = np.linspace(0, 2 * np.pi, 40, endpoint=False)  # angles at which a circle's outline is drawn
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Model:
    """A machine as flat convex pieces in its own frame, in the order in which they are drawn.

    ``corners`` holds all corners, a piece's ``counts`` of them from its ``starts`` on; ``hubs`` is NaN except for
    corners that turn about their wheel's middle; ``slides`` marks corners that go out with the arm.
    """

    corners: Array  # (k, 3) [m]
    starts: NDArray[np.int64]  # (pieces,)
    counts: NDArray[np.int64]  # (pieces,)
    normals: Array  # (pieces, 3)
    colours: Array  # (pieces, 3), linear light
    hubs: Array  # (k, 3) [m]
    slides: NDArray[np.bool_]  # (k,)


@dataclass(frozen=True)
class Stand:
    """A machine at one moment as seen from one place."""

    origin: Array  # (3,) [m]
    turn: Array  # (3, 3), table_from_machine
    wheel_angles_rad: tuple[float, float]  # left, right
    out_m: float = 0.0  # of the arm

    def to_table(self, points: Array) -> Array:
        """Points (k, 3) of the machine frame in the table frame."""
        return np.asarray(self.origin + points @ self.turn.T)

    def to_machine(self, point: Array) -> Array:
        """A point (3,) of the table frame in the machine frame."""
        return np.asarray((point - self.origin) @ self.turn)


def _box_faces(low: Array, high: Array) -> list[tuple[Array, Array]]:
    """Six faces of a box, corners and outward normal each."""
    faces: list[tuple[Array, Array]] = []
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


class _Workshop:
    """Builds the pieces of one machine, in the order in which they are drawn; those that face away stay in."""

    def __init__(self) -> None:
        self.corners: list[Array] = []
        self.normals: list[Array] = []
        self.colours: list[Array] = []
        self.hubs: list[Array | None] = []
        self.slides: list[bool] = []
        self.on_arm = False

    def flat(self, corners: Array, normal: Array, colour: Array, hub: Array | None = None) -> None:
        """One flat convex piece; one with a hub turns with its wheel."""
        self.corners.append(corners)
        self.normals.append(normal)
        self.colours.append(colour)
        self.hubs.append(hub)
        self.slides.append(self.on_arm)

    def box(self, low: Array, high: Array, colour: Array, bevel_m: float = 0.0) -> None:
        """A box, with lighter edges about its top where ``bevel_m`` is set."""
        for corners, normal in _box_faces(low, high):
            if bevel_m and normal[2] > 0:
                middle = corners.mean(0)
                inner = middle + (corners - middle) * (1 - bevel_m / np.maximum(np.abs(corners - middle), 1e-9))
                inner[:, 2] = corners[:, 2]
                self.flat(corners, normal, 1.35 * colour)
                self.flat(inner, normal, colour)
            else:
                self.flat(corners, normal, colour)

    def disc(self, centre: Array, radius: float, normal: Array, colour: Array) -> None:
        """A round piece in a plane across y or z."""
        a, b = (0, 2) if abs(normal[1]) > 0.5 else (0, 1)
        corners = np.repeat(centre[None], len(TURN), 0)
        corners[:, a] += radius * np.cos(TURN)
        corners[:, b] += radius * np.sin(TURN)
        self.flat(corners, normal, colour)

    def wheel(self, centre: Array, radius: float, width: float) -> None:
        """A wheel whose outer face's middle is ``centre``."""
        out = np.array([0.0, np.sign(centre[1]), 0.0])
        rubber, metal = linear_from_srgb("#202124"), linear_from_srgb("#34373b")
        for k, angle in enumerate(TURN):  # the tread, in narrow strips
            ends = np.array([angle, angle + TURN[1]])
            near = centre + radius * np.stack([np.cos(ends), 0 * ends, np.sin(ends)], axis=-1)
            normal = np.array([np.cos(ends.mean()), 0.0, np.sin(ends.mean())])
            strip = np.array([near[0], near[1], near[1] - width * out, near[0] - width * out])
            self.flat(strip, normal, rubber * (1.25 if (k // 2) % 2 else 0.9))
        self.disc(centre, radius, out, rubber)
        self.disc(centre, 0.89 * radius, out, 0.7 * rubber)
        self.disc(centre, 0.86 * radius, out, metal)
        for angle in TURN[::8]:
            along, across = np.array([np.cos(angle), 0, np.sin(angle)]), np.array([-np.sin(angle), 0, np.cos(angle)])
            spoke = np.array([0.2 * along - 0.06 * across, 0.84 * along - 0.04 * across,
                              0.84 * along + 0.04 * across, 0.2 * along + 0.06 * across])  # fmt: skip
            self.flat(centre + radius * spoke, out, 0.62 * metal, hub=centre)
        self.disc(centre, 0.2 * radius, out, linear_from_srgb("#8d9196"))
        self.disc(centre, 0.1 * radius, out, linear_from_srgb("#4a4d52"))

    def strip(self, x0: float, x1: float, y0: float, y1: float, z: float, colour: Array) -> None:
        """A level rectangle."""
        self.flat(np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]]), UP, colour)

    def finished(self) -> Model:
        """The machine as arrays."""
        counts = np.array([len(c) for c in self.corners])
        hub = np.array([np.full(3, np.nan) if h is None else h for h in self.hubs])
        return Model(
            np.concatenate(self.corners), np.cumsum(counts) - counts, counts,
            np.array(self.normals), np.array(self.colours), np.repeat(hub, counts, 0), np.repeat(self.slides, counts),
        )  # fmt: skip


def build_model(machine: Machine, near: float) -> Model:
    """Pieces of a machine whose near side, towards the camera, is +y (``near`` = 1) or −y (−1)."""
    shop = _Workshop()
    length, width, height = machine.size_m
    base, metal = linear_from_srgb(machine.colour), linear_from_srgb("#7b8085")
    hitch = np.array(machine.hitch_m)
    rear = np.array([-length / 2 + 0.004, hitch[1], hitch[2]])
    across = np.array([0.0, 0.004, 0.0])
    post = np.array([rear - across, hitch - 0.75 * across, hitch + 0.75 * across, rear + across])
    _put_bar(shop, machine)
    if machine.drive is None:
        shop.box(np.array([-length / 2, -width / 2, 0.0]), np.array([length / 2, width / 2, height]), base, 0.012)
        for x in (-0.42, 0.42):
            for y in (-0.4, 0.4):
                shop.disc(np.array([x * length, y * width, height]), 0.006, UP, metal)
        shop.flat(post, UP, metal)
        _put_plates(shop, machine)
        return shop.finished()
    radius, thick = machine.drive.wheel_radius_m, 0.03
    deck = 2 * radius + 0.002
    half, top = width / 2 - thick - 0.002, width / 2 - 0.024
    for side in (-near, near):
        for x in (-machine.wheelbase_m / 2, machine.wheelbase_m / 2):
            shop.wheel(np.array([x, side * width / 2, radius]), radius, thick)
        if side == -near:
            low, high = np.array([-length / 2 + 0.012, -half, 0.5 * radius]), np.array([length / 2 - 0.012, half, deck])
            shop.box(low, high, 0.55 * base)
            shop.flat(post, UP, metal)
    shop.box(np.array([-length / 2, -top, deck]), np.array([length / 2, top, height]), base, 0.006)
    for y in (-0.62 * top, 0.62 * top):
        shop.strip(-0.42 * length, 0.42 * length, y - 0.003, y + 0.003, height, 0.55 * linear_from_srgb("#c9cbc8"))
    shop.strip(-0.13 * length, 0.13 * length, -0.4 * top, 0.4 * top, height, 0.6 * base)
    for x in (-0.45, 0.45):
        for y in (-0.86, 0.86):
            shop.disc(np.array([x * length, y * top, height]), 0.0045, UP, metal)
    _put_plates(shop, machine)
    return shop.finished()


def _put_bar(shop: _Workshop, machine: Machine) -> None:
    """The arm's bar from its hitch into the body, which hides what is drawn in."""
    if machine.arm is None:
        return
    shop.on_arm = True
    hitch, long_m = np.array(machine.hitch_m), machine.arm.stroke_m + 0.04
    low, high = np.array([0.0, -0.008, -0.012]), np.array([long_m, 0.008, 0.004])
    shop.box(hitch + low, hitch + high, linear_from_srgb("#b08d57"))
    shop.on_arm = False


def _put_plates(shop: _Workshop, machine: Machine) -> None:
    """A plate under each marker that rides on the arm."""
    shop.on_arm = True
    for disc in machine.marker:
        if disc.on == "reach":
            half = np.array([1.3 * disc.radius_m, 1.3 * disc.radius_m, 0.0])
            place = np.array(disc.at_m)
            shop.box(place - half - np.array([0.0, 0.0, 0.006]), place + half, linear_from_srgb("#b08d57"))
    shop.on_arm = False


def build_wall(wall: Wall) -> Model:
    """A wall as a box about its own middle on the table."""
    shop = _Workshop()
    length, width, height = wall.size_m
    half = np.array([length / 2, width / 2, 0.0])
    shop.box(-half, half + np.array([0.0, 0.0, height]), linear_from_srgb(wall.colour), 0.004)
    return shop.finished()


def draw_model(
    picture: Picture, left: int, top: int, model: Model, stand: Stand, light: Light, lens: Lens, pose: Poses
) -> None:
    """Draw a machine into a window of linear light whose first pixel is (left, top)."""
    eye = stand.to_machine(pose.position[0])
    first = model.corners[model.starts] - np.where(model.slides[model.starts, None], [stand.out_m, 0.0, 0.0], 0.0)
    facing = ((eye - first) * model.normals).sum(1) > 0
    turn = -np.where(model.hubs[:, 1] > 0, *stand.wheel_angles_rad)
    arm = model.corners - model.hubs
    turned = model.hubs + np.stack(
        [np.cos(turn) * arm[:, 0] - np.sin(turn) * arm[:, 2], arm[:, 1],
         np.sin(turn) * arm[:, 0] + np.cos(turn) * arm[:, 2]], axis=-1,
    )  # fmt: skip
    still = model.corners - np.where(model.slides[:, None], [stand.out_m, 0.0, 0.0], 0.0)
    points = stand.to_table(np.where(np.isnan(turned), still, turned))
    corners = project_points(points, lens, pose)
    rows, cols = picture.shape[:2]
    low = np.maximum(np.floor(corners.min(0)).astype(int) - 1 - [left, top], 0)
    high = np.minimum(np.ceil(corners.max(0)).astype(int) + 2 - [left, top], [cols, rows])
    if (high <= low).any():
        return
    colours = model.colours * irradiance(light, model.normals @ stand.turn.T)[:, None]
    canvas = np.zeros((*((high - low)[::-1] * FINE), 4), np.float32)
    fine = np.rint((((corners - [left, top]) - low + 0.5) * FINE - 0.5) * 2**SHIFT).astype(np.int32)
    for piece in np.flatnonzero(facing):
        outline = fine[model.starts[piece] : model.starts[piece] + model.counts[piece]]
        cv2.fillConvexPoly(canvas, outline, (*colours[piece].tolist(), 1.0), cv2.LINE_8, SHIFT)
    small = cv2.resize(canvas, tuple(int(n) for n in high - low), interpolation=cv2.INTER_AREA)
    window = picture[low[1] : high[1], low[0] : high[0]]
    window *= 1 - small[..., 3:]
    window += small[..., :3]


def shadow_outline(machine: Machine, stand: Stand, light: Light, table: Table) -> list[Array]:
    """Outlines on the table, (k, 3) each, of the shadows of a machine's parts."""
    length, width, height = machine.size_m
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
        ground = shadows_of(stand.to_table(low + signs * (high - low)), light_direction(light), table)
        hull = cv2.convexHull(ground[:, :2].astype(np.float32))[:, 0].astype(float)
        outlines.append(np.column_stack([hull, surface_m(table, hull[:, 0])]))
    return outlines
