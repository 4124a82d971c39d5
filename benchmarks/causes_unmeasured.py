"""Which cause is named first where nobody measured the other machine, nor saw its operator's plan.

Runs of a physics engine as points, with one change of the machine that is known, and unchanged ones. Columns as in
`causes`.
"""

from typing import Final

import pandas as pd

from benchmarks.causes import judge_all, mixed, summarise

#: Kinds of change that the known machine may have, and the seeds; none was looked at while this was built.
KINDS: Final = ("drive-loss", "side-loss", "late-start", "less-grip", "wrong-gear")
CHANGED_SEEDS, PLAIN_SEEDS = (5061, 5062), tuple(range(5061, 5071))


def measure() -> pd.DataFrame:
    """One row a run; prints how often the true cause came first and how often stated chances came true."""
    changed = [(kind, seed) for seed in CHANGED_SEEDS for kind in KINDS]
    runs = mixed(changed, [("as-predicted", seed) for seed in PLAIN_SEEDS])
    table = judge_all(("unmeasured", kind, seed) for kind, seed in runs)
    print(summarise(table))
    return table
