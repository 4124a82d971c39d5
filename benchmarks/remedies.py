"""What would have won, tried out: the proposed change is made in a physics engine, and one that is said to do nothing.

Runs with honest forecasts, seen through noisy markers; some with a known change, whose cause is given as found. A good
answer turns the verdict with the change, and does not with the largest one that never won in the fitted matches.
"""

import time

import pandas as pd

from matchvision.errors import CannotMeasure
from tests.remedies.tried_out import engine_winner, hopeless_setting, seek, with_change

RUNS = (
    *(("as-predicted", seed) for seed in range(1, 11)),
    *((kind, seed) for kind in ("drive-loss", "less-grip", "late-start") for seed in range(1, 5)),
)


def measure() -> pd.DataFrame:
    """One row a run and lever; prints how often a proposed change turned the verdict."""
    rows = []
    for kind, seed in RUNS:
        began = time.process_time()
        try:
            sought = seek(kind, seed)
        except CannotMeasure as refused:
            rows.append({"kind": kind, "seed": seed, "lever": "", "told": refused.what})
            continue
        seconds = time.process_time() - began
        loser, winner = sought.remedies.machine, sought.ruling.winner
        for remedy in sought.remedies.remedies:
            row = {
                "kind": kind, "seed": seed, "lever": remedy.lever, "setting": remedy.setting,
                "win_chance": remedy.win_chance, "cpu_s": seconds, "told": "",
            }  # fmt: skip
            if remedy.lever in ("gear", "grip") and remedy.setting == remedy.setting:
                row["turned"] = (
                    engine_winner(with_change(sought, remedy.lever, remedy.setting), sought.changed) == loser
                )
                less = hopeless_setting(sought, remedy)
                if less != 1.0:
                    hopeless = with_change(sought, remedy.lever, less)
                    row["hopeless_did_not"] = engine_winner(hopeless, sought.changed) == winner
            rows.append(row)
    table = pd.DataFrame(rows)
    print(table.groupby("lever")[["turned", "hopeless_did_not"]].agg(["sum", "count"]).to_string())
    return table
