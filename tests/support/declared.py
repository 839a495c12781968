"""What `stovergeo.core.stack` declares of a variable, held against what a run made."""

from __future__ import annotations

import numpy as np

from stovergeo.core.stack import variable


def outside_range(name: str, least: float, most: float) -> str:
    """Return how a variable leaves its declared range, in words; empty where it does not, or where nothing is known."""
    kind = variable(name)
    if np.isnan(least):
        return ""
    slack = 1e-6 * max(1.0, abs(least), abs(most))  # the stack is float32
    inside = kind.low - slack <= least and most <= kind.high + slack
    return "" if inside else f"{name} runs from {least:g} to {most:g}, declared {kind.low:g} to {kind.high:g}"
