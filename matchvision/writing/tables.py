"""From an analysis to its tables; names, order and kinds of their columns come from the column lists alone."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.arrays import FloatArray
from matchvision.errors import OutputError
from matchvision.records.columns import TABLES, Column
from matchvision.records.motion import Motion
from matchvision.records.results import Analysis, CauseRow
from matchvision.records.tracks import TrackState

#: How many decimals are worth writing, by unit; what is not listed keeps six significant digits.
_DECIMALS: Final = {"s": 6, "m": 6, "px": 4, "°": 4, "rad": 5, "m/s": 6}
_SIGNIFICANT: Final = 6
#: Digits of a standard uncertainty: enough to test its honesty, few enough to keep the files small.
_SIGNIFICANT_U: Final = 4
#: pandas type by kind of column.
DTYPES: Final = {"int": "int64", "float": "float64", "word": "str"}


def build_tables(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Every table of an analysis by the stem of its file, checked against its column list; maybe without rows.

    Raises
    ------
    OutputError
        Where a stage has handed over something that does not fit the column list.
    """
    builders: Mapping[str, Callable[[Analysis], pd.DataFrame]] = {
        "tracks": _tracks,
        "motion": _motion,
        "wheels": _wheels,
        "rope": _rope,
        "pull": _pull,
        "traction": _traction,
        "grip_map": lambda a: _rows(
            "grip_map", [cell for one in (a.grip.maps if a.grip else ()) for cell in one.cells]
        ),
        "events": lambda a: _rows("events", a.grip.events if a.grip else ()),
        "comparison": lambda a: _rows("comparison", a.verdict.comparison),
        "curves": lambda a: _rows("curves", a.verdict.curves),
        "causes": lambda a: tabulate_causes(a.verdict.causes),
    }
    return {name: check_table(name, builders[name](analysis)) for name in TABLES}


def tabulate_causes(causes: Sequence[CauseRow]) -> pd.DataFrame:
    """The table of causes by itself, checked like every other."""
    return check_table("causes", _rows("causes", causes))


def check_table(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """The table with its columns' types set, if it keeps to its column list.

    Raises
    ------
    OutputError
        With every column that is missing, too many, of the wrong kind or empty where it must not be.
    """
    columns = TABLES[name]
    wanted, found = [column.name for column in columns], list(table.columns)
    if found != wanted:
        differing = sorted(set(wanted) ^ set(found)) or found
        raise OutputError(
            f"the columns are not those of the column list; they differ in {', '.join(differing)}",
            where=f"table {name}",
            do="this is a fault of the program, not of your run; report it with the run sheet",
        )
    wrong = [fault for column in columns for fault in _column_faults(column, table[column.name])]
    if wrong:
        do = "this is a fault of the program, not of your run; report it with the run sheet"
        raise OutputError("; ".join(wrong), where=f"table {name}", do=do)
    return table.astype({column.name: DTYPES[column.dtype] for column in columns})


def round_table(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """The table with digits that mean nothing taken away, so that its file stays small."""
    rounded = table.copy()
    for column in TABLES[name]:
        if column.dtype == "float":
            rounded[column.name] = _round(column, table[column.name].to_numpy(dtype=np.float64))
    return rounded


def _column_faults(column: Column, values: pd.Series) -> list[str]:
    if column.dtype == "word":
        if not all(isinstance(value, str) for value in values):
            return [f"{column.name} holds something else than words"]
        empty = bool((values == "").any())
    else:
        if not pd.api.types.is_numeric_dtype(values) and len(values):
            return [f"{column.name} holds something else than numbers"]
        if column.dtype == "int" and len(values) and not pd.api.types.is_integer_dtype(values):
            return [f"{column.name} holds something else than whole numbers"]
        if len(values) and bool(np.isinf(values.to_numpy(dtype=np.float64)).any()):
            return [f"{column.name} holds an infinite number"]
        empty = bool(values.isna().any())
    return [f"{column.name} is empty somewhere"] if empty and not column.may_be_missing else []


def _round(column: Column, values: FloatArray) -> FloatArray:
    if column.name.startswith("u_"):
        return _round_significant(values, _SIGNIFICANT_U)
    if column.unit in _DECIMALS:
        return np.asarray(np.round(values, _DECIMALS[column.unit]) + 0.0, dtype=np.float64)
    return _round_significant(values, _SIGNIFICANT)


def _round_significant(values: FloatArray, digits: int) -> FloatArray:
    known = np.isfinite(values) & (values != 0)
    magnitude = np.floor(np.log10(np.abs(values), where=known, out=np.zeros_like(values)))
    places = digits - 1 - magnitude
    scale = 10.0 ** np.abs(places)  # a whole power of ten, so that dividing gives the nearest short decimal
    rounded = np.where(places >= 0, np.round(values * scale) / scale, np.round(values / scale) * scale)
    return np.asarray(rounded + 0.0, dtype=np.float64)


def _frames(analysis: Analysis, repeat: int = 1) -> dict[str, npt.NDArray[Any]]:
    """The columns that begin every table over time, each frame ``repeat`` times in a row."""
    motion = analysis.motion
    return {
        "frame": np.repeat(motion.frame, repeat),
        "clip_s": np.repeat(motion.clip_s, repeat),
        "t_s": np.repeat(analysis.clock.match_time(motion.clip_s), repeat),
    }


def _tracks(analysis: Analysis) -> pd.DataFrame:
    tracks, places = analysis.motion.tracks, analysis.motion.places
    words = np.array([state.word for state in TrackState], dtype=object)
    known = analysis.motion.frame
    if len(tracks.frame) != len(known) or bool(np.any(tracks.frame != known)):
        do = "this is a fault of the program, not of your run; report it with the run sheet"
        raise OutputError("the tracks and the motion do not have the same frames", where="table tracks", do=do)
    return pd.DataFrame(
        {
            **_frames(analysis, len(tracks.plans)),
            "marker": np.tile(np.array(tracks.names, dtype=object), len(tracks.frame)),
            "col_px": tracks.col_px.ravel(),
            "row_px": tracks.row_px.ravel(),
            "u_col_px": tracks.u_col_px.ravel(),
            "u_row_px": tracks.u_row_px.ravel(),
            "state": words[tracks.state.ravel()],
            "x_m": places.x_m.ravel(),
            "y_m": places.y_m.ravel(),
            "z_m": places.z_m.ravel(),
            "u_x_m": places.u_x_m.ravel(),
            "u_y_m": places.u_y_m.ravel(),
        }
    )


def _motion(analysis: Analysis) -> pd.DataFrame:
    machines = list(analysis.motion.machines.values())
    return _over_time(analysis, "motion", machines, {"machine": [m.machine for m in machines]})


def _wheels(analysis: Analysis) -> pd.DataFrame:
    wheels = analysis.motion.wheels
    names = {"machine": [w.machine for w in wheels], "wheel": [w.wheel for w in wheels]}
    return _over_time(analysis, "wheels", wheels, names, {"grip_state": _grip_words(analysis, analysis.motion)})


def _grip_words(analysis: Analysis, motion: Motion) -> npt.NDArray[np.object_]:
    """State of each wheel in each frame, frame by frame; empty where nothing was found out."""
    states = analysis.grip.grip_state if analysis.grip else {}
    blank = ("",) * len(motion.frame)
    columns = [states.get((wheel.machine, wheel.wheel), blank) for wheel in motion.wheels]
    return np.array([list(column) for column in columns], dtype=object).T.ravel()


def _rope(analysis: Analysis) -> pd.DataFrame:
    rope = analysis.motion.rope
    return _over_time(analysis, "rope", [] if rope is None else [rope], {})


def _pull(analysis: Analysis) -> pd.DataFrame:
    sources = analysis.pull.sources if analysis.pull else ()
    return _over_time(analysis, "pull", sources, {"source": [s.source for s in sources]})


def _traction(analysis: Analysis) -> pd.DataFrame:
    traction = analysis.pull.traction if analysis.pull else ()
    return _over_time(analysis, "traction", traction, {"machine": [t.machine for t in traction]})


def _over_time(
    analysis: Analysis,
    name: str,
    things: Sequence[object],
    words: Mapping[str, Sequence[str]],
    flat: Mapping[str, npt.NDArray[Any]] | None = None,
) -> pd.DataFrame:
    """One row a frame and thing: columns are read from the records' fields of the same name."""
    if not things:
        return _empty(name)
    data: dict[str, npt.NDArray[Any]] = _frames(analysis, len(things))
    frames = len(analysis.motion.frame)
    for column in TABLES[name][len(data) :]:
        if column.name in words:
            data[column.name] = np.tile(np.array(words[column.name], dtype=object), frames)
        elif flat is not None and column.name in flat:
            data[column.name] = flat[column.name]
        else:
            data[column.name] = np.stack([getattr(thing, column.name) for thing in things], axis=1).ravel()
    return pd.DataFrame(data)


def _rows(name: str, records: Sequence[Any]) -> pd.DataFrame:
    """One row a record, fields in the order of the column list."""
    if not records:
        return _empty(name)
    rows = [asdict(record) for record in records]
    return pd.DataFrame({column.name: [row[column.name] for row in rows] for column in TABLES[name]})


def _empty(name: str) -> pd.DataFrame:
    return pd.DataFrame({column.name: pd.Series(dtype=DTYPES[column.dtype]) for column in TABLES[name]})
