"""The same work on a cluster that runs already: tasks go to a Dask scheduler, results into a folder that all share."""

import time
from collections.abc import Callable, Sequence
from typing import Any

from matchvision.errors import SetupError
from matchvision.season.tasks import STEPS, Done, Finished, Task, do_task

#: A task whose worker dies is given to another so often.
RETRIES = 3


def work_on_cluster(
    address: str,
    tasks: Sequence[Task],
    done: Done,
    *,
    perform: Callable[[Task], str] = do_task,
) -> None:
    """Do tasks on the cluster at ``address``, the most urgent first, and tell of each as it is done.

    What ``done`` gives back is done as well, in its turn. The clips and the folder of results must be reached under the
    same paths from every worker. A worker that dies loses nothing that is finished: its task is given to another.

    Raises
    ------
    SetupError
        Where the package is missing or no scheduler answers.

    Notes
    -----
    Checked by: tests/season/test_cluster.py::test_a_cluster_gives_the_same_tables_though_a_worker_dies
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError as error:
        do = 'install it: pip install "matchvision[cluster]"'
        raise SetupError("working on a cluster needs the package distributed, which is not installed", do=do) from error
    connect: Any = Client  # the package says nothing about types
    next_done: Any = as_completed
    try:
        client = connect(address, timeout=20, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        do = "start one with `dask scheduler` and workers with `dask worker ADDRESS --nthreads 1`, or check the address"
        raise SetupError(f"no scheduler answers ({error})", where=address, do=do) from error
    step_apart = 1 + max((task.number for task in tasks), default=0)

    def submit(task: Task) -> Any:  # noqa: ANN401 - the package says nothing about types
        step, number = task.urgency
        return client.submit(
            run_task,
            perform,
            task,
            key=f"{task.step}-{task.folder.name}",
            priority=(len(STEPS) - step) * step_apart - number,
            retries=RETRIES,
            pure=False,
        )

    with client:
        futures = {submit(task): task for task in tasks}
        # On this client's own loop: another client of the same process may be the default one, on another loop.
        answers = next_done(list(futures), loop=client.loop)
        for future in answers:
            task = futures.pop(future)
            try:
                said, took_s = future.result()
            except KilledWorker:
                said, took_s = "the workers that analysed it died one after the other; their memory may be short", 0.0
            for more in done(Finished(task, str(said), float(took_s))):
                following = submit(more)
                futures[following] = more
                answers.add(following)
            future.release()


def run_task(perform: Callable[[Task], str], task: Task) -> tuple[str, float]:
    """One task on a worker, and how long it took; a fault of the program costs one row, not the class."""
    from matchvision.footage.threads import hold_to_one_thread

    hold_to_one_thread()
    began = time.perf_counter()
    try:
        said = perform(task)
    except Exception as error:
        said = f"matchvision itself has a fault ({type(error).__name__}: {error})"
    return said, time.perf_counter() - began
