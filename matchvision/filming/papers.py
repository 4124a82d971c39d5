"""What a user would know: the run sheet and the link's hang test, written beside the clip."""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from matchvision.filming.ground import GRAVITY_M_S2
from matchvision.filming.lamp import lamp_place_px
from matchvision.filming.parts import Wall
from matchvision.filming.scene import Forecast, Link, Machine, Scene, Stated


def _value(value: object) -> str:
    """A TOML value."""
    if isinstance(value, Stated):
        return f"{{ value = {_value(value.value)}, u = {_value(value.u)} }}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return '"' + str(value).replace("\\", "\\\\").replace('"', '\\"') + '"'


def _table(name: str, entries: dict[str, object]) -> list[str]:
    return ["", name, *(f"{key} = {_value(value)}" for key, value in entries.items())]


def _row(entries: dict[str, object]) -> str:
    return "{ " + ", ".join(f"{key} = {_value(value)}" for key, value in entries.items()) + " }"


def run_sheet(scene: Scene, clip: str = "clip.mp4") -> str:
    """The run sheet as TOML: facts that can be read off the table, weighed, measured or were stated beforehand.

    For a run that is part of a longer ``clip`` it says which part.
    """
    lines = _table("[run]", {"name": scene.name, "kind": scene.kind, "clip": clip})[1:]
    lines += _clock_lines(scene, part=clip != "clip.mp4")
    lines += _place_lines(scene, _colours_used(scene))
    if scene.roped:
        lines += _rope_lines(scene)
    for name, machine in scene.machine.items():
        lines += _machine_lines(name, machine, tuple(wall for wall in scene.wall if wall.owner == name))
    if scene.practice is not None:
        told = {f.name: getattr(scene.practice, f.name) for f in fields(scene.practice)}
        lines += _table("[practice]", {key: value for key, value in told.items() if value is not None})
    lines += _table("[rules]", {"decide": "rope-share", "share_to_win": scene.share_to_win})
    for name, machine in scene.machine.items():
        lines += _forecast_lines(name, machine)
    return "\n".join(lines) + "\n"


def shared_sheet(scenes: Sequence[Scene]) -> str:
    """What all of a season's matches share, as TOML: clock, table, camera, colours, rope and rules of the first scene.

    Colours are those of all scenes; whatever belongs to a team stands in `team_sheet`.
    """
    scene = scenes[0]
    used = set[str]().union(*map(_colours_used, scenes))
    lines = _table("[clock]", {"duration_s": scene.clock.duration_s})[1:]
    lines += _place_lines(scene, used)
    rope = _rope_lines(scene)
    lines += [line for line in rope if not line.startswith("ends = ")]
    lines += _table("[rules]", {"decide": "rope-share", "share_to_win": scene.share_to_win})
    return "\n".join(lines) + "\n"


def team_sheet(name: str, machine: Machine) -> str:
    """A team's own sheet as TOML: its machine and its forecast; its home is for the draw to say."""
    lines = [line for line in _machine_lines(name, machine) if not line.startswith("home = ")]
    return "\n".join([*lines, *_forecast_lines(name, machine)]).lstrip("\n") + "\n"


def _place_lines(scene: Scene, used: set[str]) -> list[str]:
    """Table, tags, camera and colours."""
    lines = _table("[table]", {"length_m": scene.table.length_m, "width_m": scene.table.width_m})
    if scene.table.profile_m:
        lines.append(f"profile_m = {_value(scene.table.profile_m)}")
    for tag in scene.table.tag:
        facts = {"family": "36h11", "id": tag.id, "side_m": tag.side_m, "centre_m": tag.centre_m}
        lines += _table("[[table.tag]]", facts)
    lines += _table("[camera]", {"moves": scene.camera.sway is not None})
    for name, srgb in scene.colour.items():
        if name in used:
            lines += _table(f"[colour.{name}]", {"srgb": srgb})
    return lines


def _clock_lines(scene: Scene, *, part: bool) -> list[str]:
    clock, told = scene.clock, scene.clock.told_by
    facts: dict[str, object] = {"start_s": clock.start_s} if told == "time" else {"start": told}
    if told == "lamp":
        facts["lamp_at_px"] = [round(float(place), 1) for place in lamp_place_px(scene, clock.from_s)]
    if part:
        facts |= {"from_s": clock.from_s, "until_s": scene.last_s}
    return _table("[clock]", facts | {"duration_s": clock.duration_s})


def _colours_used(scene: Scene) -> set[str]:
    used = {colour for _, _, colour in scene.beads()}
    if scene.rope.link is not None:
        used.add(scene.rope.link.colour)
    for machine in scene.machine.values():
        used |= {disc.colour for disc in machine.marker}
        used |= {mark.colour for wheel in machine.wheel for mark in wheel.rim}
    return used


def _rope_lines(scene: Scene) -> list[str]:
    rope = scene.rope
    lines = _table("[rope]", {"length_m": rope.length_m, "ends": rope.ends, "bead_radius_m": rope.bead_radius_m})
    lines.append("beads = [")
    lines += [f"  {_row({'name': name, 'at_m': at_m, 'colour': colour})}," for name, at_m, colour in scene.beads()]
    lines.append("]")
    if rope.link is not None:
        marks = ", ".join(_row({"name": name, "colour": rope.link.colour}) for name in ("link_1", "link_2"))
        lines += ["", "[rope.link]", f"from_m = {_value(rope.link.from_m)}", f"markers = [{marks}]"]
        lines += ['hang_test = "hang.csv"', f"u_reading_m = {_value(rope.link.u_reading_m)}"]
    return lines


def _machine_lines(name: str, machine: Machine, walls: tuple[Wall, ...] = ()) -> list[str]:
    facts: dict[str, object] = {"home": machine.home, "mass_kg": machine.mass_kg, "u_mass_kg": machine.u_mass_kg}
    lines = _table(f"[machine.{name}]", facts)
    if machine.hangs:
        return lines + _table(f"[machine.{name}.load]", {"hangs": True})
    on_arm = {} if machine.arm is None else {"on": "reach"}
    lines.append(f"hitch = {_row({'at_m': machine.hitch_m, **on_arm})}")
    lines.append(f"size_m = {_value(machine.size_m)}")
    if machine.drive is not None:
        lines += [f"wheelbase_m = {_value(machine.wheelbase_m)}", "driven_wheels = 4"]
    if machine.centre_of_mass_m is not None:
        lines.append(f"centre_of_mass_m = {_value(machine.centre_of_mass_m)}")
    for disc in machine.marker:
        lines += _table(f"[[machine.{name}.marker]]", {
            "name": disc.name, "colour": disc.colour, "radius_m": disc.radius_m, "at_m": disc.at_m,
            **({"on": "reach"} if disc.on == "reach" else {}),
        })  # fmt: skip
    for wheel in machine.wheel:
        radius = machine.drive.wheel_radius_m if machine.drive is not None else wheel.face_m[2]
        lines += _table(f"[[machine.{name}.wheel]]", {
            "name": wheel.name, "radius_m": radius, "driven": machine.drive is not None, "face_m": wheel.face_m,
        })  # fmt: skip
        rim = [_row({f.name: getattr(mark, f.name) for f in fields(mark)}) for mark in wheel.rim]
        lines.append(f"rim = [{', '.join(rim)}]")
    if machine.anchor is not None:
        lines += _table(f"[machine.{name}.anchor]", {})
    if machine.brake_stated_N is not None:
        lines += _table(f"[machine.{name}.brake]", {"brake_N": machine.brake_stated_N})
    if machine.arm is not None:
        lines += _table(f"[machine.{name}.reach]", {"stroke_m": machine.arm.stroke_m, "mass_kg": machine.arm.mass_kg})
    for wall in walls:
        lines += _table(f"[machine.{name}.blocker]", {"size_m": wall.size_m, "at_m": wall.at_m})
    if machine.load_grip is not None:
        lines += _table(f"[machine.{name}.load]", {"grip_sliding": machine.load_grip})
    return lines


def _forecast_lines(name: str, machine: Machine) -> list[str]:
    forecast: Forecast | None = machine.forecast
    if forecast is None:
        return []
    stated = {f.name: getattr(forecast, f.name) for f in fields(forecast) if getattr(forecast, f.name) is not None}
    return _table(f"[forecast.{name}]", stated)


def hang_test(link: Link, seed: int) -> str:
    """The link's length under hung masses as somebody reads it off a rule: CSV, mass_kg and length_m."""
    generator = np.random.default_rng([seed, 3])
    rows = ["mass_kg,length_m"]
    for mass in link.hang_masses_kg:
        length = (
            link.rest_m + mass * GRAVITY_M_S2 / link.stiffness_N_per_m + link.u_reading_m * generator.standard_normal()
        )
        rows.append(f"{mass:g},{length:.5f}")
    return "\n".join(rows) + "\n"
