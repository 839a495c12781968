"""The best of several directions and shapes of stack for one piece of ground."""

from __future__ import annotations

from collections.abc import Sequence

from stovergeo.yards.fit import Window, most_bales
from stovergeo.yards.pattern import Block, Pattern

_FINER_DEG = (10.0, 5.0, 2.5)  # steps to either side of the best directions so far
_KEPT = 3  # directions followed up


def best_fit(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, angles_deg: Sequence[float]
) -> tuple[int, float, Block]:
    """Return the most bales, and the direction and stack with which they fit, among those given.

    Of equal ones the first wins: the first direction, and the stack with the fewest rows.
    """
    tried = [
        (most_bales(window, pattern, block, fire_gap_m, angle), angle, block)
        for angle in angles_deg
        for block in blocks
    ]
    return max(tried, key=lambda t: t[0])


def best_fit_any_angle(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, every_deg: float = 15.0
) -> tuple[int, float, Block]:
    """Return the same over all directions: a coarse round first, then finer round the best of it."""
    count = round(180 / every_deg)
    coarse = [best_fit(window, pattern, blocks, fire_gap_m, [k * every_deg]) for k in range(count)]
    kept = sorted(coarse, key=lambda t: -t[0])[:_KEPT]
    for step in _FINER_DEG:
        finer = [
            best_fit(window, pattern, [block], fire_gap_m, [(angle - step) % 180, (angle + step) % 180])
            for _, angle, block in kept
        ]
        kept = sorted([*kept, *finer], key=lambda t: -t[0])[:_KEPT]
    return kept[0]
