"""Samples of the handbook's coefficients, each from a stream of its own.

A stream is made from the seed, the coefficient's name and the field's or zone's: adding a coefficient or a field, or
asking for them in another order, changes no other draw. Draws are stratified (one in each of n equal slices of
probability), which steadies the percentiles.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

from stovergeo.core.coefficients import Coefficient
from stovergeo.residue.carbon_stock.goal import lognormal


def stream(seed: int, name: str) -> np.random.Generator:
    """Return the stream of one named input."""
    return np.random.default_rng([seed, crc32(name.encode())])


def spread_evenly(rng: np.random.Generator, n: int) -> np.ndarray:
    """Return n probabilities in (0, 1), one in each of n equal slices, in random order."""
    return (rng.permutation(n) + rng.random(n)) / n


def triangular(probability: np.ndarray, low: float, mode: float, high: float) -> np.ndarray:
    """Return the value of a triangular distribution below which a share `probability` lies."""
    turn = (mode - low) / (high - low)
    rising = low + np.sqrt(probability * (high - low) * (mode - low))
    falling = high - np.sqrt((1 - probability) * (high - low) * (high - mode))
    return np.where(probability < turn, rising, falling)


def draw(coefficient: Coefficient, seed: int, n: int, owner: str = "") -> np.ndarray:
    """Return n samples of a coefficient from its spread, triangular or lognormal; one number repeated without one.

    Parameters
    ----------
    coefficient : Coefficient
    seed, n : int
    owner : str
        Name of the field or zone whose own value it is; "" where one value holds for all.
    """
    if not coefficient.has_spread:
        return np.full(n, coefficient.value)
    name = f"{coefficient.key}/{owner}" if owner else coefficient.key
    probability = spread_evenly(stream(seed, name), n)
    if coefficient.sd_ln:
        return np.asarray(lognormal(probability, coefficient.value, coefficient.sd_ln))
    return triangular(probability, coefficient.low, coefficient.value, coefficient.high)
