"""Stack patterns: how bales stand beside and above each other, and what ground that takes.

A pattern is a cross-section repeated along the row. `Pattern.step_m` is the distance along the
row to the next section, `across_m` the width of the section, `per_step` its bales.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from stovergeo.core.bale_catalog import SHAPES


@dataclass(frozen=True, slots=True)
class Pattern:
    """One stacking pattern for one kind of bale."""

    name: str  #: single row, touching rows, mushroom, pyramid or squares
    step_m: float
    across_m: float
    per_step: int
    height_m: float
    gap_m: float  #: clear ground between two rows of one stack
    bale_kg: float  #: as-is mass of a bale, water included
    steps_min: int = 1  #: shortest row worth building, or safe to build
    on_ground: int = 1  #: bales of a section that touch the ground


def row_pattern(
    bale: Any,
    bale_kg: float,
    pattern: str,
    *,
    row_gap_m: float,
    square_levels: int,
    square_across: int,
    height_per_base: float,
    row_min: int,
) -> Pattern:
    """Return the cross-section for a bale and a pattern.

    Parameters
    ----------
    bale : object
        With ``shape`` (name of `SHAPES`) and ``width_m``, ``diameter_m``, ``height_m``, ``length_m``.
    bale_kg : float
        As-is mass, kg.
    pattern : {"single row", "touching rows", "mushroom", "pyramid"}
        For round bales; large squares are always stacked on a block.

    Notes
    -----
    Land per bale, round, width W, diameter D, gap g: single row W (D + g); mushroom
    D (D + g)/2; pyramid 3-2-1 W (3D + g)/6 (plane geometry).
    """
    W, D = bale.width_m, bale.diameter_m
    if not SHAPES[bale.shape].is_cylinder:
        across = square_across * bale.length_m
        levels = min(square_levels, max(1, int(height_per_base * across / bale.height_m + 1e-9)))
        # a row shorter than this would be the shortest side of the base and break the height rule
        least = math.ceil(levels * bale.height_m / height_per_base / W - 1e-9)
        per_step, height_m = levels * square_across, levels * bale.height_m
        return Pattern("squares", W, across, per_step, height_m, row_gap_m, bale_kg, max(1, least), square_across)
    shapes = {
        "single row": Pattern("single row", W, D, 1, D, row_gap_m, bale_kg, row_min),
        "touching rows": Pattern("touching rows", W, D, 1, D, 0.0, bale_kg, row_min),
        # a bale on its flat end carries one that lies on its side
        "mushroom": Pattern("mushroom", D, D, 2, W + D, row_gap_m, bale_kg, row_min),
        # three layers of circles, each in the hollows of the one below
        "pyramid": Pattern("pyramid", W, 3 * D, 6, D * (1 + math.sqrt(3)), row_gap_m, bale_kg, row_min, 3),
    }
    return shapes[pattern]


def land_per_bale_m2(pattern: Pattern) -> float:
    """Return ground under and beside one bale in a long field of rows, without lanes and fire gaps, m2."""
    return pattern.step_m * (pattern.across_m + pattern.gap_m) / pattern.per_step


def bales_per_stack(pattern: Pattern, stack_max_mg: float) -> int:
    """Return the most bales whose as-is mass stays within one stack's limit."""
    return max(pattern.per_step, int(stack_max_mg * 1000 / pattern.bale_kg + 1e-9))


@dataclass(frozen=True, slots=True)
class Block:
    """A stack as it would stand on open ground: rows side by side."""

    rows: int
    steps: int  #: sections in a full row
    length_m: float  #: along the rows
    width_m: float  #: across them
    bales: int  #: when every row is full


def block(pattern: Pattern, rows: int, steps: int) -> Block:
    """Return the block of so many rows and sections."""
    width = rows * pattern.across_m + (rows - 1) * pattern.gap_m
    return Block(rows, steps, steps * pattern.step_m, width, rows * steps * pattern.per_step)


def blocks_within(pattern: Pattern, stack_max_mg: float, rows_max: int = 12) -> list[Block]:
    """Return the blocks that fill one stack's limit, from one long row to many short ones.

    Each has as many sections as the limit allows; those whose rows would fall below the
    least length are left out. Never empty: one row of the least length stays even where
    the limit is smaller than that.
    """
    most = bales_per_stack(pattern, stack_max_mg)
    found = []
    for rows in range(1, rows_max + 1):
        steps = most // (rows * pattern.per_step)
        if steps < pattern.steps_min:
            break
        found.append(block(pattern, rows, steps))
    return found or [block(pattern, 1, max(1, most // pattern.per_step))]
