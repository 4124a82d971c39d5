"""From a scene and its run to pictures: the still backdrop, and over it all that moves."""

from collections.abc import Iterator

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.backdrop import irradiance, light_direction, linear_from_srgb
from matchvision.filming.bodies import Stand, build_model, build_wall, draw_model, shadow_outline
from matchvision.filming.camera import Poses, lens_of, project_points
from matchvision.filming.course import Course
from matchvision.filming.ground import axes, shadows_of
from matchvision.filming.hand import FAR_PX, bones_at, draw_hand, hand_reach, hand_shadows
from matchvision.filming.lamp import lit_share, paint_lamp
from matchvision.filming.light import changes, gains
from matchvision.filming.marks import cover, exposure_moments, outlines_in_picture
from matchvision.filming.outlook import Outlook
from matchvision.filming.parts import Wall
from matchvision.filming.places import Places, origins, place_everything, side_angles
from matchvision.filming.scene import Scene
from matchvision.filming.views import Views, poses_of, row_moments

Exposure = tuple[Picture, Picture, tuple[int, int, int, int]]

MARGIN_PX = 10  # beyond an outline: blur and the lens's spread reach so far
FINE = 4  # subpixels a pixel along each side


class Studio:
    """Holds what is needed to draw any picture of one clip."""

    def __init__(self, scene: Scene, course: Course, places: Places, views: Views) -> None:
        self.scene, self.course, self.places = scene, course, places
        self.lens = lens_of(scene.camera)
        self.poses = views.poses
        self.subframes = scene.camera.subframes
        self.ellipses = outlines_in_picture(scene, course, views, places.clip_s)
        # A machine and the rope are each drawn as they are when their middle's row is exposed.
        now = course.at(places.clip_s)
        self.wall_x_m = now.wall_x_m
        self.states, self.machine_poses = {}, {}
        for name in scene.machine:
            moments = self._moments(origins(now.machines[name]))
            self.states[name] = course.at(moments).machines[name]
            self.machine_poses[name] = poses_of(scene, moments)
        middle = places.rope.shape[1] // 2
        moments = self._moments(places.rope[:, middle]) if scene.roped else places.clip_s
        self.hung = place_everything(scene, course, moments) if scene.camera.readout_s else places
        self.rope_poses = poses_of(scene, moments)
        self.colours = {name: linear_from_srgb(value) for name, value in scene.colour.items()}
        self.models = {(name, near): build_model(m, near) for name, m in scene.machine.items() for near in (-1.0, 1.0)}
        self.walls = [build_wall(wall) for wall in scene.wall]
        self.outlook = Outlook(scene, self.lens, places.clip_s)
        self.sharp: tuple[tuple[int, float], Picture, Picture] | None = None
        self.bones = [
            [bone for hand in scene.hand for bone in bones_at(hand, scene.table, float(moment))]
            for moment in exposure_moments(scene, places.clip_s)
        ]

    def _moments(self, middles: Array) -> Array:
        """When the rows of some points, (n, 3), are exposed."""
        seen = project_points(middles[:, None], self.lens, self.poses)[:, 0]
        return row_moments(self.scene.camera, self.places.clip_s, np.nan_to_num(seen[:, 1]))

    def backdrop(self, frame: int) -> tuple[Picture, Picture]:
        """What stands still, in linear light: sharp, and as the lens shows it."""
        moment = float(self.places.clip_s[frame])
        state = (frame if self.outlook.moves else 0, lit_share(self.scene, moment))
        if self.sharp is None or self.sharp[0] != state:
            sharp = self.outlook.seen(frame)
            if self.scene.lamp is not None:
                sharp = sharp.copy()
                paint_lamp(sharp, self.scene, self.scene.lamp, state[1], self.poses.at(frame))
            self.sharp = (state, sharp, self._blur(sharp))
        return self.sharp[1], self.sharp[2]

    def _blur(self, picture: Picture) -> Picture:
        spread = self.scene.camera.blur_px
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), spread), dtype=np.float32) if spread > 0 else picture

    def area(self, frame: int) -> tuple[int, int, int, int]:
        """Left, top, right and bottom, all even, of the part of the picture in which anything moves."""
        lamp = light_direction(self.scene.light)
        points = [self.hung.rope[frame]]
        for name, machine in self.scene.machine.items():
            length, width, height = machine.size_m
            signs = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (0, 1)])
            corners = self._stand(name, frame).to_table(signs * [length / 2 + 0.02, width / 2 + 0.02, height + 0.02])
            points.append(corners)
        points += [hand_reach(bones) for bones in self.bones[self._exposure(frame)]]
        for wall in self.scene.wall:
            signs = np.array([[sx, sy, sz] for sx in (-1, 1) for sy in (-1, 1) for sz in (0, 2)])
            points.append(self._wall_place(wall, frame) + signs * np.array(wall.size_m) / 2)
        every = np.concatenate(points)
        shadows = shadows_of(every, lamp, self.scene.table)
        pixels = project_points(np.concatenate([every, shadows]), self.lens, self.poses.at(frame))
        width, height = self.scene.camera.size_px
        low = np.clip(np.floor(np.nanmin(pixels, axis=0)) - MARGIN_PX - 6, 0, [width, height]).astype(int) // 2 * 2
        high = np.clip(np.ceil(np.nanmax(pixels, axis=0)) + MARGIN_PX + 6, 0, [width, height]).astype(int)
        high = (high + 1) // 2 * 2
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    def draw(self, frame: int) -> tuple[Picture, tuple[int, int, int, int]]:
        """Linear light of the moving area and where it is; the rest of the picture is the backdrop's."""
        area = self.area(frame)
        left, top, right, bottom = area
        picture = self.backdrop(frame)[0][top:bottom, left:right].copy()
        self._shade(picture, left, top, frame, self.rope_poses.at(frame))
        eye = self.poses.at(frame).position[0]
        for wall, model in zip(self.scene.wall, self.walls, strict=True):
            place = Stand(self._wall_place(wall, frame), np.eye(3), (0.0, 0.0))
            draw_model(picture, left, top, model, place, self.scene.light, self.lens, self.poses.at(frame))
        behind: list[str] = []
        before: list[str] = []
        for name in self.scene.machine:
            # The rope lies wholly beyond the plane of the hitch: seen from that side, it is in front.
            in_front = self._stand(name, frame).to_machine(eye)[0] < self.scene.machine[name].hitch_m[0]
            (behind if in_front else before).append(name)
        distance = {n: float(np.hypot(*(eye - self._stand(n, frame).origin)[:2])) for n in self.scene.machine}
        for name in sorted(behind, key=lambda n: -distance[n]):
            self._machine(picture, left, top, name, frame)
        self._rope(picture, left, top, frame, self.rope_poses.at(frame))
        for name in sorted(before, key=lambda n: -distance[n]):
            self._machine(picture, left, top, name, frame)
        draw_hand(picture, left, top, self.bones[self._exposure(frame)], self.lens, self.poses.at(frame))
        return self._blur(picture), area

    def _wall_place(self, wall: Wall, frame: int) -> Array:
        pushed = self.wall_x_m.get(wall.owner)
        return np.array([wall.at_m[0] if pushed is None else pushed[frame], wall.at_m[1], 0.0])

    def _stand(self, name: str, frame: int) -> Stand:
        state = self.states[name]
        left_rad, right_rad = side_angles(self.scene.machine[name], state)
        arm = self.scene.machine[name].arm
        return Stand(
            origins(state)[frame], axes(state.heading_rad[frame], state.tilt_rad[frame]),
            (float(left_rad[frame]), float(right_rad[frame])),
            0.0 if arm is None else float(arm.out_m(self.places.clip_s[frame] - self.scene.clock.start_s)),
        )  # fmt: skip

    def _shade(self, picture: Picture, left: int, top: int, frame: int, pose: Poses) -> None:
        """Soft shadows on the table: of the machines, of the rope, and where bodies come close to the surface."""
        light = self.scene.light
        scale = self._scale_px_per_m(frame, pose)
        rows, cols = picture.shape[:2]

        def fill(outlines: list[Array], blur_m: float) -> Picture:
            mask = np.zeros((rows, cols), np.uint8)
            for outline in outlines:
                pixels = project_points(outline, self.lens, pose) - [left, top]
                if np.isfinite(pixels).all():
                    fine = np.rint(np.clip(pixels, -FAR_PX, FAR_PX) * 16).astype(np.int32)
                    cv2.fillConvexPoly(mask, fine, 255, cv2.LINE_AA, 4)
            return np.asarray(
                cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), max(blur_m * scale, 0.5)), dtype=np.float32
            )

        shadow, contact = [], []
        for name, machine in self.scene.machine.items():
            stand = self._stand(name, frame)
            shadow += shadow_outline(machine, stand, light, self.scene.table)
            length, width, _ = machine.size_m
            corners = np.array(
                [[sx * length * 0.46, sy * width * 0.48, 0] for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
            )
            contact.append(stand.to_table(corners))
        middle = self.bones[frame * self.subframes + self.subframes // 2]
        arm = hand_shadows(middle, light_direction(light), self.scene.table)
        direct = 1 - light.ambient_ratio
        dark = 1 - direct * fill(shadow, 0.6 * light.softness_m)
        dark *= 1 - 0.45 * fill(contact, light.softness_m)
        if arm:
            dark *= 1 - 0.8 * direct * fill(arm, 1.5 * light.softness_m)
        lamp = light_direction(light)
        curve = self.hung.rope[frame]
        line = np.zeros((rows, cols), np.uint8)
        if len(curve):
            ground = shadows_of(curve, lamp, self.scene.table)
            pixels = np.rint((project_points(ground, self.lens, pose) - [left, top]) * 16).astype(np.int32)
            cv2.polylines(line, [pixels], False, 150, 1, cv2.LINE_AA, 4)
        for name, points in self.hung.markers.items():
            if "." not in name:
                spot = shadows_of(points[frame][None], lamp, self.scene.table)
                at = np.rint((project_points(spot, self.lens, pose)[0] - [left, top]) * 16).astype(int)
                radius = self.scene.rope.bead_radius_m * scale
                size = (int(radius * 16), int(radius * 11))
                cv2.ellipse(line, (int(at[0]), int(at[1])), size, 0, 0, 360, 255, -1, cv2.LINE_AA, 4)
        dark *= 1 - 0.8 * direct * cv2.GaussianBlur(line.astype(np.float32) / 255, (0, 0), 1.4)
        picture *= dark[..., None]

    def _scale_px_per_m(self, frame: int, pose: Poses) -> float:
        aim = self.hung.rope[frame, 0] if self.scene.roped else np.zeros(3)
        far = float(np.linalg.norm(pose.position[0] - aim))
        return self.lens.f_px[0] / far

    def _machine(self, picture: Picture, left: int, top: int, name: str, frame: int) -> None:
        machine, stand = self.scene.machine[name], self._stand(name, frame)
        pose = self.machine_poses[name].at(frame)
        eye = pose.position[0]
        near = 1.0 if stand.to_machine(eye)[1] > 0 else -1.0
        model = self.models[name, near]
        draw_model(picture, left, top, model, stand, self.scene.light, self.lens, pose)
        for disc in machine.marker:
            self._flat_mark(picture, left, top, f"{name}.{disc.name}", disc.colour, stand.turn[:, 2], frame)
        for wheel in machine.wheel:
            outward = np.sign(wheel.face_m[1]) * stand.turn[:, 1]
            for mark in wheel.rim:
                face = stand.to_table(np.array([wheel.face_m]))[0]
                if (eye - face) @ outward > 0:
                    self._flat_mark(picture, left, top, f"{name}.{mark.name}", mark.colour, outward, frame)

    def _exposure(self, frame: int) -> slice:
        return slice(frame * self.subframes, (frame + 1) * self.subframes)

    def _flat_mark(
        self, picture: Picture, left: int, top: int, marker: str, colour: str, normal: Array, frame: int
    ) -> None:
        rows, cols, share, _, _ = cover(self.ellipses[marker], self._exposure(frame), _shape(picture), left, top)
        light = (self.colours[colour] * irradiance(self.scene.light, normal)).astype(np.float32)
        window = picture[rows, cols]
        window += share[..., None] * (light - window)

    def _rope(self, picture: Picture, left: int, top: int, frame: int, pose: Poses) -> None:
        """Cord, link and beads."""
        if not self.scene.roped:
            return
        curve = project_points(self.hung.rope[frame], self.lens, pose) - [left, top]
        low = np.maximum(np.floor(curve.min(0)).astype(int) - 8, 0)
        high = np.minimum(np.ceil(curve.max(0)).astype(int) + 8, picture.shape[1::-1])
        if (high <= low).any():
            return
        fine = ((curve - low + 0.5) * FINE - 0.5) * 16
        cord = np.zeros(((high[1] - low[1]) * FINE, (high[0] - low[0]) * FINE, 2), np.uint8)
        points = [np.rint(fine).astype(np.int32)]
        scale = self._scale_px_per_m(frame, pose) * FINE
        cv2.polylines(cord, points, False, (255, 0), max(round(0.0036 * scale), 1), cv2.LINE_8, 4)
        cv2.polylines(cord, [points[0] + [0, 16]], False, (255, 255), max(round(0.0018 * scale), 1), cv2.LINE_8, 4)
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        share = cv2.resize(cord, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        window = picture[low[1] : high[1], low[0] : high[0]]
        bright, dull = (linear_from_srgb(c).astype(np.float32) for c in ("#f1ead8", "#b3aa92"))
        window += share[..., :1] * (bright - window)
        window += share[..., 1:] * (dull - window)
        beads = [(name, colour) for name, _, colour in self.scene.beads()]
        if self.scene.rope.link is not None:
            self._spring(picture, left, top, frame, pose)
            beads += [(name, self.scene.rope.link.colour) for name in ("link_1", "link_2")]
        eye = pose.position[0]
        beads.sort(key=lambda bead: -float(np.linalg.norm(self.hung.markers[bead[0]][frame] - eye)))
        for name, colour in beads:
            self._bead(picture, left, top, name, self.colours[colour], frame)

    def _bead(self, picture: Picture, left: int, top: int, name: str, colour: Array, frame: int) -> None:
        rows, cols, share, across, down = cover(self.ellipses[name], self._exposure(frame), _shape(picture), left, top)
        height = np.sqrt(np.maximum(1 - across**2 - down**2, 0))
        lamp = self.poses.rotation[frame] @ light_direction(self.scene.light)
        lit = np.maximum(across * lamp[0] + down * lamp[1] - height * lamp[2], 0)
        ambient = self.scene.light.ambient_ratio
        light = (0.5 + 0.5 * ambient + 0.5 * (1 - ambient) * lit)[..., None] * colour
        light += 0.2 * np.maximum(lit, 0)[..., None] ** 24
        window = picture[rows, cols]
        window += share[..., None] * (light.astype(np.float32) - window)

    def _spring(self, picture: Picture, left: int, top: int, frame: int, pose: Poses) -> None:
        """The link's coil: a helix of fixed turns, drawn out as the link stretches."""
        a, b = self.hung.markers["link_1"][frame], self.hung.markers["link_2"][frame]
        turns, radius = 9, 0.0055
        t = np.linspace(0, 1, 40 * turns // 2)
        along = (b - a) / np.linalg.norm(b - a)
        side = np.cross(along, [0, 0, 1.0])
        upward = np.cross(side, along)
        angle = 2 * np.pi * turns * t[:, None]
        helix = a + t[:, None] * (b - a) + radius * (np.cos(angle) * side + np.sin(angle) * upward)
        pixels = project_points(helix, self.lens, pose) - [left, top]
        low = np.maximum(np.floor(pixels.min(0)).astype(int) - 3, 0)
        high = np.minimum(np.ceil(pixels.max(0)).astype(int) + 4, picture.shape[1::-1])
        if (high <= low).any():
            return
        coil = np.zeros(((high[1] - low[1]) * FINE, (high[0] - low[0]) * FINE), np.uint8)
        fine = np.rint(((pixels - low + 0.5) * FINE - 0.5) * 16).astype(np.int32)
        cv2.polylines(
            coil, [fine], False, 255, max(round(0.002 * self._scale_px_per_m(frame, pose) * FINE), 1), cv2.LINE_8, 4
        )
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        share = cv2.resize(coil, size, interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255
        window = picture[low[1] : high[1], low[0] : high[0]]
        window += share * (linear_from_srgb("#4b4f55").astype(np.float32) - window)


def _shape(picture: Picture) -> tuple[int, int]:
    return picture.shape[0], picture.shape[1]


def exposures(studio: Studio, frames: int) -> Iterator[Exposure]:
    """Backdrop, moving area and its place for each picture in turn, in the light of its time."""
    known: tuple[Picture, Picture] | None = None
    lit: Picture | None = None
    for frame in range(frames):
        picture, (left, top, right, bottom) = studio.draw(frame)
        backdrop = studio.backdrop(frame)[1]
        if changes(studio.scene):
            gain = gains(studio.scene, float(studio.places.clip_s[frame]))
            if lit is None or known is None or known[0] is not backdrop or not np.array_equal(known[1], gain):
                known, lit = (backdrop, gain), backdrop * gain
            backdrop, picture = lit, picture * gain[top:bottom]
        yield backdrop, picture, (left, top, right, bottom)
