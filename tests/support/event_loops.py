"""Coroutines run in a thread of their own: the browser library keeps an event loop in the main one."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from dryfit.web.bench import Bench

T = TypeVar("T")


def run_alone(work: Coroutine[Any, Any, T]) -> T:
    """The result of a coroutine, or what it raises."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


def work_on(folder: Path, story: Callable[[Bench], Coroutine[Any, Any, T]]) -> T:
    """Run a story with a started bench."""

    async def run() -> T:
        bench = Bench(folder)
        await bench.start()
        try:
            return await story(bench)
        finally:
            await bench.stop()

    return run_alone(run())
