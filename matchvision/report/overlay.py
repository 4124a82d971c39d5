"""What is drawn into the camera's picture: tracks, names, rope halves, share, pull, slip, events and the clock."""

import math

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import camera_at, project_points
from matchvision.mechanics.match import SLIP_SPEED_M_S
from matchvision.records.results import Analysis
from matchvision.report.canvas import INK, WHITE, Canvas, Colour, Point, measure_words
from matchvision.report.palette import rgb
from matchvision.report.readings import COVERAGE, best_pull, match_times, rope_share, side_name, side_role
from matchvision.report.ribbon import Ribbon
from matchvision.report.wording import event_words
from matchvision.uncertainty import format_quantity

#: Length of a pull's arrow on the table for each newton [m].
ARROW_M_PER_N = 0.01
#: How long a marker's trail is and an event stays in view [s].
TRAIL_S, FLASH_S = 0.8, 1.6
#: Numbers change this often, so that they can be read.
NUMBERS_PER_S = 5.0


class Overlay:
    """Draws one frame after the other; everything that does not change from frame to frame is worked out once."""

    def __init__(self, analysis: Analysis, canvas: Canvas) -> None:
        self.analysis = analysis
        self.t_s = match_times(analysis)
        self.scale = min(analysis.clip.width_px, analysis.clip.height_px) / 720
        tracks = analysis.motion.tracks
        self.measured = tracks.measured
        self.rope_order = sorted(
            (k for k, p in enumerate(tracks.plans) if p.kind in ("bead", "link", "end")),
            key=lambda k: math.inf if math.isnan(tracks.plans[k].arc_m) else tracks.plans[k].arc_m,
        )
        self.colours = {name: rgb(side_role(analysis, name)) for name in analysis.run.sheet.machine}
        rope = analysis.motion.rope
        # In a run without an opponent the rope's share decides nothing.
        self.share = rope_share(rope) if rope is not None and analysis.run.sheet.run.kind == "match" else None
        self.last = int(np.argmin(np.abs(self.t_s - analysis.clock.duration_s)))
        self.pull = best_pull(analysis)
        self.sides = (side_name(analysis, "-x"), side_name(analysis, "+x"))
        self.ribbon = Ribbon(analysis, canvas, self.scale)

    def draw(self, canvas: Canvas, k: int) -> None:
        """Draw frame number ``k`` of the analysis."""
        parameters = camera_at(self.analysis.cameras, int(self.analysis.motion.frame[k])).parameters
        steady = self._steady(k)
        self._centre_line(canvas, parameters)
        self._trails(canvas, k)
        self._rope(canvas, k, parameters)
        self._arrows(canvas, k, parameters)
        self._rings(canvas, k)
        self._names(canvas, k, steady, parameters)
        self._share_bar(canvas, min(steady, self.last))
        self.ribbon.lay(canvas, float(self.t_s[k]))
        self._bottom(canvas, k, steady)
        self._flashes(canvas, k)

    def _steady(self, k: int) -> int:
        """The frame whose numbers are shown: it changes only a few times a second, and at the end of the match.

        Numbers that would name another leader than the picture does are not held: then it is the frame itself.
        """
        end_s = float(self.t_s[self.last])
        at_s = end_s + math.floor((float(self.t_s[k]) - end_s) * NUMBERS_PER_S + 1e-6) / NUMBERS_PER_S
        held = int(np.clip(np.searchsorted(self.t_s, at_s - 1e-9), 0, k))
        same_leader = self.share is None or (self.share[0][held] > 0.5) == (self.share[0][k] > 0.5)
        return held if same_leader else k

    def _centre_line(self, canvas: Canvas, parameters: FloatArray) -> None:
        half = self.analysis.run.sheet.table.width_m / 2
        if self.analysis.run.sheet.table.profile_m:
            return
        across = np.stack([np.zeros(9), np.linspace(-half, half, 9), np.zeros(9)], axis=1)
        canvas.stroke(_points(project_points(parameters, across)), WHITE, 2 * self.scale)

    def _trails(self, canvas: Canvas, k: int) -> None:
        tracks = self.analysis.motion.tracks
        first = int(np.searchsorted(self.t_s, self.t_s[k] - TRAIL_S))
        if k - first < 2:
            return
        step = max(1, (k - first) // 12)
        for m, plan in enumerate(tracks.plans):
            if plan.kind == "body":
                trail = np.stack(
                    [tracks.col_px[first : k + 1 : step, m], tracks.row_px[first : k + 1 : step, m]], axis=1
                )
                canvas.stroke(_points(trail), self.colours.get(plan.machine, WHITE), 2 * self.scale)

    def _rope(self, canvas: Canvas, k: int, parameters: FloatArray) -> None:
        """Each half of the rope in the colour of the side on which it lies; the beads stay visible between."""
        motion = self.analysis.motion
        halves: dict[bool, list[Point]] = {False: [], True: []}
        before: tuple[Point, float] | None = None
        order = [m for m in self.rope_order if math.isfinite(motion.tracks.col_px[k, m])]
        stops = [
            ((float(motion.tracks.col_px[k, m]), float(motion.tracks.row_px[k, m])), float(motion.places.x_m[k, m]))
            for m in order
        ]
        stops = self._with_hitches(stops, k, parameters, order)
        for point, x_m in stops:
            if before is not None and (before[1] < 0) != (x_m < 0):
                part = before[1] / (before[1] - x_m)
                cut = tuple(b + part * (p - b) for b, p in zip(before[0], point, strict=True))
                halves[before[1] >= 0].append((cut[0], cut[1]))
                self._half(canvas, halves[before[1] >= 0], plus=before[1] >= 0)
                halves[before[1] >= 0] = []
                halves[x_m >= 0] = [(cut[0], cut[1])]
            halves[x_m >= 0].append(point)
            before = (point, x_m)
        for plus, line in halves.items():
            self._half(canvas, line, plus=plus)

    def _half(self, canvas: Canvas, line: list[Point], *, plus: bool) -> None:
        canvas.stroke(line, WHITE, 7 * self.scale)
        canvas.stroke(line, rgb("plus" if plus else "minus"), 4.5 * self.scale)

    def _with_hitches(
        self, stops: list[tuple[Point, float]], k: int, parameters: FloatArray, order: list[int]
    ) -> list[tuple[Point, float]]:
        rope = self.analysis.run.sheet.rope
        if rope is None or not stops:
            return stops
        plans, places = self.analysis.motion.tracks.plans, self.analysis.motion.places
        for end, name in enumerate(rope.ends):
            hitch = self._hitch(name, k)
            if hitch is None:
                continue
            near = order[0 if end == 0 else -1]
            arc_m = plans[near].arc_m
            free_m = arc_m if end == 0 else rope.length_m - arc_m
            apart_m = math.hypot(places.x_m[k, near] - hitch[0], places.y_m[k, near] - hitch[1])
            # A rope that has left its hitch no longer reaches it.
            if not apart_m <= 1.15 * free_m + 0.03:
                continue
            col, row = project_points(parameters, hitch)
            stop = ((float(col), float(row)), float(hitch[0]))
            stops = [stop, *stops] if end == 0 else [*stops, stop]
        return stops

    def _hitch(self, name: str, k: int) -> FloatArray | None:
        moved, machine = self.analysis.motion.machines.get(name), self.analysis.run.sheet.machine.get(name)
        if moved is None or machine is None or machine.hitch is None or not math.isfinite(moved.x_m[k]):
            return None
        heading = math.radians(float(np.nan_to_num(moved.heading_deg[k])))
        ahead, left, up = machine.hitch.at_m
        x_m = moved.x_m[k] + ahead * math.cos(heading) - left * math.sin(heading)
        y_m = moved.y_m[k] + ahead * math.sin(heading) + left * math.cos(heading)
        return np.array([x_m, y_m, up])

    def _arrows(self, canvas: Canvas, k: int, parameters: FloatArray) -> None:
        """At each hitch the pull that acts on the machine, beside the rope, to scale on the table."""
        rope, moving = self.analysis.run.sheet.rope, self.analysis.motion.rope
        if self.pull is None or rope is None or moving is None:
            return
        tension_N = float(self.pull.tension_N[k])
        if not tension_N > COVERAGE * float(self.pull.u_tension_N[k]):
            return
        for end, name in enumerate(rope.ends):
            hitch = self._hitch(name, k)
            along = np.array([moving.pull_dir_x[k, end], moving.pull_dir_y[k, end], 0.0])
            if hitch is None or not np.isfinite(along).all():
                continue
            start = hitch + np.array([0.0, -0.09, 0.0])
            ends = project_points(parameters, np.stack([start, start + ARROW_M_PER_N * tension_N * along]))
            if np.isfinite(ends).all():
                tail, tip = _points(ends)
                canvas.arrow(tail, tip, WHITE, 6 * self.scale)

    def _rings(self, canvas: Canvas, k: int) -> None:
        tracks = self.analysis.motion.tracks
        for m, plan in enumerate(tracks.plans):
            col, row = float(tracks.col_px[k, m]), float(tracks.row_px[k, m])
            if not math.isfinite(col):
                continue
            seen = bool(self.measured[k, m])
            radius = (6 if plan.kind in ("bead", "link") else 10) * self.scale
            canvas.ring((col, row), radius, WHITE if seen else INK, 1.6 * self.scale)

    def _names(self, canvas: Canvas, k: int, steady: int, parameters: FloatArray) -> None:
        size = round(27 * self.scale)
        for name, moved in self.analysis.motion.machines.items():
            machine = self.analysis.run.sheet.machine.get(name)
            if machine is None or not math.isfinite(moved.x_m[k]):
                continue
            height = 0.12 if machine.size_m is None else machine.size_m[2]
            col, row = project_points(parameters, np.array([moved.x_m[k], moved.y_m[k], height + 0.06]))
            if not math.isfinite(col):
                continue
            slip = self._slip(name, steady)
            words = f"{name}  {slip}" if slip else name
            wide = measure_words(words, size) + 18 * self.scale
            left = float(np.clip(col - wide / 2, 4, max(4, canvas.width_px - wide - 4)))
            top = float(np.clip(row - 1.5 * size, 62 * self.scale, canvas.height_px - 3 * size))
            canvas.plate(left, top, left + wide, top + 1.35 * size, self.colours[name], 0.9)
            canvas.text(words, left + 9 * self.scale, top + 0.03 * size, size, WHITE)

    def _slip(self, name: str, k: int) -> str:
        wheels = [w for w in self.analysis.motion.wheels if w.machine == name and math.isfinite(w.slip_speed_m_s[k])]
        if not wheels:
            return ""
        worst = max(wheels, key=lambda w: abs(w.slip_speed_m_s[k]))
        speed = float(worst.slip_speed_m_s[k])
        if abs(speed) < max(SLIP_SPEED_M_S, COVERAGE * float(worst.u_slip_speed_m_s[k])):
            return ""
        return f"slip {1000 * speed:.0f} mm/s".replace("-", "−")

    def _share_bar(self, canvas: Canvas, k: int) -> None:
        if self.share is None or not math.isfinite(self.share[0][k]):
            return
        share, size = float(np.clip(self.share[0][k], 0, 1)), round(28 * self.scale)
        deep, edge = 46 * self.scale, canvas.width_px * (1 - share)
        canvas.plate(0, 0, edge, deep, rgb("minus"), 0.92)
        canvas.plate(edge, 0, canvas.width_px, deep, rgb("plus"), 0.92)
        to_win = self.analysis.run.sheet.rules.share_to_win
        for mark in {to_win, 1 - to_win}:
            col = canvas.width_px * mark
            canvas.stroke([(col, 0), (col, deep)], WHITE, 2.5 * self.scale)
        u_text = 100 * COVERAGE * float(self.share[1][k])
        left = f"{self.sides[0]} {100 * (1 - share):.1f} %"
        right = f"{100 * share:.1f} % {self.sides[1]}"
        top = (deep - 1.25 * size) / 2
        canvas.text(left, 12 * self.scale, top, size, WHITE)
        canvas.text(right, canvas.width_px - measure_words(right, size) - 12 * self.scale, top, size, WHITE)
        small = round(19 * self.scale)
        note = f"± {u_text:.1f} %" if u_text >= 0.05 else "± < 0.1 %"
        canvas.plate(edge - 2 * self.scale, 0, edge + 2 * self.scale, deep + 8 * self.scale, WHITE, 1.0)
        wide = measure_words(note, small)
        at = float(np.clip(edge - wide / 2, 4, canvas.width_px - wide - 4))
        canvas.plate(at - 6, deep + 8 * self.scale, at + wide + 6, deep + 8 * self.scale + 1.4 * small, INK, 0.7)
        canvas.text(note, at, deep + 9 * self.scale, small, WHITE)

    def _bottom(self, canvas: Canvas, k: int, steady: int) -> None:
        size = round(38 * self.scale)
        t_s, end_s = float(self.t_s[k]), self.analysis.clock.duration_s
        clock = f"{min(t_s, end_s):.1f} s".replace("-", "−") + (" end" if t_s > end_s + 1e-3 else "")
        floor = canvas.height_px - self.ribbon.height_px
        top, pad = floor - 1.55 * size, 12 * self.scale
        canvas.plate(0, top, measure_words(clock, size) + 2 * pad, floor, INK, 0.75)
        canvas.text(clock, pad, top + 0.1 * size, size, WHITE)
        if self.pull is None or not math.isfinite(self.pull.tension_N[steady]):
            return
        U95 = COVERAGE * float(self.pull.u_tension_N[steady])
        pull = f"pull {format_quantity(float(self.pull.tension_N[steady]), U95, 'N', digits=1)}".replace("-", "−")
        wide = measure_words(pull, size)
        canvas.plate(canvas.width_px - wide - 2 * pad, top, canvas.width_px, floor, INK, 0.75)
        canvas.text(pull, canvas.width_px - wide - pad, top + 0.1 * size, size, WHITE)

    def _flashes(self, canvas: Canvas, k: int) -> None:
        if self.analysis.grip is None:
            return
        size, t_s = round(34 * self.scale), float(self.t_s[k])
        current = [e for e in self.analysis.grip.events if 0 <= t_s - e.start_s < FLASH_S][-2:]
        for row, event in enumerate(reversed(current)):
            words = f"{event.start_s:.2f} s  {event_words(event)}"
            wide = measure_words(words, size)
            left = (canvas.width_px - wide) / 2
            top = canvas.height_px - self.ribbon.height_px - (3.3 + 1.7 * row) * size
            fresh: Colour = INK if t_s - event.start_s > 0.25 else rgb("warn")
            canvas.plate(left - 14 * self.scale, top, left + wide + 14 * self.scale, top + 1.45 * size, fresh, 0.85)
            canvas.text(words, left, top + 0.08 * size, size, WHITE)


def _points(pixels: FloatArray) -> list[Point]:
    return [(float(col), float(row)) for col, row in pixels if math.isfinite(col) and math.isfinite(row)]
