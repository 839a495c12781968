"""Finding the best yards: try rows in good places, keep those that hold bales and stand apart."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo.handbook import Handbook
from stovergeo.plan_file.yards import Yards
from stovergeo.stack import need
from stovergeo.yards.angle import Angle, wanted_angles
from stovergeo.yards.candidates import Place, Sums, find_places
from stovergeo.yards.explain import no_ground_words, summary_words
from stovergeo.yards.fit import Rows, Window, lay_rows, most_bales
from stovergeo.yards.pattern import Block, Pattern, blocks_within
from stovergeo.yards.rate import GroundRatings
from stovergeo.yards.sheet import Yard, ratings_table, stacks_table, yards_table

_ROWS_MOST = 6  # rows side by side: more would leave the inner ones without sun and out of reach
_PARTS = (2, 4, 8)  # yards are looked for that hold a half, a quarter, an eighth of the bales


@dataclass(frozen=True, slots=True)
class FoundYards:
    """Yards worth offering, best first. Tables follow `stovergeo.schemas`."""

    yards: gpd.GeoDataFrame
    stacks: gpd.GeoDataFrame
    ratings: pd.DataFrame  #: yard_id, criterion, title, score, allowed, words
    words: list[str] = field(default_factory=list)  #: how many hold how much; or why there is none


def find_yards(
    stack: xr.Dataset,
    ratings: GroundRatings,
    bales_wanted: int,
    yards_plan: Yards,
    bale: Any,
    book: Handbook,
    *,
    units: str = "us",
) -> FoundYards:
    """Find the best places for so many bales and lay out their rows.

    Parameters
    ----------
    stack : xarray.Dataset
        As `rate_ground` returned it.
    ratings : GroundRatings
    bales_wanted : int
        Bales to be stored at once. More room than that is offered, so that the joint
        choice of yards and hauls has something to choose from.
    yards_plan : Yards
    bale : BaleSize or plan_file.gather.Bale
        Kept for the seam; the pattern in `ratings` already knows it.
    book : Handbook
    units : {"us", "metric"}
        For the words.

    Returns
    -------
    FoundYards
        Empty tables with the right columns, and words that say why, where no ground is allowed.
    """
    need(stack, ("yard_allowed", "yard_score", "yard_reason"), "the search for yards")
    hunt = _Hunt(stack, ratings, yards_plan, book)
    yards = hunt.run(max(int(bales_wanted), 1))
    yards.sort(key=lambda y: (-y.score, -y.bales))
    words = (
        summary_words(yards, bales_wanted, yards_plan.most) if yards else no_ground_words(stack, ratings, book, units)
    )
    crs = stack.rio.crs
    return FoundYards(
        yards_table(yards, stack, ratings, book, crs, units),
        stacks_table(yards, crs),
        ratings_table(yards, stack, ratings, units),
        words,
    )


class _Hunt:
    """One search: what has been chosen so far, and what ground is left."""

    def __init__(self, stack: xr.Dataset, ratings: GroundRatings, plan: Yards, book: Handbook) -> None:
        self.plan = plan
        self.ratings = ratings
        self.pattern: Pattern = ratings.options.pattern
        gap = plan.fire_gap_m
        self.fire_gap = book.value("yards.fire_gap") if gap is None else gap
        self.lane = book.value("yards.lane")
        self.apart = book.value("yards.search.apart")
        self.full_share = book.value("yards.search.full_share")
        self.blocks = blocks_within(self.pattern, plan.stack_most_mg, _ROWS_MOST)
        self.allowed = stack["yard_allowed"].values >= 1
        self.score = np.nan_to_num(stack["yard_score"].values)
        self.stack = stack
        self.cell = ratings.site.cell_m
        transform = stack.rio.transform()
        self.west, self.north = float(transform.c), float(transform.f)
        self.keep_out = ratings.keep_out()
        shapely.prepare(self.keep_out)
        self.chosen: list[Yard] = []
        self.tried: dict[Place, Yard | None] = {}

    def run(self, wanted: int) -> list[Yard]:
        """Choose yards: large, middle and small ones in turn, until there is room and to spare."""
        if not self.allowed.any():
            return []
        sums = Sums(self.allowed, self.score)
        squarish = min(self.blocks, key=lambda b: max(b.length_m, b.width_m))
        least = max(self.plan.smallest_bales, self.pattern.per_step * self.pattern.steps_least)
        least_m2 = 0.9 * least * self.pattern.step_m * self.pattern.across_m / self.pattern.per_step
        any_angle = self.plan.rows != "north-south"
        parts = (1,) if self.plan.most == 1 else _PARTS
        sizes = sorted({max(least, math.ceil(wanted / part)) for part in parts}, reverse=True)
        places = {
            size: find_places(sums, size, squarish, self.fire_gap, self.cell, least_m2, any_angle) for size in sizes
        }
        for size in self._turns(sizes):
            if len(self.chosen) >= self.plan.most:
                break
            self._choose(places[size])
        self._make_room(places[sizes[0]], wanted)
        return self.chosen

    def _turns(self, sizes: list[int]) -> Iterator[int]:
        """Give each size its share of the yards: a quarter large, a quarter middle, the rest small."""
        most = self.plan.most
        quarter = max(1, most // 4)
        for size in sizes[:-1]:
            yield from [size] * quarter
        yield from [sizes[-1]] * most

    def _choose(self, places: list[Place]) -> bool:
        """Take the best place left that holds bales and stands clear of those chosen."""
        for place in sorted(places, key=self._worth, reverse=True):
            if self._overlaps(place):
                continue
            yard = self._try(place)
            if yard is not None and self._clear(yard):
                self.chosen.append(yard)
                return True
        return False

    def _worth(self, place: Place) -> float:
        """Lower a place's value when a chosen yard already stands in the same part of the farm."""
        x = self.west + (place.col + place.cols / 2) * self.cell
        y = self.north - (place.row + place.rows / 2) * self.cell
        near = max(
            (math.exp(-math.hypot(x - c.x, y - c.y) / self.apart) for c in (c.middle for c in self.chosen)), default=0.0
        )
        return place.value * (1 - 0.3 * near)

    def _overlaps(self, place: Place) -> bool:
        box = shapely.box(
            self.west + place.col * self.cell,
            self.north - (place.row + place.rows) * self.cell,
            self.west + (place.col + place.cols) * self.cell,
            self.north - place.row * self.cell,
        )
        # half a rectangle may overlap: its rows may still stand clear
        return any(shapely.area(shapely.intersection(box, y.ground)) > 0.5 * box.area for y in self.chosen)

    def _clear(self, yard: Yard) -> bool:
        return all(shapely.distance(yard.stacks_all, y.stacks_all) >= self.fire_gap for y in self.chosen)

    def _try(self, place: Place) -> Yard | None:
        """Lay rows in a place, at the best angle and the best shape of stack."""
        if place not in self.tried:
            self.tried[place] = self._lay(place)
        return self.tried[place]

    def _lay(self, place: Place) -> Yard | None:
        rows, cols = place.slices
        window = Window(
            ~self.allowed[rows, cols], self.west + place.col * self.cell, self.north - place.row * self.cell, self.cell
        )
        angles = wanted_angles(self.plan.rows, self.stack, rows, cols)
        best: tuple[int, Angle, Block] | None = None
        for angle in angles:
            for block in self.blocks:
                if block.rows == 1 and place.bales > block.bales:
                    continue
                bales = most_bales(window, self.pattern, block, self.fire_gap, angle.degrees)
                if best is None or bales > best[0]:
                    best = bales, angle, block
        if best is None or best[0] < self.plan.smallest_bales:
            return None
        laid = self._checked(lay_rows(window, self.pattern, best[2], self.fire_gap, best[1].degrees))
        if laid.bales < self.plan.smallest_bales:
            return None
        yard = Yard.of(laid, best[1], self.pattern, self.lane, self.fire_gap, self.keep_out, self.ratings)
        return yard.scored(self.stack)

    def _checked(self, laid: Rows) -> Rows:
        """Drop any row that touches ground kept out by the exact shapes; cells are only their picture."""
        return laid.only(~shapely.intersects(self.keep_out, laid.polygons), self.pattern)

    def _make_room(self, large: list[Place], wanted: int) -> None:
        """Where the yards do not hold enough, add large ones in place of the smallest."""
        while sum(y.bales for y in self.chosen) < self.full_share * wanted:
            before = list(self.chosen)
            held = sum(y.bales for y in before)
            if len(self.chosen) >= self.plan.most:
                self.chosen.remove(min(self.chosen, key=lambda y: y.bales))
            if not self._choose(large) or sum(y.bales for y in self.chosen) <= held:
                self.chosen = before
                return
