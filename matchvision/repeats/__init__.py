"""What repeats of one thing tell: scatter, outliers, what a change brought, how many runs prove a rate."""

from matchvision.repeats.changes import find_change, runs_to_see, seen_change
from matchvision.repeats.comparing import compare_readings
from matchvision.repeats.outliers import find_stragglers, grubbs_test
from matchvision.repeats.proving import success_runs
from matchvision.repeats.scatter import Repeatability, interval_of_s, repeatability, scatter_between

__all__ = [
    "Repeatability",
    "compare_readings",
    "find_change",
    "find_stragglers",
    "grubbs_test",
    "interval_of_s",
    "repeatability",
    "runs_to_see",
    "scatter_between",
    "seen_change",
    "success_runs",
]
