"""Every quantity that several runs have in common, compared."""

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from matchvision.records.repeats import Reading, RepeatGroup, Repeats
from matchvision.repeats.changes import find_change, runs_to_see, seen_change
from matchvision.repeats.outliers import find_stragglers
from matchvision.repeats.scatter import interval_of_s, repeatability, scatter_between


def compare_readings(groups: Sequence[Sequence[Reading]]) -> tuple[Repeats, ...]:
    """One row for each machine and quantity that at least two runs have and no group lacks, in order of first sight.

    Parameters
    ----------
    groups : one group of readings, or two: before and after a change.

    Notes
    -----
    Checked by: tests/repeats/test_comparing.py::test_a_change_that_is_there_is_found
    """
    order = dict.fromkeys((r.machine, r.quantity, r.unit) for group in groups for r in group)
    rows = []
    for machine, quantity, unit in order:
        same = [
            [
                r
                for r in group
                if (r.machine, r.quantity, r.unit) == (machine, quantity, unit) and math.isfinite(r.value)
            ]
            for group in groups
        ]
        if all(same) and sum(map(len, same)) >= 2:
            rows.append(_compare(same))
    return tuple(rows)


def _compare(groups: Sequence[Sequence[Reading]]) -> Repeats:
    first = groups[0][0]
    values = [[r.value for r in group] for group in groups]
    pooled = repeatability(values)
    low, high = interval_of_s(pooled.s_r, pooled.degrees)
    runs = min(map(len, values))
    return Repeats(
        machine=first.machine,
        quantity=first.quantity,
        unit=first.unit,
        better=first.better,
        groups=tuple(_summarise(group) for group in groups),
        s_r=pooled.s_r,
        s_r_low=low,
        s_r_high=high,
        degrees=pooled.degrees,
        change=find_change(values[0], values[1]) if len(values) == 2 else None,
        seen=seen_change(pooled.s_r, max(runs, 2)),
        runs_to_see=runs_to_see(pooled.s_r, 0.1 * abs(float(np.mean(values[0])))),
    )


def _summarise(readings: Sequence[Reading]) -> RepeatGroup:
    x, u = np.array([r.value for r in readings]), np.array([r.u for r in readings])
    n = len(x)
    s = float(np.std(x, ddof=1)) if n > 1 else math.nan
    between, between_low, between_high, p_alike = scatter_between(list(x), list(u))
    return RepeatGroup(
        readings=tuple(readings),
        mean=float(x.mean()),
        s=s,
        half_95=float(stdtrit(n - 1, 0.975)) * s / math.sqrt(n) if n > 1 else math.nan,
        u_within=float(np.sqrt(np.mean(u**2))),
        s_between=between,
        s_between_low=between_low,
        s_between_high=between_high,
        p_alike=p_alike,
        stragglers=find_stragglers(readings),
    )
