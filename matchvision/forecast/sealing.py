"""A fingerprint of what a team calculated, for whoever receives it at the deadline to log."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.records.sheet import Run

#: Hexadecimal digits of a fingerprint.
_DIGITS: Final = 64
#: First line of what is hashed; another canonical form would have another.
_FORM: Final = "matchvision forecast seal 1\n"
#: What the draw or the filming decides, not the forecast: home, start and marks of a machine, its operator's log.
_NOT_SEALED: Final = frozenset({"home", "start", "marker", "commands"})


def seal_forecast(run: Run) -> dict[str, str]:
    """SHA-256 fingerprint, as hexadecimal digits, of each machine's forecast.

    It covers [forecast.X], [machine.X] without home, start, markers and commands, and the numbers of the curve that
    [forecast.X] names; not comments, layout, order of keys or how a number is spelled (2, 2.0 and 2e0 are one).

    Raises
    ------
    CannotMeasure
        Where the sheet holds no forecast.

    Notes
    -----
    JSON with sorted keys, no blanks and the shortest spelling of each binary64 number, in UTF-8, behind one line that
    names the form; SHA-256 of FIPS 180-4.
    Checked by: tests/forecast/test_sealing.py::test_one_changed_digit_changes_the_fingerprint
    """
    if not run.sheet.forecast:
        raise CannotMeasure("no forecast is in the sheet", do="add a block [forecast.X] for each machine X")
    return {
        name: hashlib.sha256((_FORM + canonical_text(run, name)).encode("utf-8")).hexdigest()
        for name in sorted(run.sheet.forecast)
    }


def canonical_text(run: Run, name: str) -> str:
    """What the fingerprint of machine ``name`` is taken of, without its first line."""
    content: dict[str, Any] = {"name": name}
    content["forecast"] = run.sheet.forecast[name].model_dump(mode="json", exclude_defaults=True, exclude={"curve"})
    machine = run.sheet.machine.get(name)
    if machine is not None:
        content["machine"] = machine.model_dump(mode="json", exclude_defaults=True, exclude=set(_NOT_SEALED))
        for wheel in content["machine"].get("wheel", ()):
            wheel.pop("rim", None)
    curve = run.curves.get(name)
    if curve is not None:
        content["curve"] = {column: _numbers(values) for column, values in curve.columns.items()}
    return json.dumps(_plain(content), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def find_seal(seals: Mapping[str, str], logged: str) -> str | None:
    """The machine whose fingerprint was logged, or None; blanks and capitals in what was logged do not matter.

    Raises
    ------
    CannotMeasure
        Where what was logged is no fingerprint at all, so that nothing is said about the sheets.
    """
    wanted = "".join(logged.split()).lower()
    if len(wanted) != _DIGITS or set(wanted) - set("0123456789abcdef"):
        msg = f'"{logged}" is no fingerprint: it has {len(wanted)} characters'
        raise CannotMeasure(msg, do=f"give all {_DIGITS} digits (0 to 9 and a to f) as they were logged")
    return next((name for name, seal in seals.items() if seal == wanted), None)


def _numbers(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
    """Without negative zeros, which are spelled apart from zero but mean the same."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value + 0.0 if isinstance(value, float) else value
