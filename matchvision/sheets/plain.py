"""What stands in a sheet's plain data, taken carefully: what is not as it should be is left to the checks of form."""

from collections.abc import Iterator, Mapping, Sequence
from math import hypot, isfinite
from typing import Any


def machines_of(data: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Name and block of each machine."""
    machines = block_of(data, "machine")
    for name in machines:
        yield name, block_of(machines, name)


def block_of(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """A block, empty where there is none."""
    block = data.get(key)
    return block if isinstance(block, Mapping) else {}


def array_of(data: Mapping[str, Any], key: str) -> Sequence[Any]:
    """An array, empty where there is none."""
    array = data.get(key)
    return array if isinstance(array, list | tuple) else ()


def number_of(raw: object) -> float | None:
    """A finite number; None for anything else, a whole number too long for a float among it."""
    if not isinstance(raw, int | float) or isinstance(raw, bool):
        return None
    try:
        number = float(raw)
    except OverflowError:
        return None
    return number if isfinite(number) else None


def point_of(raw: object) -> tuple[float, float] | None:
    """The first two numbers of an array; None for anything else."""
    if not isinstance(raw, list | tuple) or len(raw) < 2:
        return None
    first, second = number_of(raw[0]), number_of(raw[1])
    return None if first is None or second is None or not isfinite(hypot(first, second)) else (first, second)
