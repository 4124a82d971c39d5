"""Numbers and plans of a drive that cannot be: in a forecast, of one of its sides, or as measured."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import inf
from typing import Any, Final

from matchvision.records.sheet.machine import FROM_STAGES
from matchvision.sheets.form import KeyFault
from matchvision.sheets.lines import Key
from matchvision.sheets.plain import array_of, block_of, machines_of, number_of, point_of

#: Plans of a drive: what their points count by, its unit, and from where to where their values go.
_PLANS: Final[Mapping[str, tuple[str, str, float, float, str]]] = {
    "throttle": ("time", "s", -1.0, 1.0, "shares of full drive lie from -1 (full backwards) to 1 (full forwards)"),
    "holding_over_time": ("time", "s", 0.0, inf, "shares of holding_N are not negative"),
    "holding_by_angle": ("angle", "degrees", 0.0, inf, "shares of holding_N are not negative"),
    "winding": ("time", "s", 0.0, inf, "the rope wound in is not less than none, in metres"),
}
#: Numbers of a drive that something is divided by.
_ABOVE_NOTHING: Final = ("no_load_rev_min", "gear_ratio", "wheel_inertia_kg_m2", "reach_s")
#: Numbers of a drive that cannot be negative, with the highest that they can be.
_NOT_NEGATIVE: Final[Mapping[str, float]] = {
    "stall_torque_Nm": inf, "drive_efficiency": 1.0, "drive_friction_Nm": inf, "supply_sag_ratio": 1.0,
    "grip_static": inf, "grip_sliding": inf, "rolling_resistance": inf, "start_delay_s": inf, "holding_N": inf,
    "brake_N": inf, "release_s": inf,
}  # fmt: skip


def check_drives(data: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Faults of sense in every drive of a run sheet's plain data."""
    drives: list[tuple[Key, Mapping[str, Any]]] = []
    for name in block_of(data, "forecast"):
        forecast = block_of(block_of(data, "forecast"), name)
        drives += [(("forecast", name), forecast)]
        drives += [(("forecast", name, side), block_of(forecast, side)) for side in ("left", "right")]
    drives += [(("machine", name, "drive"), block_of(block, "drive")) for name, block in machines_of(data)]
    for key, drive in drives:
        yield from _check_numbers(key, drive)
        yield from _check_stages(key, drive)
        yield from _check_plans(key, drive)


def _check_numbers(key: Key, drive: Mapping[str, Any]) -> Iterator[KeyFault]:
    for word in drive:
        value = _value(drive, word)
        if value is None:
            continue
        if word in _ABOVE_NOTHING and value <= 0:
            yield KeyFault((*key, word), f"found {value:g}", "more than 0 is wanted")
        elif word in _NOT_NEGATIVE and not 0 <= value <= _NOT_NEGATIVE[word]:
            highest = _NOT_NEGATIVE[word]
            wanted = "0 or more is wanted" if highest == inf else f"a share from 0 to {highest:g} is wanted"
            yield KeyFault((*key, word), f"found {value:g}", wanted)
    static, sliding = (_value(drive, f"grip_{word}") for word in ("static", "sliding"))
    if static is not None and sliding is not None and sliding > static:
        found = f"found {sliding:g}, more than grip_static ({static:g})"
        yield KeyFault((*key, "grip_sliding"), found, "what slides grips no better than what stands; exchange them")


def _check_stages(key: Key, drive: Mapping[str, Any]) -> Iterator[KeyFault]:
    """Stages and totals are stated once: either the one or the other."""
    stages = [(number, stage) for number, stage in enumerate(array_of(drive, "stage")) if isinstance(stage, Mapping)]
    for number, stage in stages:
        ratio, efficiency = _value(stage, "ratio"), _value(stage, "efficiency")
        if ratio is not None and ratio <= 0:
            yield KeyFault((*key, "stage", number, "ratio"), f"found {ratio:g}", "more than 0 is wanted")
        if efficiency is not None and not 0 <= efficiency <= 1:
            wanted = "a share from 0 to 1 is wanted"
            yield KeyFault((*key, "stage", number, "efficiency"), f"found {efficiency:g}", wanted)
    stated = [number for number, stage in stages if "efficiency" in stage]
    for number, stage in stages if stated else ():
        if "efficiency" not in stage:
            wanted = "every stage states its efficiency, or none does and drive_efficiency stands for all together"
            yield KeyFault((*key, "stage", number, "efficiency"), "this key is missing", wanted)
    for total, own in FROM_STAGES.items():
        if total in drive and any(own in stage for _, stage in stages):
            count = f"{len(stages)} stage{'s' * (len(stages) != 1)}"
            found = f"it is stated beside {count} with {'an' if own[0] in 'aeiou' else 'a'} {own} of their own"
            yield KeyFault((*key, total), found, f"leave {total} out: the product over the stages is used")


def _value(drive: Mapping[str, Any], word: str) -> float | None:
    raw = drive.get(word)
    return number_of(raw.get("value")) if isinstance(raw, Mapping) else number_of(raw)


def _check_plans(key: Key, drive: Mapping[str, Any]) -> Iterator[KeyFault]:
    for word, (noun, unit, lowest, highest, wanted) in _PLANS.items():
        points = [point_of(entry) for entry in array_of(drive, word)]
        for number, (first, second) in enumerate(pairwise(points)):
            if first is not None and second is not None and second[0] <= first[0]:
                found = f"the {noun} {second[0]:g} {unit} does not come after {first[0]:g} {unit}"
                yield KeyFault((*key, word, number + 1), found, f"{noun}s in a {word} plan must increase")
        for number, point in enumerate(points):
            if point is not None and not lowest <= point[1] <= highest:
                yield KeyFault((*key, word, number, 1), f"a value of {point[1]:g}", wanted)
