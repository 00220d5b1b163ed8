"""Work divided among threads: numpy lets go of the interpreter, so a few threads are as good as processes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Event, local
from typing import TypeVar

import numpy as np

Given = TypeVar("Given")
Made = TypeVar("Made")

MOST_THREADS = 4
SPARE_BYTES = 31_000_000


def thread_count() -> int:
    """How many threads share the work: one for each processor that this process may use."""
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(MOST_THREADS, allowed or 1)


class Dropped(Exception):
    """The work was interrupted; what it was for is no longer waited for."""


_own = local()


def go_on() -> None:
    """Stop this share of the work if the whole was interrupted; called in loops, so that nobody waits long."""
    if any(dropped.is_set() for dropped in _watching()):
        raise Dropped


def _watching() -> tuple[Event, ...]:
    """What would stop the work of this thread: work may be divided again inside one share of it."""
    found: tuple[Event, ...] = getattr(_own, "dropped", ())
    return found


def in_order(work: Callable[[Given], Made], items: Iterable[Given], many: bool = False) -> Iterator[Made]:
    """Results of work on several threads, in the order of the items; with `many` there are so many that none is divided again.

    An interruption of the one who asked (a key pressed, an iterator left) drops what has not begun, and what has at
    its next `go_on`.
    """
    if getattr(_own, "undivided", False):
        for item in items:
            go_on()
            yield work(item)
        return
    # Freeing one large array tells the C library's allocator to keep freed memory for the next block instead of handing it
    # back to the system, page by page, after every temporary array: a fifth of the time. Nothing is ever written to it.
    spare = np.empty(SPARE_BYTES, dtype=np.uint8)
    del spare
    threads = thread_count()
    if threads == 1 or (isinstance(items, Sequence) and len(items) == 1):
        yield from map(work, items)
        return
    dropped, outer = Event(), _watching()

    def watched(item: Given) -> Made:
        _own.dropped, _own.undivided = (*outer, dropped), many
        go_on()
        return work(item)

    with ThreadPoolExecutor(max_workers=threads) as pool:
        try:
            yield from pool.map(watched, items)
        finally:
            dropped.set()
            pool.shutdown(wait=False, cancel_futures=True)
