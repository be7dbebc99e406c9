"""Sharing work out over the processor's cores."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def over_cores(count: int) -> Callable[[Callable[[T], R], Sequence[T]], Iterator[R]]:
    """A ``map`` that works in ``count`` processes and gives results in order; with one core, here and now."""

    def run(function: Callable[[T], R], parts: Sequence[T]) -> Iterator[R]:
        if count == 1 or len(parts) == 1:
            yield from map(function, parts)
            return
        # Started anew rather than forked: a copy of this process would hold all the readings once more.
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(min(count, len(parts)), mp_context=context) as pool:
            yield from pool.map(function, parts)

    return run
