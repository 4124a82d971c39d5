"""Filmed demo matches, seed after seed, analysed from their pixels: does the verdict follow the truth."""

import json
import tempfile
from pathlib import Path

import pandas as pd

from matchvision.filming import demo_scene, film
from matchvision.pipeline import answer_first
from matchvision.sheets import load_run

SEEDS = tuple(range(1, 11))


def measure() -> pd.DataFrame:
    """One row a seed."""
    return pd.DataFrame([follow_truth(seed) for seed in SEEDS])


def follow_truth(seed: int) -> dict[str, object]:
    """Film and analyse one demo match: the winner as measured and in truth, the margin's error and its U95 in mm."""
    with tempfile.TemporaryDirectory() as scratch:
        film(demo_scene(seed), Path(scratch))
        truth = json.loads((Path(scratch) / "truth.json").read_text())["verdict"]
        ruling = answer_first(load_run(Path(scratch))).verdict.ruling
    if ruling is None:
        return {"seed": seed, "winner": "", "true_winner": truth["winner"], "right": False}
    return {
        "seed": seed,
        "winner": ruling.winner,
        "true_winner": truth["winner"],
        "right": ruling.winner == truth["winner"],
        "sure": ruling.sure,
        "true_margin_mm": truth["margin_mm"],
        "margin_error_mm": 1000 * ruling.margin_m - truth["margin_mm"],
        "margin_U95_mm": 1000 * 1.96 * ruling.u_margin_m,
    }
