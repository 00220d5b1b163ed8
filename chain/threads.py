"""Work divided among threads: numpy lets go of the interpreter, so a few threads are as good as processes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

__all__ = ["in_order", "thread_count"]

Given = TypeVar("Given")
Made = TypeVar("Made")

MOST_THREADS = 4
SPARE_BYTES = 31_000_000


def thread_count() -> int:
    """How many threads share the work.

    Returns
    -------
    int, the processors there are, four at most.

    Examples
    --------
    >>> 1 <= thread_count() <= 4
    True

    Source
    ------
    Own choice: more threads hold more blocks in memory.
    """
    return min(MOST_THREADS, os.cpu_count() or 1)


def in_order(work: Callable[[Given], Made], items: Iterable[Given]) -> Iterator[Made]:
    """Results of work on several threads, in the order of the items; an interruption drops what has not begun.

    Parameters
    ----------
    work : function of one item.
    items : what it is called with.

    Returns
    -------
    iterator of what it gives.

    Examples
    --------
    >>> list(in_order(abs, [-1, 2, -3]))
    [1, 2, 3]

    Source
    ------
    `concurrent.futures`.
    """
    # Freeing one large array tells the C library's allocator to keep freed memory for the next block instead of handing it
    # back to the system, page by page, after every temporary array: a fifth of the time. Nothing is ever written to it.
    spare = np.empty(SPARE_BYTES, dtype=np.uint8)
    del spare
    with ThreadPoolExecutor(max_workers=thread_count()) as pool:
        try:
            yield from pool.map(work, items)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
