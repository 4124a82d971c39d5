"""Who is who: written tracks scored as multi-object tracking is, by CLEAR MOT of the library `motmetrics`.

K. Bernardin, R. Stiefelhagen, "Evaluating multiple object tracking performance", EURASIP J. Image and Video Processing
(2008) 246309. Every truly visible marker counts in every frame: one that is called lost is a miss.
"""

from importlib import import_module
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.scoring import Score, Truth, beside

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: It brings no types with it.
motmetrics: Any = import_module("motmetrics")

#: A place further from every marker than this is no sight of one [px].
REACH_PX = 5.0


def score_identity(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """MOTA, changes of identity, misses, and places that bear another marker's name or none's."""
    rows = beside(table, truth)
    names = sorted(rows["marker"].unique())
    frames = rows["frame"].unique()
    column = {name: k for k, name in enumerate(names)}
    at = {frame: n for n, frame in enumerate(frames)}
    where = rows["frame"].map(at).to_numpy(), rows["marker"].map(column).to_numpy()
    shape = (len(frames), len(names))
    places, true_px = np.full((*shape, 2), np.nan), np.full((*shape, 2), np.nan)
    said, visible = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    places[where] = rows[["col_px", "row_px"]].to_numpy()
    said[where] = (rows["state"] == "seen").to_numpy()
    for name in names:
        own = (rows["marker"] == name).to_numpy()
        stem = "true_" + str(name).replace(".", "_")
        cells = where[0][own], where[1][own]
        true_px[cells] = rows.loc[own, [f"{stem}_u", f"{stem}_v"]].to_numpy()
        visible[cells] = rows.loc[own, f"{stem}_vis"].to_numpy() > 0
    return clear_mot(places, said, true_px, visible)


def clear_mot(places_px: FloatArray, said: BoolArray, true_px: FloatArray, visible: BoolArray) -> list[Score]:
    """Scores of places (n frames, m markers, 2) against the true ones.

    A marker that hardly shows may be seen or not, but not elsewhere.
    """
    near = np.linalg.norm(places_px - true_px, axis=2) < REACH_PX
    shown = said & (visible | ~near)
    book = motmetrics.MOTAccumulator(auto_id=True)
    for n in range(len(places_px)):
        there, here = np.flatnonzero(visible[n]), np.flatnonzero(shown[n])
        apart = np.linalg.norm(true_px[n][there][:, None] - places_px[n][here][None], axis=2)
        book.update(there, here, np.where(apart < REACH_PX, apart, np.nan))
    found = motmetrics.metrics.create().compute(book, metrics=["mota", "num_switches", "num_misses"]).iloc[0]
    return [
        Score("identity MOTA", float(found["mota"]), "ratio"),
        Score("identity swaps", float(found["num_switches"]), "1"),
        Score("identity misses", float(found["num_misses"]), "marker-frames"),
        # The pairing above is free to give a wrong name all along; names must be the markers' own.
        Score("identity wrong names", float((said & visible & ~near).sum()), "marker-frames"),
    ]
