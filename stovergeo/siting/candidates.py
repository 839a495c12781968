"""Where to try a yard: rectangles of the grid with good, allowed ground, best first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stovergeo.siting.pattern import Block

_ROOM_TO_TURN = 1.25
_BEST = 12  # places kept for each size and shape of rectangle, wherever they lie
_PARTS = 6  # and the best one of each of 6 x 6 parts of the farm


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle of cells in which a yard of some size may be tried."""

    row: int
    col: int
    rows: int
    cols: int
    bales: int  #: the size looked for
    value: float  #: mean score of its allowed ground, less what is forbidden in it

    @property
    def slices(self) -> tuple[slice, slice]:
        """Rows and columns of the grid."""
        return slice(self.row, self.row + self.rows), slice(self.col, self.col + self.cols)


def rectangles(bales: int, block: Block, fire_gap_m: float, any_angle: bool) -> list[tuple[float, float]]:
    """Return sizes (north-south, east-west, m) of rectangles that hold so many bales of stacks on open ground.

    Near-square, one stack wide and one stack long; for rows of any angle a square with
    room to turn the near-square one.
    """
    stacks = max(1, math.ceil(bales / block.bales))
    long, wide = block.length_m, block.width_m
    if bales < block.bales:  # less than a stack: fewer rows of the same length, or as many shorter ones
        part = bales / block.bales
        rows, steps = math.ceil(block.rows * part), math.ceil(block.steps * part)
        sizes = {(long, wide * rows / block.rows), (long * steps / block.steps, wide)}
    else:
        near_square = max(1, round(math.sqrt(stacks * (wide + fire_gap_m) / (long + fire_gap_m))))
        sizes = {
            (n * (long + fire_gap_m) - fire_gap_m, math.ceil(stacks / n) * (wide + fire_gap_m) - fire_gap_m)
            for n in (1, stacks, near_square)
        }
    if any_angle:
        tall, wide = min(sizes, key=max)
        side = max(_ROOM_TO_TURN * math.sqrt(tall * wide), tall, wide)
        return [(side, side)]
    return sorted(sizes)


class Sums:
    """Sums of score and of allowed ground over any rectangle of cells, from running totals."""

    def __init__(self, allowed: np.ndarray, score: np.ndarray) -> None:
        self.shape = allowed.shape
        self._allowed = _running(allowed.astype(np.float64))
        self._score = _running(np.where(allowed, np.nan_to_num(score), 0.0).astype(np.float64))

    def over(self, rows: int, cols: int, step: int) -> tuple[np.ndarray, np.ndarray]:
        """Return allowed cells and sum of their scores of the rectangles that start at every `step` cells."""
        return _boxes(self._allowed, rows, cols, step), _boxes(self._score, rows, cols, step)


def _running(cells: np.ndarray) -> np.ndarray:
    return np.pad(cells.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))


def _boxes(total: np.ndarray, rows: int, cols: int, step: int) -> np.ndarray:
    top, left = total[:-rows:step, :-cols:step], total[:-rows:step, cols::step]
    low, right = total[rows::step, :-cols:step], total[rows::step, cols::step]
    n, m = min(top.shape[0], low.shape[0]), min(top.shape[1], left.shape[1])
    return right[:n, :m] - low[:n, :m] - left[:n, :m] + top[:n, :m]


def find_places(
    sums: Sums, bales: int, block: Block, fire_gap_m: float, cell_m: float, min_m2: float, any_angle: bool
) -> list[Place]:
    """Return the best rectangles for one size of yard, best first.

    Parameters
    ----------
    sums : Sums
    bales : int
    block : Block
    fire_gap_m, cell_m : float
    min_m2 : float
        Allowed ground below which a rectangle is not worth trying.
    any_angle : bool
    """
    found: list[Place] = []
    for tall, wide in rectangles(bales, block, fire_gap_m, any_angle):
        rows = min(math.ceil(tall / cell_m - 1e-9), sums.shape[0])
        cols = min(math.ceil(wide / cell_m - 1e-9), sums.shape[1])
        step = max(1, min(rows, cols) // 6)
        allowed, score = sums.over(rows, cols, step)
        share = allowed / (rows * cols)
        mean = np.divide(score, allowed, out=np.zeros_like(score), where=allowed > 0.5)
        value = np.where(allowed * cell_m**2 >= min_m2, mean * share, 0.0)
        keep = -(-rows // step), -(-cols // step)
        for i, j in [*_highest(value, keep), *_highest_of_parts(value, keep)]:
            found.append(Place(i * step, j * step, rows, cols, bales, float(value[i, j])))
    return sorted(found, key=lambda p: -p.value)


def _highest(value: np.ndarray, keep: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the highest places, each blotting out those that would overlap it."""
    left = value.copy()
    found = []
    for _ in range(_BEST):
        i, j = divmod(int(np.argmax(left)), left.shape[1])
        if left[i, j] <= 0:
            break
        found.append((i, j))
        left[max(0, i - keep[0] + 1) : i + keep[0], max(0, j - keep[1] + 1) : j + keep[1]] = 0
    return found


def _highest_of_parts(value: np.ndarray, keep: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the highest place of each part of the farm, so that no part goes without an offer."""
    tall, wide = (max(k, -(-n // _PARTS)) for n, k in zip(value.shape, keep, strict=True))
    found = []
    for top in range(0, value.shape[0], tall):
        for left in range(0, value.shape[1], wide):
            part = value[top : top + tall, left : left + wide]
            i, j = divmod(int(np.argmax(part)), part.shape[1])
            if part[i, j] > 0:
                found.append((top + i, left + j))
    return found
