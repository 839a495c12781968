"""Keeping what compiled libraries print out of the command's own output."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Iterator


@contextlib.contextmanager
def standard_output_shut() -> Iterator[None]:
    """Send the process's standard output nowhere for a while, what C has buffered included.

    HiGHS, told to be silent, still prints a line of its own when it mends a whole plan; it would stand in the
    middle of the table that the command prints. Python's own words from other threads are lost meanwhile.
    """
    try:
        kept = os.dup(1)
    except OSError:  # no standard output at all, as in a service
        yield
        return
    sys.stdout.flush()
    _flush_c()
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        _flush_c()
        os.dup2(kept, 1)
        os.close(kept)


def _flush_c() -> None:
    with contextlib.suppress(OSError, TypeError, AttributeError):  # where the C library cannot be named so
        ctypes.CDLL(None).fflush(None)
