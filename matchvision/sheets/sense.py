"""Faults of sense: what is well formed, but cannot be true of one run, one table and one rope.

The checks work on the sheet's plain data, so that they also speak where other keys are still wrong; what they cannot
read, they leave to the checks of form.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from math import cos, radians, sin
from typing import Any, Final

from matchvision.records.causes import CAUSE_NAMES
from matchvision.sheets.drives import check_drives
from matchvision.sheets.form import KeyFault, ask_meant
from matchvision.sheets.lines import Key
from matchvision.sheets.plain import array_of, block_of, machines_of, number_of, point_of
from matchvision.sheets.units import check_units

#: How far a tag's corner or a start may lie beyond the stated table, for rounding of what people measured [m].
_EDGE_M: Final = 0.002


def check_sense(data: Mapping[str, Any]) -> list[KeyFault]:
    """Everything in a run sheet that contradicts something else in it.

    Parameters
    ----------
    data : mapping
        As read from TOML; it need not be free of faults of form.
    """
    checks: tuple[Callable[[Mapping[str, Any]], Iterator[KeyFault]], ...] = (
        _check_colours, _check_names, _check_references, _check_homes, _check_tags, _check_places,
        _check_beads, _check_link, _check_wheels, _check_bodies, _check_reach, _check_rules, check_drives,
        _check_profile, _check_failures, check_units,
    )  # fmt: skip
    return [fault for check in checks for fault in check(data)]


def _check_failures(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """A failure named beforehand has to be one that can be told apart afterwards."""
    for machine in block_of(data, "forecast"):
        named = block_of(block_of(data, "forecast"), machine).get("failure_named")
        if isinstance(named, str) and named not in CAUSE_NAMES:
            wanted = ask_meant(named, CAUSE_NAMES, "failure")
            yield KeyFault(("forecast", machine, "failure_named"), f'there is no failure "{named}"', wanted)


def _check_colours(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    colours = block_of(data, "colour")
    for key, name in colour_uses(data):
        if name not in colours:
            yield KeyFault(key, f'the colour "{name}" is not defined', ask_meant(name, colours, "colour"))
    looks: dict[str, str] = {}
    for name in colours:
        look = block_of(colours, name).get("srgb")
        if isinstance(look, str) and looks.setdefault(look.lower(), name) != name:
            found = f'it looks the same as "{looks[look.lower()]}"'
            yield KeyFault(("colour", name, "srgb"), found, "two colours that look alike cannot be told apart")


def colour_uses(data: Mapping[str, Any]) -> Iterator[tuple[Key, str]]:
    """Every key that names a marker's colour, and the colour's name."""
    rope = block_of(data, "rope")
    for key, marker in _all_markers(data):
        if isinstance(marker.get("colour"), str):
            yield (*key, "colour"), marker["colour"]
    for number, name in enumerate(array_of(rope, "bead_colours")):
        if isinstance(name, str):
            yield ("rope", "bead_colours", number), name


def _check_names(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Names in the tables must be told apart."""
    seen: dict[str, Key] = {}
    for key, marker in _all_markers(data):
        name = marker.get("name")
        if not isinstance(name, str):
            continue
        shown = f"{key[1]}.{name}" if key[0] == "machine" else name
        if shown in seen:
            yield KeyFault((*key, "name"), f'the name "{shown}" is given twice', "each marker needs its own name")
        seen[shown] = key
    for machine, block in machines_of(data):
        wheels = [block_of({"w": wheel}, "w").get("name") for wheel in array_of(block, "wheel")]
        for number, name in enumerate(wheels):
            if isinstance(name, str) and name in wheels[:number]:
                key = ("machine", machine, "wheel", number, "name")
                yield KeyFault(key, f'the name "{name}" is given twice', "each wheel of a machine needs its own name")


def _check_references(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    machines = block_of(data, "machine")
    ends = array_of(block_of(data, "rope"), "ends")
    for number, name in enumerate(ends):
        if isinstance(name, str) and machines and name not in machines:  # a sheet may do without machines
            wanted = ask_meant(name, machines, "machine")
            yield KeyFault(("rope", "ends", number), f'"{name}" names no machine', wanted)
    if len(ends) == 2 and ends[0] == ends[1] and isinstance(ends[0], str):
        yield KeyFault(("rope", "ends"), f'both ends are hitched to "{ends[0]}"', "two different machines are wanted")
    meant = block_of(data, "practice").get("machine")
    if isinstance(meant, str) and meant not in machines:
        yield KeyFault(("practice", "machine"), f'"{meant}" names no machine', ask_meant(meant, machines, "machine"))
    for name in block_of(data, "forecast"):
        if name not in machines:
            wanted = ask_meant(name, machines, "machine")
            yield KeyFault(("forecast", name), f'a forecast for "{name}", which names no machine', wanted)


def _check_homes(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    machines = dict(machines_of(data))
    ends = [name for name in array_of(block_of(data, "rope"), "ends") if isinstance(name, str) and name in machines]
    pulling = ends if len(ends) == 2 else list(machines) if len(machines) == 2 else []
    if len(pulling) != 2 or pulling[0] == pulling[1]:
        return
    first, second = (machines[name].get("home") for name in pulling)
    if first == second and first in ("-x", "+x"):
        found = f'"{pulling[0]}" and "{pulling[1]}" both have their home at {first}'
        yield KeyFault(("machine", pulling[1], "home"), found, 'one of them must be "-x", the other "+x"')


def _check_tags(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    half = _half_table(data)
    seen: set[tuple[str, int]] = set()
    for number, tag in enumerate(array_of(block_of(data, "table"), "tag")):
        if not isinstance(tag, Mapping):
            continue
        key: Key = ("table", "tag", number)
        family, identity = str(tag.get("family", "36h11")), tag.get("id")
        if isinstance(identity, int):
            if (family, identity) in seen:
                found = f"tag {identity} of family {family} is listed twice"
                yield KeyFault((*key, "id"), found, "each tag on the table needs its own number")
            seen.add((family, identity))
        centre, side = point_of(tag.get("centre_m")), number_of(tag.get("side_m"))
        if half is None or centre is None or side is None:
            continue
        angle = radians(number_of(tag.get("angle_deg")) or 0.0)
        reach = side / 2 * (abs(cos(angle)) + abs(sin(angle)))
        if abs(centre[0]) + reach > half[0] + _EDGE_M or abs(centre[1]) + reach > half[1] + _EDGE_M:
            found = f"the tag reaches beyond the table: centre {_show(centre)}, side {side:g} m"
            yield KeyFault((*key, "centre_m"), found, _table_bounds(half))


def _check_places(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Starts and clicked points lie on the table."""
    half = _half_table(data)
    if half is None:
        return
    places = [
        (("machine", name, "start", "at_m"), block_of(block, "start").get("at_m")) for name, block in machines_of(data)
    ]
    for number, point in enumerate(array_of(block_of(data, "table"), "point")):
        if isinstance(point, Mapping):
            places.append((("table", "point", number, "at_m"), point.get("at_m")))  # type: ignore[arg-type]
    for key, raw in places:
        at = point_of(raw)
        if at is not None and (abs(at[0]) > half[0] + _EDGE_M or abs(at[1]) > half[1] + _EDGE_M):
            yield KeyFault(key, f"{_show(at)} lies beyond the table", _table_bounds(half))


def _check_beads(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    rope = block_of(data, "rope")
    length, radius = number_of(rope.get("length_m")), number_of(rope.get("bead_radius_m")) or 0.009
    beads = [(number, bead) for number, bead in enumerate(array_of(rope, "beads")) if isinstance(bead, Mapping)]
    placed = [(at, number) for number, bead in beads if (at := number_of(bead.get("at_m"))) is not None]
    for at, number in placed:
        if length is not None and at > length:
            key: Key = ("rope", "beads", number, "at_m")
            yield KeyFault(key, f"the bead sits at {at:g} m, beyond the rope's end", f"the rope is {length:g} m long")
    for (first, _), (second, number) in pairwise(sorted(placed)):
        if second - first < 2 * radius * 0.9:
            found = f"{second:g} m is nearer than a bead's width to the bead at {first:g} m"
            yield KeyFault(("rope", "beads", number, "at_m"), found, f"beads are {2 * radius:g} m wide")
    regular = [key for key in ("first_bead_m", "bead_spacing_m", "bead_colours") if rope.get(key)]
    if regular and beads:
        found = f'the beads are listed and "{regular[0]}" is given too'
        yield KeyFault(("rope", regular[0]), found, "either list the beads one by one, or say how they are spaced")
    elif (
        regular
        and len(regular) < 3
        and not (set(regular) == {"bead_spacing_m", "bead_colours"} and "first_bead_m" in rope)
    ):
        wanted = "first_bead_m, bead_spacing_m and bead_colours belong together"
        yield KeyFault(("rope", regular[0]), "the regular beads are only half described", wanted)


def _check_link(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    rope = block_of(data, "rope")
    length, at = number_of(rope.get("length_m")), number_of(block_of(rope, "link").get("from_m"))
    if length is not None and at is not None and at >= length:
        found = f"the link sits at {at:g} m, beyond the rope's end"
        yield KeyFault(("rope", "link", "from_m"), found, f"the rope is {length:g} m long")


def _check_wheels(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    for machine, block in machines_of(data):
        for number, wheel in enumerate(array_of(block, "wheel")):
            if not isinstance(wheel, Mapping):
                continue
            radius = number_of(wheel.get("radius_m"))
            for place, mark in enumerate(array_of(wheel, "rim")):
                circle = number_of(mark.get("circle_m")) if isinstance(mark, Mapping) else None
                if radius is not None and circle is not None and circle > radius:
                    key: Key = ("machine", machine, "wheel", number, "rim", place, "circle_m")
                    found = f"the rim mark sits {circle:g} m from the axle, outside the wheel"
                    yield KeyFault(key, found, f"the wheel's radius is {radius:g} m")


def _check_bodies(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Further bodies are parts of a machine, whose first body is the rest."""
    for machine, block in machines_of(data):
        bodies = [body for body in array_of(block, "body") if isinstance(body, Mapping)]
        if not bodies:
            continue
        for key in ("mass_kg", "size_m"):
            if key not in block:
                wanted = f"a machine of several bodies states the whole mass, and the size of the first: {key}"
                yield KeyFault(("machine", machine, key), "this key is missing", wanted)
        whole, others = number_of(block.get("mass_kg")), sum(number_of(body.get("mass_kg")) or 0.0 for body in bodies)
        if whole is not None and others >= whole:
            found = f"its further bodies weigh {others:g} kg, which leaves nothing of its {whole:g} kg for the first"
            yield KeyFault(("machine", machine, "body"), found, "their masses are parts of the machine's whole mass_kg")


def _check_reach(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    for machine, block in machines_of(data):
        if "reach" in block:
            continue
        riders = [(("machine", machine, "hitch", "on"), block_of(block, "hitch").get("on"))]
        for number, marker in enumerate(array_of(block, "marker")):
            riders.append((("machine", machine, "marker", number, "on"), block_of({"m": marker}, "m").get("on")))  # type: ignore[arg-type]
        for key, on in riders:
            if on == "reach":
                wanted = f"describe the arm in [machine.{machine}.reach], or leave this key out"
                yield KeyFault(key, f'it rides on an arm, but "{machine}" lists none', wanted)


def _check_rules(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    rules = block_of(data, "rules")
    known = {
        f"{k[1]}.{m['name']}" if k[0] == "machine" else str(m["name"]) for k, m in _all_markers(data) if "name" in m
    }
    mark = rules.get("mark")
    if isinstance(mark, str) and mark not in known:
        yield KeyFault(("rules", "mark"), f'"{mark}" names no marker', ask_meant(mark, known, "marker"))
    if rules.get("decide") == "mark-past-line":
        for key in ("mark", "line_m"):
            if key not in rules:
                yield KeyFault(("rules", key), "this key is missing", 'decide = "mark-past-line" needs mark and line_m')


def _check_profile(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    points = [point_of(entry) for entry in array_of(block_of(data, "table"), "profile_m")]
    if len(points) == 1:
        yield KeyFault(("table", "profile_m"), "there is one point", "a height profile needs two points or more")
    for number, (first, second) in enumerate(pairwise(points)):
        if first is not None and second is not None and second[0] <= first[0]:
            found = f"x = {second[0]:g} m does not come after {first[0]:g} m"
            yield KeyFault(("table", "profile_m", number + 1), found, "the points must go from -x to +x")


def _all_markers(data: Mapping[str, Any]) -> Iterator[tuple[Key, Mapping[str, Any]]]:
    """Every bead, link marker, machine marker and rim mark, with its key."""
    rope = block_of(data, "rope")
    lists: list[tuple[Key, Sequence[Any]]] = [
        (("rope", "beads"), array_of(rope, "beads")),
        (("rope", "link", "markers"), array_of(block_of(rope, "link"), "markers")),
    ]
    for name, block in machines_of(data):
        lists.append((("machine", name, "marker"), array_of(block, "marker")))
        for number, wheel in enumerate(array_of(block, "wheel")):
            if isinstance(wheel, Mapping):
                lists.append((("machine", name, "wheel", number, "rim"), array_of(wheel, "rim")))
    for key, entries in lists:
        for number, entry in enumerate(entries):
            if isinstance(entry, Mapping):
                yield (*key, number), entry


def _half_table(data: Mapping[str, Any]) -> tuple[float, float] | None:
    table = block_of(data, "table")
    length, width = number_of(table.get("length_m")), number_of(table.get("width_m"))
    if length is None or width is None or length <= 0 or width <= 0:
        return None
    return length / 2, width / 2


def _table_bounds(half: tuple[float, float]) -> str:
    return f"on this table x goes from {-half[0]:g} to {half[0]:g} m and y from {-half[1]:g} to {half[1]:g} m"


def _show(point: tuple[float, float]) -> str:
    return f"[{point[0]:g}, {point[1]:g}]"
