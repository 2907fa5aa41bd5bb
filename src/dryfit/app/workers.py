"""Work that is the same for many meshes, done in as many processes as there are processors."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from os import cpu_count
from typing import Any, Self

from dryfit.base.errors import ComputationRefused, Interrupted

# Below this many triangles in all, starting a second process costs more than it saves.
FEW_TRIANGLES = 40_000
_POLL_S = 0.1
# One process per processor is enough: threads of the libraries inside each would only wait for one another.
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "IGL_NUM_THREADS")


class Workers:
    """Processes that are started when the first work worth them comes, and kept until the end.

    Used as a context; what is still running when it ends is stopped. Results do not depend on whether, or
    in how many processes, the work was done.
    """

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self._stop: Event | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None and self._stop is not None:
            self._stop.set()
            self._pool.shutdown(wait=True, cancel_futures=True)

    def run(
        self,
        function: Callable[..., Any],
        tasks: Sequence[tuple[Any, ...]],
        triangles: int,
        ask: Callable[[], None] = lambda: None,
    ) -> Iterator[tuple[int, Any]]:
        """The number of each task and what function makes of it, as they are finished.

        function   at the top of a module, so that another process finds it
        triangles  of all tasks: too few of them are done here, one after the other
        ask        called in between; what it raises ends the work
        Raises what function raises, and ComputationRefused where a process was ended from outside.
        """
        if len(tasks) < 2 or triangles < FEW_TRIANGLES or (cpu_count() or 1) < 2:
            for index, task in enumerate(tasks):
                ask()
                yield index, function(*task)
            return
        pool = self._started()
        waiting: dict[Future[Any], int] = {}
        left = iter(enumerate(tasks))
        # A few at a time: what is sent ahead lies in memory twice.
        with _environment():
            self._send(pool, function, left, waiting, 2 * (cpu_count() or 1))
        try:
            while waiting:
                finished, _ = wait(waiting, _POLL_S, FIRST_COMPLETED)
                ask()
                for future in sorted(finished, key=waiting.__getitem__):
                    index = waiting.pop(future)
                    self._send(pool, function, left, waiting, 1)
                    yield index, future.result()
        except BrokenProcessPool as error:
            raise ComputationRefused(
                "a process that examined a mesh was ended from outside, most likely for want of memory",
                "examining the parts",
                "close other programs, or divide the largest mesh, then try again",
            ) from error
        finally:
            for future in waiting:
                future.cancel()

    def _started(self) -> ProcessPoolExecutor:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")  # forking a process that runs threads can hang
            self._stop = context.Event()
            self._pool = ProcessPoolExecutor(cpu_count() or 1, context, _accept_stop, (self._stop,))
        return self._pool

    @staticmethod
    def _send(
        pool: ProcessPoolExecutor,
        function: Callable[..., Any],
        left: Iterator[tuple[int, tuple[Any, ...]]],
        waiting: dict[Future[Any], int],
        most: int,
    ) -> None:
        for _, (index, task) in zip(range(most), left, strict=False):
            waiting[pool.submit(function, *task)] = index


_stop: Event | None = None  # of a worker process: set once, when the process starts


def _accept_stop(stop: Event) -> None:
    global _stop
    _stop = stop


def go_on(done: int = 0, total: int = 0) -> None:
    """To be called now and then in long work: raises Interrupted once the work is no longer wanted."""
    if _stop is not None and _stop.is_set():
        raise Interrupted("the examination was stopped", "examining the parts", "start it again")


@contextmanager
def _environment() -> Iterator[None]:
    """The number of threads is read when a library is loaded: set while the processes start, then put back."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
