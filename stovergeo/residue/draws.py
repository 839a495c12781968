"""Seeded draws of uncertain coefficients: what varies together, and from what stream.

Every coefficient draws from a stream of its own, made from the seed and its name: adding
one coefficient, or asking for them in another order, changes no other draw. Draws are
stratified (one in each of n equal slices of probability), which steadies the percentiles.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

from stovergeo.core.coefficients import Coefficient


def stream(seed: int, name: str) -> np.random.Generator:
    """Return the stream of one named input."""
    return np.random.default_rng([seed, crc32(name.encode())])


def spread_evenly(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Return probabilities in (0, 1), stratified along the first axis and independent along the others."""
    n = shape[0]
    slices = rng.permuted(np.broadcast_to(np.arange(n).reshape(n, *(1,) * (len(shape) - 1)), shape), axis=0)
    return (slices + rng.random(shape)) / n


def triangular(probability: np.ndarray, low: float, mode: float, high: float) -> np.ndarray:
    """Return the value of a triangular distribution below which a share `probability` lies."""
    turn = (mode - low) / (high - low)
    rising = low + np.sqrt(probability * (high - low) * (mode - low))
    falling = high - np.sqrt((1 - probability) * (high - low) * (high - mode))
    return np.where(probability < turn, rising, falling)


def draw(coefficient: Coefficient, seed: int, shape: tuple[int, ...]) -> np.ndarray:
    """Return draws of a coefficient from its spread; one number repeated where it has none.

    Parameters
    ----------
    coefficient : Coefficient
    seed : int
    shape : tuple of int
        Draws first; then the fields or zones among which it differs.
    """
    if not coefficient.low < coefficient.high:
        return np.full(shape, coefficient.value)
    probability = spread_evenly(stream(seed, coefficient.key), shape)
    return triangular(probability, coefficient.low, coefficient.value, coefficient.high)
