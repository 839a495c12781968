"""Very many records: a sample that tells as well as all, and work on them side by side in threads.

Compiled loops and large arrays let go of the interpreter meanwhile.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeVar

import numpy as np

#: records from which a median is taken; its standard error is then half a percent of the spread
_MAX = 50_000


def every(n: int, most: int = _MAX) -> np.ndarray:
    """Return the indices of all of n records, or of some `most` evenly among more."""
    return np.arange(0, n, n // most + 1)


def typical(values: np.ndarray, none: float = float("nan")) -> float:
    """Return the median, estimated from an even sample of very many; `none` where there are no values."""
    return float(np.median(values[every(len(values))])) if len(values) else none


A = TypeVar("A")
B = TypeVar("B")

_THREADS = min(os.cpu_count() or 1, 8)


def in_threads(work: Callable[[int, int], None], n: int, least: int = 20_000) -> None:
    """Run `work(low, high)` over blocks of 0..n; in one thread where a second would do less than `least`."""
    threads = min(_THREADS, max(1, n // least))
    if threads == 1:
        work(0, n)
        return
    edges = np.linspace(0, n, 4 * threads + 1).astype(int)
    with ThreadPoolExecutor(threads) as pool:
        for done in [pool.submit(work, int(a), int(b)) for a, b in pairwise(edges)]:
            done.result()


def for_each(work: Callable[[A], B], items: Iterable[A]) -> list[B]:
    """Return `work` of each item, in their order; each in a thread."""
    with ThreadPoolExecutor(_THREADS) as pool:
        return list(pool.map(work, items))


def side_by_side(one: Callable[[], A], other: Callable[[], B]) -> tuple[A, B]:
    """Return what both give; the other runs in a thread of its own."""
    with ThreadPoolExecutor(1) as aside:
        later = aside.submit(other)
        return one(), later.result()
