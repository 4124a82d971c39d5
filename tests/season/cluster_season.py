"""A season on a local cluster of two worker processes, one of which is killed midway; run as a program of its own.

`python -m tests.season.cluster_season FOLDER OUT` prints how many tasks were done, and by how many processes.
"""

import json
import logging
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import distributed

from matchvision.season.cluster import work_on_cluster
from matchvision.season.holding import hold_season
from matchvision.season.manifest import read_season
from matchvision.season.tasks import Done, Finished, Task
from tests.season.made import forget_the_program, pretend


def main(folder: Path, out: Path) -> None:
    """Hold the season; the worker that has the third answer's process dies then and there."""
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    dask: Any = distributed  # the package says nothing about types
    with dask.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=logging.CRITICAL
    ) as cluster, dask.Client(cluster) as watching:  # fmt: skip
        pids = set(watching.run(os.getpid).values())
        killed: list[int] = []
        did: list[str] = []

        def crew(tasks: Sequence[Task], done: Done) -> None:
            def note(finished: Finished) -> Sequence[Task]:
                did.append(f"{finished.task.step} {finished.task.entry}")
                if len(did) == 3 and not killed:
                    killed.append(next(iter(pids)))
                    os.kill(killed[0], signal.SIGKILL)
                return done(finished)

            work_on_cluster(cluster.scheduler_address, tasks, note, perform=pretend)

        hold_season(read_season(folder), out, crew)
        after = set(watching.run(os.getpid).values())
    sys.stdout.write(json.dumps({"did": did, "killed": killed, "left": sorted(after & pids)}))


if __name__ == "__main__":
    forget_the_program()
    main(Path(sys.argv[1]), Path(sys.argv[2]))
