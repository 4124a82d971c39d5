"""Errors on the sample clips, whose truth is exact: the whole of ``analyze``, scored."""

import tempfile
from pathlib import Path

import pandas as pd

from benchmarks.identity import score_identity
from benchmarks.scoring import read_truth, score_results
from matchvision.pipeline import analyze
from matchvision.sheets import load_run
from matchvision.writing import write_results

SAMPLES = Path(__file__).parent.parent / "sample_clips"
CLIPS = ("flat-match", "sled-link", "hitch-slips", "hand-held")


def measure() -> pd.DataFrame:
    """One row a figure, one column a clip."""
    columns = {}
    with tempfile.TemporaryDirectory() as scratch:
        for name in CLIPS:
            folder = Path(scratch) / name
            write_results(analyze(load_run(SAMPLES / name)), folder)
            scores = score_results(folder, SAMPLES / name)
            scores += score_identity(pd.read_csv(folder / "tracks.csv"), read_truth(SAMPLES / name))
            columns[name] = pd.Series({f"{s.name} [{s.unit}]": s.value for s in scores})
    return pd.DataFrame(columns).rename_axis("figure").reset_index()
