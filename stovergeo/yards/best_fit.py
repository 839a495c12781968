"""The best of several directions and shapes of stack for one piece of ground."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from stovergeo.yards.fit import Window, most_bales
from stovergeo.yards.pattern import Block, Pattern

_FINER_DEG = (10.0, 5.0, 2.5)  # steps to either side of the best directions so far
_KEPT = 3  # directions followed up
_SMALL_M2 = 40_000.0
_FINE_M, _COARSE_M = 0.6, 1.6  # longest bins
_THREADS = 2


def best_fit(
    window: Window,
    pattern: Pattern,
    blocks: Sequence[Block],
    fire_gap_m: float,
    angles_deg: Sequence[float],
    bin_m: float = _FINE_M,
) -> tuple[int, float, Block]:
    """Return the most bales, and the direction and stack with which they fit, among those given.

    Of equal ones the first wins: the first direction, and the stack with the fewest rows.
    """
    tried = [
        (most_bales(window, pattern, block, fire_gap_m, angle, bin_m), angle, block)
        for angle in angles_deg
        for block in blocks
    ]
    return max(tried, key=lambda t: t[0])


def best_fit_any_angle(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, every_deg: float = 15.0
) -> tuple[int, float, Block]:
    """Return the same over all directions: a coarse round first, then finer round the best of it.

    On small ground every stack is tried in every coarse direction. On large ground, where
    the shape of the stack hardly decides the direction, one stack finds the directions and
    the others are tried in those.
    """

    def each(tries: Sequence[tuple[Sequence[Block], Sequence[float]]], bin_m: float) -> list[tuple[int, float, Block]]:
        with ThreadPoolExecutor(_THREADS) as pool:  # the kernels let go of the interpreter
            return list(pool.map(lambda t: best_fit(window, pattern, t[0], fire_gap_m, t[1], bin_m), tries))

    coarse = [k * every_deg for k in range(round(180 / every_deg))]
    small = window.forbidden.size * window.cell_m**2 <= _SMALL_M2
    first = blocks if small else [min(blocks, key=lambda b: max(b.length_m, b.width_m))]
    kept = _best(each([(first, [angle]) for angle in coarse], _FINE_M if small else _COARSE_M))
    if not small:
        kept = _best(each([(blocks, [angle]) for _, angle, _ in kept], _FINE_M))
    for step in _FINER_DEG if small else _FINER_DEG[:2]:
        sides = [([block], [(angle - step) % 180, (angle + step) % 180]) for _, angle, block in kept]
        kept = _best([*kept, *each(sides, _FINE_M)])
    return kept[0]


def _best(tried: list[tuple[int, float, Block]]) -> list[tuple[int, float, Block]]:
    return sorted(tried, key=lambda t: -t[0])[:_KEPT]
