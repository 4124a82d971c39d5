"""Numbers that are far too large for what they measure: given in millimetres or grams, most likely."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from matchvision.sheets.form import KeyFault
from matchvision.sheets.lines import Key
from matchvision.sheets.plain import array_of, block_of, machines_of, number_of

#: More than any table, rope, machine or print that these contests know, by a wide margin [m].
LONGEST_TABLE_M, LONGEST_ROPE_M, LARGEST_PART_M, LARGEST_MARK_M = 30.0, 60.0, 5.0, 1.0
#: More than any machine that two people lift on a table [kg], and longer than any run [s].
HEAVIEST_KG, LONGEST_S = 300.0, 3600.0

_ON_TABLE: Final = frozenset({"start", "blocker", "commands"})


def check_units(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Lengths, masses and times that can only be meant in another unit.

    Notes
    -----
    Checked by: tests/sheets/test_units.py::test_a_table_in_millimetres_is_noticed
    """
    table, rope = block_of(data, "table"), block_of(data, "rope")
    for key in ("length_m", "width_m"):
        yield from _refuse(("table", key), table.get(key), LONGEST_TABLE_M, "table")
    yield from _refuse(("rope", "length_m"), rope.get("length_m"), LONGEST_ROPE_M, "rope")
    yield from _refuse(("rope", "bead_radius_m"), rope.get("bead_radius_m"), LARGEST_MARK_M, "bead")
    for number, tag in enumerate(array_of(table, "tag")):
        if isinstance(tag, Mapping):
            yield from _refuse(("table", "tag", number, "side_m"), tag.get("side_m"), LARGEST_PART_M, "print")
    for name, machine in machines_of(data):
        parts = {key: value for key, value in machine.items() if key not in _ON_TABLE}
        yield from _walk(("machine", name), parts)
    seconds = number_of(block_of(data, "clock").get("duration_s"))
    if seconds is not None and seconds > LONGEST_S:
        found = f"{seconds:g} s is more than an hour"
        yield KeyFault(
            ("clock", "duration_s"), found, f"times are in seconds: {seconds:g} ms would be {seconds / 1000:g}"
        )


def _walk(key: Key, block: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Every length and mass of a machine, its wheels and marks included."""
    for name, value in block.items():
        here: Key = (*key, name)
        if isinstance(value, Mapping):
            yield from _walk(here, value)
        elif name.endswith("_m"):
            round_one = name in ("radius_m", "circle_m")
            most_m, what = (LARGEST_MARK_M, "wheel or mark") if round_one else (LARGEST_PART_M, "part of a machine")
            yield from _refuse(here, value, most_m, what)
        elif name == "mass_kg":
            mass = number_of(value)
            if mass is not None and mass > HEAVIEST_KG:
                found = f"{mass:g} kg is more than any machine on a table weighs"
                yield KeyFault(here, found, f"masses are in kilograms: {mass:g} g would be {mass / 1000:g}")
        elif isinstance(value, list | tuple):
            for number, entry in enumerate(value):
                if isinstance(entry, Mapping):
                    yield from _walk((*here, number), entry)


def _refuse(key: Key, raw: object, most_m: float, what: str) -> Iterator[KeyFault]:
    """A length, or the first of several, that is larger than anything of its kind."""
    for value in raw if isinstance(raw, list | tuple) else (raw,):
        length = number_of(value)
        if length is not None and abs(length) > most_m:
            found = f"{length:g} m is more than any {what} measures"
            yield KeyFault(key, found, f"lengths are in metres: {length:g} mm would be {length / 1000:g}")
            return
