"""Spread tasks over processes, and stop them all at once; what comes back is in the order of the tasks."""

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.synchronize import Event
from types import TracebackType
from typing import TypeVar

__all__ = ["Begun", "Stopped", "Workers"]

Task = TypeVar("Task")
Result = TypeVar("Result")
Begun = Callable[[], list[Result]]  # work that was given to processes; calling it waits for the results
Stopped = Callable[[], bool]
LOOK_SECONDS = 0.2  # how long Ctrl-C may go unnoticed

_end: Event | None = None  # of a worker's process: set once its results are no longer wanted


class Workers:
    """Processes that work on tasks, or none: with one job all is done where it is asked.

    `stopped` is looked at between tasks, and by the work itself, which is given it too.
    """

    def __init__(self, jobs: int, stopped: Stopped) -> None:
        self.stopped = stopped
        self._pool: ProcessPoolExecutor | None = None
        if jobs > 1:
            context = get_context("spawn")
            self._end = context.Event()
            self._pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_prepare, initargs=(self._end,))

    def __enter__(self) -> "Workers":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._pool is not None:
            self._end.set()
            self._pool.shutdown(wait=True, cancel_futures=True)

    def begun(
        self,
        work: Callable[[Task, Stopped], Result],
        tasks: Sequence[Task],
        progress: Callable[[Task], None] = lambda task: None,
    ) -> Begun[Result]:
        """Let the processes begin, behind what they have already, and return how to wait for the results.

        These come in the order of the tasks, without those of tasks that were not finished when stopped. `work` and
        tasks must be things that another process can be given. `progress` is told of every task done. With one job
        nothing is done before it is waited for. What has begun when the block is left is given up.
        """
        if self._pool is None:
            return lambda: self._done_here(work, tasks, progress)
        with _unheard():  # a process begins with its first task
            pending = {self._pool.submit(_worked, work, task): at for at, task in enumerate(tasks)}
        return lambda: self._awaited(pending, tasks, progress)

    def _done_here(
        self, work: Callable[[Task, Stopped], Result], tasks: Sequence[Task], progress: Callable[[Task], None]
    ) -> list[Result]:
        found: list[Result] = []
        for task in tasks:
            result = work(task, self.stopped)
            if self.stopped():
                break
            found.append(result)
            progress(task)
        return found

    def _awaited(
        self, pending: dict[Future[Result], int], tasks: Sequence[Task], progress: Callable[[Task], None]
    ) -> list[Result]:
        found: dict[int, Result] = {}
        while pending and not self.stopped():
            done, _ = wait(pending, timeout=LOOK_SECONDS, return_when=FIRST_COMPLETED)
            for each in done:
                at = pending.pop(each)
                if self.stopped() and isinstance(each.exception(), BrokenProcessPool):
                    continue  # what stopped us has ended the worker too
                found[at] = each.result()
                progress(tasks[at])
        for each, at in pending.items():
            if not each.cancel() and each.done() and each.exception() is None:  # done while nobody waited
                found[at] = each.result()
        return [found[at] for at in sorted(found)]


@contextmanager
def _unheard() -> Iterator[None]:
    """Keep Ctrl-C and hang-up, which a terminal sends to all its processes, from those that begin in the block.

    They inherit what is blocked here, for good; here it is only late.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _prepare(end: Event) -> None:
    """Leave Ctrl-C to the process that reports, and listen to that one instead."""
    global _end
    _end = end
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _worked(work: Callable[[Task, Stopped], Result], task: Task) -> Result:
    assert _end is not None, "the worker was not prepared"
    return work(task, _end.is_set)
