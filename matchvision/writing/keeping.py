"""What causes are sought from, kept beside a first answer until they have been found: numbers and words, no code."""

import json
import math
import zipfile
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final, get_args, get_type_hints

import numpy as np

import matchvision
from matchvision.errors import OutputError
from matchvision.records.motion import Places
from matchvision.records.results import Grounds
from matchvision.records.sheet import Run
from matchvision.records.tracks import Tracks
from matchvision.writing.swapping import MARK

#: The file that stands in a folder of results while causes are due.
KEPT: Final = "causes-due.npz"
_AGAIN: Final = "analyse the run again; that finds the causes too"


@cache
def _records() -> Mapping[str, type[Any]]:
    """Every record that can stand in what is kept, by name, found from the fields' types."""
    found: dict[str, type[Any]] = {}

    def look(hint: Any) -> None:  # noqa: ANN401 - whatever a field may hold
        if isinstance(hint, type) and is_dataclass(hint) and hint.__name__ not in found:
            found[hint.__name__] = hint
            for part in get_type_hints(hint).values():
                look(part)
        for part in get_args(hint):
            look(part)

    look(Grounds)
    return found


def keep_grounds(run: Run, grounds: Grounds, folder: Path) -> None:
    """Write what causes are sought from into ``folder``, with every digit.

    Notes
    -----
    Checked by: tests/writing/test_keeping.py::test_what_is_kept_comes_back_to_the_last_digit
    """
    arrays: dict[str, np.ndarray] = {}
    content = {
        "version": matchvision.__version__,
        "sheets": sorted(run.sheet_texts.values()),
        "grounds": _take_apart(_without_tracks(grounds), arrays),
    }
    text = np.frombuffer(json.dumps(content).encode("utf-8"), dtype=np.uint8)
    with (folder / KEPT).open("wb") as file:
        np.savez_compressed(file, content=text, allow_pickle=False, **arrays)


def recall_grounds(run: Run, folder: Path) -> Grounds:
    """What causes are sought from, as it was kept.

    Raises
    ------
    OutputError
        Where nothing was kept, or by another version, or the run's sheets have been changed since.
    """
    path = folder / KEPT
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            content = json.loads(bytes(arrays["content"]).decode("utf-8"))
            if content["version"] != matchvision.__version__:
                what = f"version {content['version']} of matchvision has kept this, here is {matchvision.__version__}"
                raise OutputError(what, where=str(path), do=_AGAIN)
            if content["sheets"] != sorted(run.sheet_texts.values()):
                what = "the run's sheets have been changed since the clip was analysed"
                raise OutputError(what, where=str(path), do=_AGAIN)
            grounds: Grounds = _put_together(content["grounds"], arrays)
            return grounds
    except FileNotFoundError as error:
        if not (folder / MARK).is_file():
            do = "analyse the run first, or say with --out where its results are"
            raise OutputError("there are no results here", where=str(folder), do=do) from error
        do = "causes are found already, or the run was not analysed with --no-causes; see causes.csv"
        raise OutputError("no causes are due here", where=str(folder), do=do) from error
    except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile) as error:
        raise OutputError(f"this cannot be read ({error})", where=str(path), do=_AGAIN) from error


def _without_tracks(grounds: Grounds) -> Grounds:
    """Without the markers' places, which are most of the numbers and which no cause is sought in."""
    motion = grounds.motion
    none = np.zeros((len(motion.frame), 0))
    tracks = Tracks((), motion.frame, motion.clip_s, none, none, none, none, none.astype(np.int8))
    places = Places(none, none, none, none, none)
    return replace(grounds, motion=replace(motion, tracks=tracks, places=places))


def _take_apart(thing: Any, arrays: dict[str, np.ndarray]) -> Any:  # noqa: ANN401 - any part of a record
    """A part of a record as what JSON can hold, its arrays put aside under names."""
    if thing is None or isinstance(thing, str | bool | int):
        return thing
    if isinstance(thing, float):
        return thing if math.isfinite(thing) else {"float": str(thing)}
    if isinstance(thing, np.ndarray):
        name = f"a{len(arrays)}"
        arrays[name] = thing
        return {"array": name}
    if is_dataclass(thing) and type(thing).__name__ in _records():
        parts = {each.name: _take_apart(getattr(thing, each.name), arrays) for each in fields(thing)}
        return {"record": type(thing).__name__, "parts": parts}
    if isinstance(thing, Mapping):
        return {"pairs": [[_take_apart(key, arrays), _take_apart(value, arrays)] for key, value in thing.items()]}
    if isinstance(thing, tuple | list):
        return [_take_apart(each, arrays) for each in thing]
    if isinstance(thing, np.generic):
        return _take_apart(thing.item(), arrays)
    msg = f"a {type(thing).__name__} cannot be kept"
    raise TypeError(msg)


def _put_together(kept: Any, arrays: Mapping[str, np.ndarray]) -> Any:  # noqa: ANN401 - any part of a record
    if isinstance(kept, list):
        return tuple(_put_together(each, arrays) for each in kept)
    if not isinstance(kept, dict):
        return kept
    if "array" in kept:
        array = arrays[kept["array"]]
        array.flags.writeable = False
        return array
    if "float" in kept:
        return float(kept["float"])
    if "pairs" in kept:
        return {_put_together(key, arrays): _put_together(value, arrays) for key, value in kept["pairs"]}
    return _records()[kept["record"]](**{name: _put_together(part, arrays) for name, part in kept["parts"].items()})
