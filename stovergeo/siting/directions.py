"""In which direction rows of bales hold most: directions tried coarse to fine."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from operator import attrgetter
from typing import NamedTuple

from stovergeo.siting.bins import Window
from stovergeo.siting.fit import max_bales
from stovergeo.siting.pattern import Block, Pattern

_FINER_DEG = (10.0, 5.0, 2.5)  # steps to either side of the best directions so far
_KEPT = 3  # directions followed up
_SMALL_M2 = 40_000.0
_FINEST_M, _FINE_M, _COARSE_M = 0.2, 0.6, 1.6  # longest bins: for the last fit, for choosing, for a first look
_BINS_MAX = 2e6  # on large ground the last fit has larger bins
_THREADS = 2


class Fit(NamedTuple):
    """How rows fit into a piece of ground; `stovergeo.siting.fit.lay_rows` lays them so."""

    bales: int
    angle_deg: float
    block: Block
    bin_m: float


_bales = attrgetter("bales")


def best_fit(window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, angle_deg: float) -> Fit:
    """Return the stack of which most bales fit in one direction.

    Of equal ones the first wins: the stack with the fewest rows.
    """
    chosen = _max(window, pattern, blocks, fire_gap_m, angle_deg, _FINE_M)
    return max(chosen, _finest(window, pattern, chosen, fire_gap_m), key=_bales)


def best_fit_any_angle(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, every_deg: float = 15.0
) -> Fit:
    """Return the same over all directions: a coarse round first, then finer round the best of it.

    On small ground every stack is tried in every coarse direction. On large ground, where
    the shape of the stack hardly decides the direction, one stack finds the directions and
    the others are tried in those.
    """
    with ThreadPoolExecutor(_THREADS) as pool:  # the kernels release the interpreter

        def each(tries: Iterable[tuple[Sequence[Block], float]], bin_m: float) -> list[Fit]:
            return list(pool.map(lambda t: _max(window, pattern, t[0], fire_gap_m, t[1], bin_m), tries))

        coarse = [k * every_deg for k in range(round(180 / every_deg))]
        small = window.area_m2 <= _SMALL_M2
        first = blocks if small else [min(blocks, key=lambda b: max(b.length_m, b.width_m))]
        kept = _best(each([(first, angle) for angle in coarse], _FINE_M if small else _COARSE_M))
        if not small:
            kept = _best(each([(blocks, fit.angle_deg) for fit in kept], _FINE_M))
        for step in _FINER_DEG if small else _FINER_DEG[:2]:
            sides = [([fit.block], (fit.angle_deg + turn) % 180) for fit in kept for turn in (-step, step)]
            kept = _best([*kept, *each(sides, _FINE_M)])
        finest = pool.map(lambda fit: _finest(window, pattern, fit, fire_gap_m), kept)
        return max([*kept, *finest], key=_bales)


def _best(tried: list[Fit]) -> list[Fit]:
    return sorted(tried, key=_bales, reverse=True)[:_KEPT]


def _max(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, angle_deg: float, bin_m: float
) -> Fit:
    bales = max_bales(window, pattern, blocks, fire_gap_m, angle_deg, bin_m)
    return max((Fit(n, angle_deg, block, bin_m) for n, block in zip(bales, blocks, strict=True)), key=_bales)


def _finest(window: Window, pattern: Pattern, fit: Fit, fire_gap_m: float) -> Fit:
    """Return the same fit on bins as small as the ground allows; rounding to bins loses least there."""
    bin_m = max(_FINEST_M, math.sqrt(window.area_m2 / _BINS_MAX))
    return fit if bin_m >= fit.bin_m else _max(window, pattern, [fit.block], fire_gap_m, fit.angle_deg, bin_m)
