"""``python -m benchmarks``: every benchmark in turn, or those that are named."""

import sys
from pathlib import Path

from benchmarks import (
    accuracy,
    bystander,
    cameras,
    causes,
    causes_time,
    causes_unmeasured,
    centres,
    coverage,
    demo_seeds,
    events,
    footage_check,
    forecast,
    grip,
    practice,
    pull,
    readout,
    remedies,
    season,
    showing,
    table_places,
    throughput,
    trackers,
)
from benchmarks.results import describe_machine, write_rows
from benchmarks.summary import write_summary

BENCHMARKS = {
    "throughput": throughput.measure,
    "accuracy": accuracy.measure,
    "cameras": cameras.measure,
    "table_places": table_places.measure,
    "coverage": coverage.measure,
    "demo_seeds": demo_seeds.measure,
    "centres": centres.measure,
    "trackers": trackers.measure,
    "footage_check": footage_check.measure,
    "pull": pull.measure,
    "readout": readout.measure,
    "practice": practice.measure,
    "events": events.measure,
    "grip": grip.measure,
    "causes": causes.measure,
    "causes_time": causes_time.measure,
    "causes_unmeasured": causes_unmeasured.measure,
    "forecast": forecast.measure,
    "showing": showing.measure,
    "season": season.measure,
    "bystander": bystander.measure,
    "remedies": remedies.measure,
}


def main(names: list[str]) -> int:
    """Run the named benchmarks (all without names), print their tables and keep them in ``benchmarks/results/``."""
    unknown = sorted(set(names) - set(BENCHMARKS))
    if unknown:
        print(f"unknown: {', '.join(unknown)}; there are: {', '.join(BENCHMARKS)}")
        return 2
    print(describe_machine())
    for name in names or list(BENCHMARKS):
        rows = BENCHMARKS[name]()
        write_rows(name, rows, Path(__file__).parent / "results")
        write_summary()
        print(f"\n{name}\n{rows.to_string(index=False)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
