"""The same work on a cluster that runs already: tasks go to a Dask scheduler, results into a folder that all share."""

from collections.abc import Callable, Sequence
from typing import Any

from matchvision.errors import SetupError
from matchvision.season.tasks import Task, do_task

#: A task whose worker dies is given to another so often.
RETRIES = 3


def work_on_cluster(
    address: str,
    tasks: Sequence[Task],
    done: Callable[[Task, str], None],
    *,
    perform: Callable[[Task], str] = do_task,
) -> None:
    """Do tasks on the cluster at ``address`` and tell of each as it is done.

    The clips and the folder of results must be reached under the same paths from every worker. A worker that dies
    loses nothing that is finished: its task is given to another.

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
    with client:
        # Earlier tasks are the more urgent ones.
        futures = {
            client.submit(
                run_task,
                perform,
                task,
                key=f"{task.step}-{task.folder.name}",
                priority=-number,
                retries=RETRIES,
                pure=False,
            ): task
            for number, task in enumerate(tasks)
        }
        # On this client's own loop: another client of the same process may be the default one, on another loop.
        for future in next_done(list(futures), loop=client.loop):
            task = futures[future]
            try:
                done(task, str(future.result()))
            except KilledWorker:
                done(task, "the workers that analysed it died one after the other; their memory may be short")
            future.release()


def run_task(perform: Callable[[Task], str], task: Task) -> str:
    """One task on a worker; a fault of the program costs one row, not the class."""
    from matchvision.footage.threads import hold_to_one_thread

    hold_to_one_thread()
    try:
        return perform(task)
    except Exception as error:
        return f"matchvision itself has a fault ({type(error).__name__}: {error})"
