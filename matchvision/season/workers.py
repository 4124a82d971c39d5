"""Workers on this machine: a few processes that each do one task at a time, and a death costs that task's row only."""

import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Final

from matchvision.season.tasks import THREAD_LIMITS, Task, do_task

#: A task whose worker has died this often is given up.
MOST_DEATHS: Final = 2
#: Told of a finished task and, where nothing can be said about its run, why.
Done = Callable[[Task, str], None]


@dataclass(eq=False)
class _Worker:
    process: BaseProcess
    line: Connection
    core: int | None
    task: Task | None = None


def work_locally(
    tasks: Sequence[Task], workers: int, done: Done, *, most_each: int = 50, perform: Callable[[Task], str] = do_task
) -> None:
    """Do tasks in their order by ``workers`` processes, and tell of each as it is done.

    A worker that dies (killed, out of memory) is replaced and its task done once more; dies that too, the task is told
    as failed. After ``most_each`` tasks a worker makes room for a fresh one, which has no memory to let grow.
    ``perform`` is what is done with a task, a function of a module.

    Notes
    -----
    Checked by: tests/season/test_workers.py::test_a_death_costs_its_own_task_only
    """
    waiting, deaths = deque(tasks), dict.fromkeys(map(id, tasks), 0)
    cores = _cores(workers)
    crew: list[_Worker] = []
    count: dict[int, int] = {}
    with _one_thread_a_library():
        try:
            while waiting or any(worker.task for worker in crew):
                while waiting and len(crew) < min(workers, len(tasks)):
                    taken = {worker.core for worker in crew}
                    crew.append(_hire(perform, next((c for c in cores if c not in taken), None)))
                for worker in [w for w in crew if w.task is None]:
                    if waiting:
                        _give(worker, waiting)
                busy = [worker for worker in crew if worker.task is not None]
                for line in wait([worker.line for worker in busy]):
                    worker = next(w for w in busy if w.line is line)
                    task, worker.task = worker.task, None
                    if task is None:
                        continue
                    try:
                        said = worker.line.recv()
                    except (EOFError, OSError):
                        worker.process.join()
                        crew.remove(worker)
                        deaths[id(task)] += 1
                        if deaths[id(task)] < MOST_DEATHS:
                            waiting.appendleft(task)
                        else:
                            done(task, tell_death(worker.process.exitcode))
                        continue
                    done(task, said)
                    count[id(worker)] = count.get(id(worker), 0) + 1
                    if count[id(worker)] >= most_each:
                        _dismiss(worker)
                        crew.remove(worker)
        finally:
            for worker in crew:
                _dismiss(worker)


def tell_death(exitcode: int | None) -> str:
    """Why a worker's end is no answer, in words."""
    how = f"by signal {-exitcode}" if exitcode is not None and exitcode < 0 else f"with code {exitcode}"
    return f"the process that analysed it ended {how}, {MOST_DEATHS} times; memory may be short: try fewer workers"


def _hire(perform: Callable[[Task], str], core: int | None) -> _Worker:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=serve, args=(theirs, perform, core), daemon=True)
    process.start()
    theirs.close()
    return _Worker(process, ours, core)


def _give(worker: _Worker, waiting: deque[Task]) -> None:
    worker.task = waiting.popleft()
    try:
        worker.line.send(worker.task)
    except (BrokenPipeError, OSError):
        return  # its death is found where its answer is awaited


def _dismiss(worker: _Worker) -> None:
    worker.line.close()
    if worker.task is not None:
        worker.process.kill()
    worker.process.join()


def serve(line: Connection, perform: Callable[[Task], str], core: int | None) -> None:
    """What a worker does: task after task until the line closes; it never outlives the process that started it."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()
    if core is not None:
        os.sched_setaffinity(0, {core})
    from matchvision.footage.threads import hold_to_one_thread

    hold_to_one_thread()
    while True:
        try:
            task: Task = line.recv()
        except (EOFError, KeyboardInterrupt):
            return
        try:
            said = perform(task)
        except KeyboardInterrupt:
            return
        except Exception as error:
            said = f"matchvision itself has a fault ({type(error).__name__}: {error})"
        try:
            line.send(said)
        except OSError:
            return


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)


def count_cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _cores(workers: int) -> list[int]:
    """A core for each worker where all are taken: what a worker does aside then waits for it, not for its neighbour.

    With cores to spare the system chooses better: it knows which of them share a unit, and which are slow.
    """
    if workers != count_cores() or not hasattr(os, "sched_setaffinity"):
        return []
    return sorted(os.sched_getaffinity(0))


@contextmanager
def _one_thread_a_library() -> Iterator[None]:
    """Processes started within see it as they load their libraries."""
    former = {name: os.environ.get(name) for name in THREAD_LIMITS}
    os.environ.update(dict.fromkeys(THREAD_LIMITS, "1"))
    try:
        yield
    finally:
        for name, value in former.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
