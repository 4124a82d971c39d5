"""Workers on this machine: a few processes that each do one task at a time, and a death costs that task's row only."""

import contextlib
import heapq
import itertools
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Final

from matchvision.season.tasks import THREAD_LIMITS, Done, Finished, Task, do_task

#: A task whose worker has died this often is given up.
MOST_DEATHS: Final = 2
#: What a worker's libraries see when they are loaded: one thread each; and of the C library's heaps, of which each of a
#: clip's short-lived threads would begin its own, two: what is freed in one is of no use to another.
_SURROUNDINGS: Final = {**dict.fromkeys(THREAD_LIMITS, "1"), "MALLOC_ARENA_MAX": "2"}
#: What Linux calls "send me a signal when my parent dies".
_PR_SET_PDEATHSIG: Final = 1


@dataclass(eq=False)
class _Worker:
    process: BaseProcess
    line: Connection
    core: int | None
    task: Task | None = None
    done: int = 0


class _Waiting:
    """Tasks that nobody does yet, the most urgent first."""

    def __init__(self, tasks: Iterable[Task]) -> None:
        self._order = itertools.count()
        self._heap: list[tuple[tuple[int, int], int, Task]] = []
        self.add(tasks)

    def __len__(self) -> int:
        return len(self._heap)

    def add(self, tasks: Iterable[Task]) -> None:
        for task in tasks:
            heapq.heappush(self._heap, (task.urgency, next(self._order), task))

    def take(self) -> Task:
        return heapq.heappop(self._heap)[-1]


def work_locally(
    tasks: Sequence[Task], workers: int, done: Done, *, most_each: int = 50, perform: Callable[[Task], str] = do_task
) -> None:
    """Do tasks by ``workers`` processes, the most urgent first, and tell of each as it is done.

    What ``done`` gives back is done as well, in its turn: a worker that finds no first answer left to seek begins with
    causes while another is still at the last answer. A worker that dies (killed, out of memory) is replaced and its
    task done once more; dies that too, the task is told as failed. After ``most_each`` tasks a worker makes room for a
    fresh one, which has no memory to let grow. ``perform`` is what is done with a task, a function of a module.

    Notes
    -----
    Checked by: tests/season/test_workers.py::test_a_death_costs_its_own_task_only
    """
    waiting = _Waiting(tasks)
    deaths: dict[Task, int] = {}
    cores = _cores(workers)
    crew: list[_Worker] = []
    with _sparing_surroundings():
        try:
            while waiting or any(worker.task for worker in crew):
                idle = sum(worker.task is None for worker in crew)
                for _ in range(min(workers - len(crew), len(waiting) - idle)):
                    taken = {worker.core for worker in crew}
                    crew.append(_hire(perform, next((c for c in cores if c not in taken), None)))
                for worker in crew:
                    if worker.task is None and waiting:
                        _give(worker, waiting.take())
                busy = {worker.line: worker for worker in crew if worker.task is not None}
                for line in wait(list(busy)):
                    worker = next(w for one, w in busy.items() if one is line)
                    task, worker.task = worker.task, None
                    if task is None:
                        continue
                    try:
                        said, took_s = worker.line.recv()
                    except (EOFError, OSError):
                        worker.process.join()
                        crew.remove(worker)
                        deaths[task] = deaths.get(task, 0) + 1
                        if deaths[task] < MOST_DEATHS:
                            waiting.add([task])
                        else:
                            waiting.add(done(Finished(task, tell_death(worker.process.exitcode), 0.0)))
                        continue
                    waiting.add(done(Finished(task, said, took_s)))
                    worker.done += 1
                    if worker.done >= most_each:
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


def _give(worker: _Worker, task: Task) -> None:
    worker.task = task
    try:
        worker.line.send(task)
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
        _die_with_parent()
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
        began = time.perf_counter()
        try:
            said = perform(task)
        except KeyboardInterrupt:
            return
        except Exception as error:
            said = f"matchvision itself has a fault ({type(error).__name__}: {error})"
        try:
            line.send((said, time.perf_counter() - began))
        except OSError:
            return


def _die_with_parent() -> None:
    """On Linux the system itself ends this process with its parent, even in the midst of a long computation.

    The thread that waits for the parent's end gets its turn only between two steps of Python; a worker that goes on
    for a second could write into a folder that the next start is just clearing.
    """
    if sys.platform != "linux":
        return
    import ctypes

    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


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
def _sparing_surroundings() -> Iterator[None]:
    """Processes started within see it as they load their libraries."""
    former = {name: os.environ.get(name) for name in _SURROUNDINGS}
    os.environ.update(_SURROUNDINGS)
    try:
        yield
    finally:
        for name, value in former.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
