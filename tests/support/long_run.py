"""Harnesses that bring made-up files to a reader: a few examples in every test run, or as many as a stated time holds.

`STOVERGEO_FUZZ_MINUTES=30` runs each harness for half an hour with new examples, and prints how many it tried.
"""

from __future__ import annotations

import functools
import os
import time
from collections.abc import Callable

from hypothesis import HealthCheck, Phase, settings

MINUTES = float(os.environ.get("STOVERGEO_FUZZ_MINUTES", "0"))
#: examples between two looks at the clock
BATCH = 50


def harness(examples: int, made_from: Callable) -> Callable[[Callable], Callable]:
    """Run a test on examples of a `given`: a stated count, the same each time, or new ones for the stated minutes."""
    few = settings(
        max_examples=BATCH if MINUTES else examples,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
        derandomize=not MINUTES,
        # a long run looks for more; what it finds is small enough as it is
        phases=[Phase.generate] if MINUTES else [Phase.explicit, Phase.generate, Phase.shrink],
        database=None,
    )

    def wrap(test: Callable) -> Callable:
        tried = [0]

        @functools.wraps(test)
        def counted(*args: object, **kwargs: object) -> None:
            tried[0] += 1
            test(*args, **kwargs)

        batch = few(made_from(counted))
        if not MINUTES:
            return batch

        @functools.wraps(batch)
        def for_long(*args: object, **kwargs: object) -> None:
            began = time.monotonic()
            try:
                while time.monotonic() - began < 60 * MINUTES:
                    batch(*args, **kwargs)
            finally:
                spent = (time.monotonic() - began) / 60
                print(f"\n{test.__name__}: {spent:.1f} minutes, {tried[0]:,} examples", flush=True)

        return for_long

    return wrap
