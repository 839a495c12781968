"""How many examples a property test tries: a few in the short part, more and fresh ones with `--long`.

`examples` gives the number for `hypothesis.settings`. `harness` is for tests that bring made-up files to a reader:
`--fuzz-minutes 30` runs each of them for half an hour, and prints how many examples it tried.
"""

from __future__ import annotations

import functools
import time
from collections.abc import Callable, Iterable

import pytest
from hypothesis import HealthCheck, Phase, settings

#: set by `--long` and `--fuzz-minutes` before the tests are collected
long_part = False
minutes = 0.0
#: examples between two looks at the clock
BATCH = 50


def examples(short: int, long: int | None = None) -> int:
    """Return how many examples to try: `short`, and with `--long` three times as many or the number `long`."""
    if not long_part:
        return short
    return 3 * short if long is None else long


def first_short(cases: Iterable[object], count: int = 1) -> list:
    """Return the cases of a `parametrize`: the first `count` are tried in the short part, the others with `--long`."""
    listed = list(cases)
    rest = [pytest.param(*(c if isinstance(c, tuple) else (c,)), marks=pytest.mark.long) for c in listed[count:]]
    return [*listed[:count], *rest]


def harness(short: int, made_from: Callable) -> Callable[[Callable], Callable]:
    """Run a test on examples of a `given`: as many as `examples` gives, or new ones for the stated minutes."""
    chosen = settings(
        max_examples=examples(short),
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    if minutes:
        # a long run looks for more; what it finds is small enough as it is
        chosen = settings(chosen, max_examples=BATCH, derandomize=False, database=None, phases=[Phase.generate])

    def wrap(test: Callable) -> Callable:
        tried = [0]

        @functools.wraps(test)
        def counted(*args: object, **kwargs: object) -> None:
            tried[0] += 1
            test(*args, **kwargs)

        batch = chosen(made_from(counted))
        if not minutes:
            return batch

        @functools.wraps(batch)
        def for_long(*args: object, **kwargs: object) -> None:
            began = time.monotonic()
            try:
                while time.monotonic() - began < 60 * minutes:
                    batch(*args, **kwargs)
            finally:
                spent = (time.monotonic() - began) / 60
                print(f"\n{test.__name__}: {spent:.1f} minutes, {tried[0]:,} examples", flush=True)

        return for_long

    return wrap
