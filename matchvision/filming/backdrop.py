"""What stands still: the table with its tags, the floor, the wall and what lies about, as linear light."""

from collections.abc import Callable

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Flags, Picture
from matchvision.filming.camera import Lens, Poses, project_points, rays_through
from matchvision.filming.equipment import Light
from matchvision.filming.ground import piece_at, pieces_of, surface_m
from matchvision.filming.scene import Scene, Table, Tag

PAPER_CELLS = 1.4  # white paper about a tag's black border, in the tag's cells
WALL_Y_M = 3.7  # where the room ends behind the table


def linear_from_srgb(colour: str) -> Array:
    """Linear light, shape (3,), of a colour written #rrggbb (IEC 61966-2-1)."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def light_direction(light: Light) -> Array:
    """Unit vector towards the lamp."""
    azimuth, elevation = np.deg2rad(light.azimuth_deg), np.deg2rad(light.elevation_deg)
    return np.array([np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)])


def irradiance(light: Light, normal: Array) -> Array:
    """Light on a surface, 1 on a level one; shape of ``normal`` without its last axis."""
    lamp = light_direction(light)
    ambient = light.ambient_ratio * (0.7 + 0.3 * normal[..., 2])
    direct = (1 - light.ambient_ratio) * np.maximum(normal @ lamp, 0) / lamp[2]
    return np.asarray(np.minimum(ambient + direct, 1.25))


def _cloud(generator: np.random.Generator, size: int, scales: tuple[int, ...], weights: tuple[float, ...]) -> Picture:
    """Square patch of smooth noise that repeats without a seam, about zero mean and unit spread."""
    total = np.zeros((size, size), np.float32)
    for scale, weight in zip(scales, weights, strict=True):
        coarse = generator.standard_normal((max(size // scale, 1),) * 2).astype(np.float32)
        around = np.pad(coarse, 2, mode="wrap")
        fine = cv2.resize(around, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
        total += weight * fine[2 * scale : 2 * scale + size, 2 * scale : 2 * scale + size]
    return np.asarray(total / max(float(total.std()), 1e-9), dtype=np.float32)


def _lookup(texture: Picture, u: Picture, v: Picture) -> Picture:
    """Texture values at texture coordinates of any shape, repeating."""
    size = np.float32(texture.shape[0])
    flat = np.zeros((2, (u.size // 1024 + 1) * 1024), np.float32)  # remap takes pictures, not long lists
    flat[0, : u.size], flat[1, : u.size] = np.ravel(u) % size, np.ravel(v) % size
    rows = flat.reshape(2, -1, 1024)
    found = cv2.remap(texture, rows[0], rows[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(found.ravel()[: u.size].reshape(u.shape))


class Backdrop:
    """The still part of a scene, ready to be looked at through any pixel."""

    def __init__(self, scene: Scene, lens: Lens, pose: Poses) -> None:
        self.scene, self.lens, self.pose = scene, lens, pose
        self.eye = pose.position[0].astype(np.float32)
        generator = np.random.default_rng([scene.seed, 2])
        self.grain = _cloud(generator, 512, (1, 2, 4), (1.0, 1.2, 0.8))
        self.stain = _cloud(generator, 512, (32, 64), (1.0, 1.0))
        self.planks = generator.uniform(-1, 1, 997).astype(np.float32)
        self.tags = {tag.id: tag_cells(tag.id) for tag in scene.table.tag}

    def paint(self) -> Picture:
        """The whole picture, shape (rows, columns, 3): two by two rays a pixel, six by six over tags."""
        width, height = self.scene.camera.size_px
        picture = self.window(0, 0, width, height, 2)
        for tag in self.scene.table.tag:
            reach = tag.side_m * (0.5 + (PAPER_CELLS + 0.5) / 8)
            square = np.array([[sx * reach, sy * reach] for sx in (-1, 1) for sy in (-1, 1)])
            corners = tag_points(tag, self.scene.table, square)
            left, top, right, bottom = self._bounds(corners, 2)
            if right > left and bottom > top:
                picture[top:bottom, left:right] = self.window(left, top, right, bottom, 6)
        return picture

    def window(self, left: int, top: int, right: int, bottom: int, rays: int) -> Picture:
        """A part of the picture with rays × rays rays a pixel, averaged."""
        cols = (np.arange((right - left) * rays) + 0.5) / rays - 0.5 + left
        rows = (np.arange((bottom - top) * rays) + 0.5) / rays - 0.5 + top
        colour = self._trace(cols.astype(np.float32), rows.astype(np.float32), rays)
        return np.asarray(cv2.resize(colour, (right - left, bottom - top), interpolation=cv2.INTER_AREA))

    def _bounds(self, points: Array, margin: int) -> tuple[int, int, int, int]:
        width, height = self.scene.camera.size_px
        pixels = project_points(points, self.lens, self.pose)
        if not np.isfinite(pixels).all():
            return 0, 0, width, height
        low, high = np.floor(pixels.min(0)) - margin, np.ceil(pixels.max(0)) + margin + 1
        return (
            int(np.clip(low[0], 0, width)), int(np.clip(low[1], 0, height)),
            int(np.clip(high[0], 0, width)), int(np.clip(high[1], 0, height)),
        )  # fmt: skip

    def _trace(self, cols: Picture, rows: Picture, rays_a_pixel: int) -> Picture:
        col, row = np.meshgrid(cols, rows)
        # Staggered within each pixel, so that an edge along a row of pixels is not rounded to one ray's width.
        step = (np.arange(rays_a_pixel) * (rays_a_pixel - 1) % rays_a_pixel + 0.5) / rays_a_pixel - 0.5
        col += np.tile(step, len(rows) // rays_a_pixel).astype(np.float32)[:, None] / np.float32(rays_a_pixel)
        row += np.tile(step, len(cols) // rays_a_pixel).astype(np.float32)[None] / np.float32(rays_a_pixel)
        rays = rays_through(col, row, self.lens, self.pose.rotation[0].astype(np.float32)).astype(np.float32)
        floor_z = np.float32(-self.scene.table.height_m)
        reach = (floor_z - self.eye[2]) / np.minimum(rays[..., 2], np.float32(-1e-4))
        wall = (np.float32(WALL_Y_M) - self.eye[1]) / np.maximum(rays[..., 1], np.float32(1e-4))
        on_wall = wall < reach
        reach = np.minimum(reach, wall)
        place = self.eye + reach[..., None] * rays
        colour = self._floor(place[..., 0], place[..., 1])
        if on_wall.any():
            colour[on_wall] = self._wall(place[on_wall])
        for corners, trace in self._solids():
            pixels = project_points(corners, self.lens, self.pose)
            low, high = np.nanmin(pixels, axis=0) - 3, np.nanmax(pixels, axis=0) + 3
            c0, c1 = np.searchsorted(cols, [low[0], high[0]])
            r0, r1 = np.searchsorted(rows, [low[1], high[1]])
            if c1 > c0 and r1 > r0:
                window = np.s_[r0:r1, c0:c1]
                trace(rays[window], reach[window], colour[window])
        return colour

    def _floor(self, x: Picture, y: Picture) -> Picture:
        """Wooden boards, darker under the table, lit from the lamp's side."""
        board_m, length_m = np.float32(0.19), np.float32(1.7)
        across = np.floor(y / board_m)
        along = np.floor(x / length_m + across * np.float32(0.37))
        tone = self.planks[(across * 31 + along * 17).astype(np.int32) % len(self.planks)]
        grain = _lookup(self.grain, x * 60 + tone * 200, y * 900)
        seam_y = np.abs(y / board_m - across - np.float32(0.5)) > np.float32(0.487)
        seam_x = np.abs((x / length_m + across * np.float32(0.37)) - along - np.float32(0.5)) > np.float32(0.4985)
        value = (
            1
            + np.float32(0.15) * tone
            + np.float32(0.05) * grain
            + np.float32(0.05) * _lookup(self.stain, x * 60, y * 60)
        )
        value = value * np.where(seam_y | seam_x, np.float32(0.55), np.float32(1))
        table = self.scene.table
        lamp = light_direction(self.scene.light)
        shade = _soft_box(x, y, -lamp[:2] / lamp[2] * table.height_m, table.length_m, table.width_m, 0.0, 0.10)
        value = value * (1 - np.float32(0.62) * shade)
        for thing in self.scene.thing:
            offset = -lamp[:2] / lamp[2] * thing.size_m[2] * 0.5 + np.array(thing.at_m[:2])
            spread = 0.05 + 0.1 * thing.size_m[2]
            turn = np.deg2rad(thing.turn_deg)
            value = value * (
                1 - np.float32(0.5) * _soft_box(x, y, offset, thing.size_m[0], thing.size_m[1], turn, spread)
            )
        return np.asarray(value[..., None] * (0.62 * linear_from_srgb("#8a6f55")).astype(np.float32))

    def _wall(self, place: Array) -> Array:
        """Plaster above a dark skirting board."""
        above = place[..., 2] + np.float32(self.scene.table.height_m)
        plaster = linear_from_srgb("#76807f") * 0.8
        colour = np.where(above[..., None] < 0.12, linear_from_srgb("#3b3530") * 0.7, plaster)
        return np.asarray(colour * (0.8 + 0.2 * np.minimum(above[..., None], 1)), dtype=np.float32)

    def _solids(self) -> list[tuple[Array, Callable[[Picture, Picture, Picture], None]]]:
        """Everything solid that stands still: its corners and how it is traced into a window."""
        table = self.scene.table
        solids = []
        legs = [(sx * (table.length_m / 2 - 0.09), sy * (table.width_m / 2 - 0.09)) for sx in (-1, 1) for sy in (1, -1)]
        boxes: list[tuple[Array, Array, Array, str]] = []
        for (x, y), top in zip(legs, surface_m(table, np.array(legs)[:, 0]) - table.thickness_m, strict=True):
            tall = top + table.height_m
            boxes.append((np.array([x, y, top - tall / 2]), np.array([0.055, 0.055, tall]), np.eye(3), "#2b2d30"))
        for thing in self.scene.thing:
            centre = np.array(thing.at_m) - [0, 0, table.height_m]
            if thing.shape == "ball":
                solids.append(self._ball(centre, thing.size_m[0] / 2, thing.colour))
            else:
                boxes.append((centre, np.array(thing.size_m), _turned(thing.turn_deg), thing.colour))
        solids += [self._box(*box) for box in boxes]
        for piece in pieces_of(table):
            x = (piece.from_m + piece.to_m) / 2
            centre = np.array([x, 0, piece.height_m + piece.slope * x - table.thickness_m / 2])
            slab = np.array([piece.to_m - piece.from_m, table.width_m, table.thickness_m])
            sheared = np.array([[1, 0, 0], [0, 1, 0], [-piece.slope, 0, 1.0]])
            solids.append(self._box(centre, slab, sheared, table.colour, top=self._top))
        return solids

    def _box(
        self,
        centre: Array,
        size: Array,
        local: Array,
        colour: str,
        top: Callable[[Picture, Picture], Picture] | None = None,
    ) -> tuple[Array, Callable[[Picture, Picture, Picture], None]]:
        """A box whose own coordinates are ``local`` @ (point − centre): turned, or sheared to a slope."""
        half = size / 2
        signs = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)])
        corners = (signs * half) @ np.linalg.inv(local).T + centre
        base = linear_from_srgb(colour)

        def trace(rays: Picture, reach: Picture, picture: Picture) -> None:
            into = (rays @ local.T).astype(np.float32)
            start = ((self.eye - centre) @ local.T).astype(np.float32)
            step = np.where(np.abs(into) < 1e-7, np.float32(1e-7), into)
            side = np.sign(step)
            enter = (-side * half.astype(np.float32) - start) / step
            leave = (side * half.astype(np.float32) - start) / step
            axis = enter.argmax(axis=-1)
            first = enter.max(axis=-1)
            hit = (first < leave.min(axis=-1)) & (first > 0) & (first < reach)
            if not hit.any():
                return
            for a in range(3):
                at = hit & (axis == a)
                if not at.any():
                    continue
                normal = -local[a] / np.linalg.norm(local[a]) * float(np.sign(side[at][0, a]))
                on = start + first[at][:, None] * into[at]
                shade = irradiance(self.scene.light, normal)
                if top is not None and a == 2:
                    picture[at] = top(on[:, 0] + np.float32(centre[0]), on[:, 1]) * np.float32(shade)
                else:
                    rough = 1 + 0.03 * _lookup(self.stain, on[:, (a + 1) % 3] * 300, on[:, (a + 2) % 3] * 300)
                    picture[at] = (base * 0.82 * shade * rough[:, None]).astype(np.float32)
            reach[hit] = first[hit]

        return corners, trace

    def _ball(
        self, centre: Array, radius: float, colour: str
    ) -> tuple[Array, Callable[[Picture, Picture, Picture], None]]:
        signs = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)])
        base = linear_from_srgb(colour)

        def trace(rays: Picture, reach: Picture, picture: Picture) -> None:
            away = self.eye - centre.astype(np.float32)
            a = (rays * rays).sum(-1)
            b = rays @ away
            root = b * b - a * (away @ away - radius**2)
            first = (-b - np.sqrt(np.maximum(root, 0))) / a
            hit = (root > 0) & (first < reach)
            normal = (self.eye + first[hit][:, None] * rays[hit] - centre) / radius
            picture[hit] = (base * irradiance(self.scene.light, normal)[:, None]).astype(np.float32)
            reach[hit] = first[hit]

        return signs * radius + centre, trace

    def _top(self, x: Picture, y: Picture) -> Picture:
        """Colour of the table's surface at (x, y), in full light."""
        table = self.scene.table
        fine = _lookup(self.grain, x * 420, y * 420)
        broad = _lookup(self.stain, x * 260, y * 260)
        colour = linear_from_srgb(table.colour) * (1 + 0.045 * fine + 0.035 * broad)[:, None]
        for patch in table.patch:
            inside = (x >= patch.from_m) & (x <= patch.to_m) & (np.abs(y) <= patch.half_width_m)
            rough = _lookup(self.grain, x[inside] * 900, y[inside] * 900)
            colour[inside] = linear_from_srgb(patch.colour) * (1 + 0.25 * rough)[:, None]
        colour[np.abs(x) < 0.006] = linear_from_srgb("#17181a")
        for tag in table.tag:
            u, v = tag_coordinates(tag, x, y, piece_at(table, tag.centre_m[0]).slope)
            paper = (u > -PAPER_CELLS) & (u < 8 + PAPER_CELLS) & (v > -PAPER_CELLS) & (v < 8 + PAPER_CELLS)
            colour[paper] = linear_from_srgb("#eeeeec")
            black = (u >= 0) & (u < 8) & (v >= 0) & (v < 8)
            cells = self.tags[tag.id][v[black].astype(int), u[black].astype(int)]
            colour[black] = np.where(cells[:, None], linear_from_srgb("#eeeeec"), linear_from_srgb("#16171a"))
        return np.asarray(colour, dtype=np.float32)


def tag_cells(tag_id: int) -> Flags:
    """The 8 × 8 cells of a 36h11 tag with its black border, True where white; row 0 is the far (+y) side."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, tag_id, 8, borderBits=1) > 127)


def tag_coordinates(tag: Tag, x: Picture, y: Picture, slope: float = 0.0) -> tuple[Picture, Picture]:
    """Column and row in cells on a tag, 0 to 8 over the black square; columns along the surface to +x, rows along −y.

    ``x`` is horizontal; on a slope a step in x is longer along the surface.
    """
    cell = tag.side_m / 8
    return (x - tag.centre_m[0]) * float(np.hypot(1, slope)) / cell + 4, 4 - (y - tag.centre_m[1]) / cell


def tag_points(tag: Tag, table: Table, along_m: Array) -> Array:
    """Points (k, 3) in the table frame, given (k, 2) from a tag's middle along the surface and across the table."""
    slope = piece_at(table, tag.centre_m[0]).slope
    x = tag.centre_m[0] + along_m[:, 0] / np.hypot(1, slope)
    return np.stack([x, tag.centre_m[1] + along_m[:, 1], surface_m(table, x)], axis=-1)


def _turned(turn_deg: float) -> Array:
    """Own coordinates of a box that is turned about the vertical."""
    cos, sin = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    return np.array([[cos, sin, 0], [-sin, cos, 0], [0, 0, 1]])


def _soft_box(x: Picture, y: Picture, centre: Array, length: float, width: float, turn: float, soft: float) -> Picture:
    """A rectangle with soft edges: 1 inside, 0 outside."""
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    dx, dy = x - np.float32(centre[0]), y - np.float32(centre[1])
    along = (np.float32(length / 2) - np.abs(cos * dx + sin * dy)) / np.float32(soft)
    across = (np.float32(width / 2) - np.abs(cos * dy - sin * dx)) / np.float32(soft)
    return np.asarray(np.clip(along + 0.5, 0, 1) * np.clip(across + 0.5, 0, 1), dtype=np.float32)
