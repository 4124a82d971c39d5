"""A hand and forearm that reach in over the table: rounded bones, what they hide, and how they look."""

from dataclasses import dataclass

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Flags, Picture
from matchvision.filming.backdrop import linear_from_srgb
from matchvision.filming.camera import Lens, Poses, horizon, project_points
from matchvision.filming.equipment import Hand
from matchvision.filming.ground import shadows_of, surface_m
from matchvision.filming.scene import Scene, Table

GONE_M = -1.0  # withdrawn so far from the table's edge a hand is left out
FINE = 2  # subpixels a pixel along each side
FAR_PX = 2e4  # outlines are cut off here: beyond, the drawing library's whole numbers overflow
CLOTH = "#4b4f57"
ROUND = (
    (1.0, 0.66),
    (0.86, 0.80),
    (0.66, 0.91),
    (0.40, 1.0),
)  # shares of the radius and of the light, outside to middle
# Bones in metres from the middle fingertip: along the arm, across it and upwards for each end; radius; cloth or skin.
BONES = (
    ((-1.30, 0.0, 0.16), (-1.90, 0.0, 0.26), 0.060, True),
    ((-0.85, 0.0, 0.09), (-1.30, 0.0, 0.16), 0.056, True),
    ((-0.40, 0.0, 0.02), (-0.85, 0.0, 0.09), 0.050, True),
    ((-0.20, 0.0, 0.0), (-0.42, 0.0, 0.025), 0.036, False),
    ((-0.165, 0.0, 0.0), (-0.22, 0.0, 0.0), 0.030, False),
    ((-0.100, 0.022, 0.0), (-0.165, 0.016, 0.0), 0.023, False),
    ((-0.095, -0.022, 0.0), (-0.165, -0.016, 0.0), 0.023, False),
    ((-0.085, 0.062, -0.01), (-0.135, 0.035, 0.0), 0.012, False),
    ((-0.016, 0.033, -0.01), (-0.09, 0.030, 0.0), 0.0095, False),
    ((0.0, 0.011, -0.01), (-0.09, 0.011, 0.0), 0.0100, False),
    ((-0.006, -0.011, -0.01), (-0.09, -0.010, 0.0), 0.0100, False),
    ((-0.028, -0.033, -0.01), (-0.09, -0.030, 0.0), 0.0085, False),
)


@dataclass(frozen=True)
class Bone:
    """All points within a radius of a straight line, at one moment."""

    start: Array  # (3,) [m]
    end: Array  # (3,) [m]
    radius_m: float
    colour: str


def bones_at(hand: Hand, table: Table, clip_s: float) -> list[Bone]:
    """The hand at one moment; nothing while it is far away.

    Notes
    -----
    The fingertips' way past the table's edge is reach · sin(π τ) with τ from 0 at ``from_s`` to 1 at ``until_s``;
    before and after that it goes on at the speed it had at the edge.
    """
    share = (clip_s - hand.from_s) / (hand.until_s - hand.from_s)
    outside = max(-share, share - 1)
    past = hand.reach_m * (-np.pi * outside if outside > 0 else np.sin(np.pi * share))
    if past < GONE_M:
        return []
    inward = 1.0 if hand.edge == "-y" else -1.0
    x = hand.from_x_m + (hand.to_x_m - hand.from_x_m) * float(np.clip(share, -0.3, 1.3))
    tip = np.array([x, inward * (past - table.width_m / 2), hand.height_m + float(surface_m(table, np.array([x]))[0])])
    turn = np.array([[0.0, inward, 0.0], [inward, 0.0, 0.0], [0.0, 0.0, 1.0]])
    return [
        Bone(tip + np.array(a) @ turn, tip + np.array(b) @ turn, radius, CLOTH if cloth else hand.colour)
        for a, b, radius, cloth in BONES
    ]


def hidden_by_hands(scene: Scene, points: Array, eye: Array, clip_s: Array) -> Flags:
    """Which rays from points (r, n, 3) to the camera (n, 3) meet a hand at their moments (n,); shape (r, n)."""
    hidden = np.zeros(points.shape[:2], bool)
    for hand in scene.hand:
        every = [bones_at(hand, scene.table, float(moment)) for moment in clip_s]
        present = [k for k, bones in enumerate(every) if bones]
        if not present:
            continue
        rays = points[:, present], np.broadcast_to(eye[present], points[:, present].shape)
        for part, (_, _, radius, _) in enumerate(BONES):
            start, end = (np.array([getattr(every[k][part], side) for k in present]) for side in ("start", "end"))
            hidden[:, present] |= lines_apart(*rays, start, end) < radius
    return hidden


def lines_apart(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Least distance between the straight lines from a to b and from c to d, each (..., 3).

    Notes
    -----
    C. Ericson, Real-Time Collision Detection (2005), 5.1.9: the nearest points of the endless lines, clamped in turn.

    Checked by: tests/filming/test_hand.py::test_distance_between_lines_is_the_least_one
    """
    u, v, w = b - a, d - c, a - c
    uu, vv, uv, uw, vw = ((p * q).sum(axis=-1) for p, q in ((u, u), (v, v), (u, v), (u, w), (v, w)))
    slant = np.maximum(uu * vv - uv * uv, 1e-15)
    s = np.clip((uv * vw - uw * vv) / slant, 0, 1)
    t = np.clip((uv * s + vw) / vv, 0, 1)
    s = np.clip((uv * t - uw) / uu, 0, 1)
    return np.asarray(np.linalg.norm(w + s[..., None] * u - t[..., None] * v, axis=-1))


def hand_reach(bones: list[Bone]) -> Array:
    """Points (k, 3) about the hand, for finding the part of the picture in which it is."""
    box = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)])
    points = [end + bone.radius_m * box for bone in bones for end in (bone.start, bone.end)]
    return np.concatenate(points) if points else np.empty((0, 3))


def hand_shadows(bones: list[Bone], lamp: Array, table: Table) -> list[Array]:
    """Outlines on the surface, (k, 3) each, of the bones' shadows."""
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    outlines = []
    for bone in bones:
        points = np.concatenate([end + bone.radius_m * ring for end in (bone.start, bone.end)])
        ground = shadows_of(points, lamp, table)
        hull = cv2.convexHull(ground[:, :2].astype(np.float32))[:, 0].astype(float)
        outlines.append(np.column_stack([hull, surface_m(table, hull[:, 0])]))
    return outlines


def draw_hand(picture: Picture, left: int, top: int, moments: list[list[Bone]], lens: Lens, pose: Poses) -> None:
    """Draw a hand into a window of linear light, averaged over some moments."""
    rows, cols = picture.shape[:2]
    outlines: list[list[tuple[Array, Array]]] = []
    for bones in moments:
        layers: list[tuple[Array, Array]] = []
        for bone in bones:
            colour = linear_from_srgb(bone.colour)
            for width, light in ROUND:
                layers.append((_outline(bone, width, lens, pose) - [left, top], light * colour))
        outlines.append([layer for layer in layers if np.isfinite(layer[0]).all()])
    every = [points for layers in outlines for points, _ in layers]
    if not every:
        return
    points = np.concatenate(every)
    low = np.maximum(np.floor(points.min(0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(points.max(0)).astype(int) + 2, [cols, rows])
    if (high <= low).any():
        return
    total = np.zeros((*(high - low)[::-1], 4), np.float32)
    for layers in outlines:
        canvas = np.zeros((*((high - low)[::-1] * FINE), 4), np.float32)
        for outline, colour in layers:
            fine = np.rint(((outline - low + 0.5) * FINE - 0.5) * 16).astype(np.int32)
            cv2.fillConvexPoly(canvas, fine, (*colour.tolist(), 1.0), cv2.LINE_8, 4)
        total += cv2.resize(canvas, tuple(int(n) for n in high - low), interpolation=cv2.INTER_AREA)
    total /= len(outlines)
    window = picture[low[1] : high[1], low[0] : high[0]]
    window *= 1 - total[..., 3:]
    window += total[..., :3]


def _outline(bone: Bone, width: float, lens: Lens, pose: Poses) -> Array:
    """Outline of a bone in the picture, (k, 2): what encloses the outlines of the balls at its ends."""
    rims = [horizon(end[None], width * bone.radius_m, pose.position)[0] for end in (bone.start, bone.end)]
    seen = project_points(np.concatenate(rims), lens, pose)
    if not np.isfinite(seen).all():
        return seen
    # Near the camera's own plane pixels lie anywhere; far outside the picture it does not matter where.
    return np.asarray(cv2.convexHull(np.clip(seen, -FAR_PX, FAR_PX).astype(np.float32))[:, 0], dtype=float)
