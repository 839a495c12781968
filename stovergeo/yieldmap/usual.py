"""What is usual among records: of very many, a sample tells it as well as all."""

from __future__ import annotations

import numpy as np

#: records from which a median is taken; its standard error is then half a percent of the spread
_MOST = 50_000


def every(n: int, most: int = _MOST) -> np.ndarray:
    """Return the indices of all of n records, or of some `most` evenly among more."""
    return np.arange(0, n, n // most + 1)


def usual(values: np.ndarray, none: float = float("nan")) -> float:
    """Return the median, estimated from an even sample of very many; `none` where there are no values."""
    return float(np.median(values[every(len(values))])) if len(values) else none
