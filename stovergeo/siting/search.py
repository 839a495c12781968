"""Finding the best yards: try rows in good places, keep those that hold bales and stand apart."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.stack import need
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting.bins import Window
from stovergeo.siting.candidates import Place, Sums, find_places
from stovergeo.siting.directions import best_fit, best_fit_any_angle
from stovergeo.siting.explain import named_place_message, no_ground_messages, room_messages
from stovergeo.siting.fit import Rows, lay_rows
from stovergeo.siting.pattern import Pattern, blocks_within
from stovergeo.siting.rate import GroundRatings
from stovergeo.siting.sheet import make_tables
from stovergeo.siting.site import message
from stovergeo.siting.yard import Angle, Cells, Yard, cells_in, find_apron, lanes_round, outline, wanted_angle

_ROWS_MAX = 6  # rows side by side: more would leave the inner ones without sun and out of reach
_MAX_TRIES = 25  # places tried for one yard before its size is given up
_PARTS = (2, 4, 8)  # yards are looked for that hold a half, a quarter, an eighth of the bales


@dataclass(frozen=True, slots=True)
class FoundYards:
    """Yards worth offering, best first. Tables follow `stovergeo.core.schemas`."""

    yards: gpd.GeoDataFrame
    stacks: gpd.GeoDataFrame
    apron: gpd.GeoDataFrame  #: a row for each yard beside which a truck has room to turn
    lanes: gpd.GeoDataFrame
    ratings: pd.DataFrame  #: yard_id, criterion, title, score, allowed, message
    near: pd.DataFrame  #: yard_id, layer, name, distance_m: the nearest of each layer given
    cells: dict[str, Cells]  #: yard_id -> grid cells under its stacks, of which its figures are means
    messages: list[Message] = field(default_factory=list)  #: how many hold how much; or why there is none


def find_yards(
    stack: xr.Dataset,
    ratings: GroundRatings,
    bales_wanted: int,
    yards_plan: Yards,
    bale: Any,
    coefficients: Handbook,
    *,
    before: gpd.GeoDataFrame | None = None,
    first: int = 1,
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
    bale : BaleSize or inputs.plan.gather.Bale
        Kept for the seam; the pattern in `ratings` already knows it.
    coefficients : Handbook
    before : GeoDataFrame, optional
        Yards of the plan before. A place keeps its name, and no new place gets one of theirs.
    first : int
        Least number of a new place's name: those of other clusters of fields go before.

    Returns
    -------
    FoundYards
        Empty tables with the right columns, and messages that say why, where no ground is allowed.

    Raises
    ------
    ContractError
        When the stack was not rated before.

    Examples
    --------
    Room for a hundred bales on gentle ground beside a road:

    >>> import geopandas as gpd
    >>> import numpy as np
    >>> import shapely
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import Report, bale_of, find_yards, load_handbook, new_stack, put, rate_ground
    >>> from stovergeo.inputs.plan import Bale, Yards
    >>> coefficients = load_handbook()
    >>> stack = new_stack(GeoBox.from_bbox((440_000, 4_650_000, 440_500, 4_650_500), crs="EPSG:32615", resolution=5))
    >>> stack = put(stack, slope_pct=np.full((100, 100), 2.0))
    >>> road = shapely.LineString([(440_000, 4_650_000), (440_000, 4_650_500)])
    >>> roads = gpd.GeoDataFrame({"name": ["county road"]}, geometry=[road], crs=32615)
    >>> bale = bale_of(Bale(size="5x6"), None, coefficients)
    >>> rated, ratings = rate_ground(stack, {"roads": roads}, Yards(), bale, coefficients, Report())
    >>> found = find_yards(rated, ratings, 100, Yards(), bale, coefficients)
    >>> bool(found.yards["capacity_bales"].sum() >= 100)
    True
    >>> bool(found.stacks.distance(road).min() > 0)
    True
    """
    need(stack, ("yard_allowed", "yard_score", "yard_reason"), "the search for yards")
    hunt = _Hunt(stack, ratings, yards_plan, coefficients)
    found = hunt.run(max(int(bales_wanted), 1))
    found.sort(key=lambda y: (-np.nan_to_num(y.score), -y.bales))
    if found:
        messages = room_messages(found, bales_wanted, yards_plan.most)
    else:
        messages = no_ground_messages(stack, ratings, coefficients)
    messages += [named_place_message(name, cells, stack, ratings) for name, cells in hunt.refused]
    tables = make_tables(found, stack, ratings, coefficients, before, first)
    cells = {yard_id: yard.cells for yard_id, yard in zip(tables[0]["yard_id"], found, strict=True)}
    return FoundYards(*tables, cells, messages)


class _Hunt:
    """One search: what has been chosen so far, and what ground is left."""

    def __init__(self, stack: xr.Dataset, ratings: GroundRatings, plan: Yards, coefficients: Handbook) -> None:
        self.plan = plan
        self.ratings = ratings
        self.pattern: Pattern = ratings.options.pattern
        self.fire_gap = coefficients.value("yards.fire_gap") if plan.fire_gap_m is None else plan.fire_gap_m
        self.lane = coefficients.value("yards.lane")
        self.apart = coefficients.value("yards.search.apart")
        self.full_fraction = coefficients.value("yards.search.full_fraction")
        self.blocks = blocks_within(self.pattern, plan.stack_max_mg, _ROWS_MAX)
        self.allowed = stack["yard_allowed"].values >= 1
        self.free = self.allowed.copy()  # what no chosen yard takes or keeps clear
        # where nothing is known of the ground it ranks in the middle, and its yard carries no score
        self.score = np.nan_to_num(stack["yard_score"].values, nan=0.5)
        self.stack = stack
        self.site = ratings.site
        self.cell = ratings.site.cell_m
        transform = stack.rio.transform()
        self.west, self.north = float(transform.c), float(transform.f)
        self.keep_out = ratings.keep_out()
        shapely.prepare(self.keep_out)
        self.apron_m = coefficients.value("yards.apron")
        access = ratings.of("access")
        self.route = None if access is None else access.rating.value.values
        self.chosen: list[Yard] = []
        self.refused: list[tuple[str, Cells]] = []  # the grower's own places that hold no yard

    def run(self, wanted: int) -> list[Yard]:
        """Choose yards: large, middle and small ones in turn, until there is room and to spare."""
        self._known_places()
        if not self.allowed.any():
            return []
        sums = Sums(self.allowed, self.score)
        squarish = min(self.blocks, key=lambda b: max(b.length_m, b.width_m))
        least = max(self.plan.min_bales, self.pattern.per_step * self.pattern.steps_min)
        min_m2 = 0.9 * least * self.pattern.step_m * self.pattern.across_m / self.pattern.per_step
        any_angle = self.plan.rows != "north-south"
        parts = (1,) if self.plan.most == 1 else _PARTS
        sizes = sorted({max(least, math.ceil(wanted / part)) for part in parts}, reverse=True)
        places = {n: find_places(sums, n, squarish, self.fire_gap, self.cell, min_m2, any_angle) for n in sizes}
        # a quarter of the yards large, a quarter middle, the rest small
        turns = [n for n in sizes[:-1] for _ in range(max(1, self.plan.most // 4))] + sizes[-1:] * self.plan.most
        for size in turns:
            if len(self.chosen) < self.plan.most:
                self._choose(places[size])
        self._make_room(places[sizes[0]], wanted)
        return self.chosen

    def _choose(self, places: list[Place]) -> bool:
        """Take the best place left that holds a yard."""
        tries = 0
        for place in sorted(places, key=self._worth, reverse=True):
            # half of a place may be taken: rows may still stand on the rest
            if self.free[place.slices].sum() < 0.5 * self.allowed[place.slices].sum():
                continue
            yard = self._lay(place)
            if yard is not None:
                self._take(yard)
                return True
            tries += 1
            if tries == _MAX_TRIES:
                break
        return False

    def _take(self, yard: Yard) -> None:
        """Keep a yard, and the ground round it clear of others."""
        self.chosen.append(yard)
        clear = max(self.fire_gap, 2 * self.lane)
        round_it = shapely.union(shapely.buffer(yard.stacks, clear, join_style="mitre"), yard.ground)
        self.free &= ~self.site.touched([round_it])

    def _worth(self, place: Place) -> float:
        """Lower a place's value when a chosen yard already stands in the same part of the farm."""
        x = self.west + (place.col + place.cols / 2) * self.cell
        y = self.north - (place.row + place.rows / 2) * self.cell
        far = min((yard.middle.distance(shapely.Point(x, y)) for yard in self.chosen), default=math.inf)
        return place.value * (1 - 0.3 * math.exp(-far / self.apart))

    def _known_places(self) -> None:
        """Try the grower's own places first; keep those that hold a yard, note those that do not."""
        frame = self.site.layer("yards")
        if frame is None:
            return
        names = frame["name"].astype(str) if "name" in frame.columns else [""] * len(frame)
        for name, shape in zip(names, frame.geometry, strict=True):
            if shape.geom_type not in ("Polygon", "MultiPolygon"):
                shape = shapely.buffer(shape, 2 * self.apron_m)
            cells = cells_in(self.site.x, self.site.y, shape, self.cell)
            row, col = (int(c.min()) for c in cells)
            place = Place(row, col, int(cells[0].max()) - row + 1, int(cells[1].max()) - col + 1, 0, 1.0)
            left, top = self.west + col * self.cell, self.north - row * self.cell
            window = shapely.box(left, top - place.rows * self.cell, left + place.cols * self.cell, top)
            outside = shapely.difference(window, shape)
            yard = self._lay(place, name, self.site.touched([outside]))
            if yard is not None and len(self.chosen) < self.plan.most:
                self._take(yard)
            elif yard is None:
                self.refused.append((name, cells))

    def _lay(self, place: Place, known_as: str | None = None, outside: np.ndarray | None = None) -> Yard | None:
        """Lay rows in a place, in the direction asked for and in the best shape of stack."""
        rows, cols = place.slices
        forbidden = ~self.free[rows, cols]
        if outside is not None:
            forbidden |= outside[rows, cols]
        window = Window(forbidden, self.west + place.col * self.cell, self.north - place.row * self.cell, self.cell)
        # one row of a whole stack's bales is very long; it is for headlands, not for the middle of the ground
        blocks = [b for b in self.blocks if b.rows > 1 or place.bales <= b.bales] or self.blocks
        angle = wanted_angle(self.plan.rows, self.stack, rows, cols)
        if angle is None:
            fit = best_fit_any_angle(window, self.pattern, blocks, self.fire_gap)
            angle = Angle(fit.angle_deg, message("rows.max_bales"))
        else:
            fit = best_fit(window, self.pattern, blocks, self.fire_gap, angle.degrees)
        if fit.bales < self.plan.min_bales:
            return None
        laid = self._checked(lay_rows(window, self.pattern, fit.block, self.fire_gap, fit.angle_deg, fit.bin_m))
        if place.bales:
            laid = self._enough(laid, place.bales)
        if laid.bales < self.plan.min_bales:
            return None
        stacks = shapely.multipolygons(laid.stack_outlines)
        cells = cells_in(self.site.x, self.site.y, stacks, self.cell)
        apron = find_apron(stacks, angle.degrees, self.apron_m, self.lane, self.free, self.route, self.site)
        ground = outline(stacks, apron, self.lane, self.fire_gap, self.keep_out)
        lanes = lanes_round(laid, self.lane, self.keep_out)
        known = self.stack["yard_score"].values[cells]
        score = float(np.nanmean(known)) if np.isfinite(known).any() else np.nan
        return Yard(laid, angle, self.pattern, stacks, ground, lanes, apron, cells, score, known_as)

    def _checked(self, laid: Rows) -> Rows:
        """Drop any row that touches ground kept out, or is too near to a hazard by distance; cells are a picture."""
        out = shapely.intersects(self.keep_out, laid.polygons) | self.ratings.too_near(laid.polygons)
        return laid.only(~out, self.pattern)

    def _enough(self, laid: Rows, bales: int) -> Rows:
        """Leave out the outermost stacks that are more than the place was looked for."""
        held = np.bincount(laid.stack, weights=laid.steps) * self.pattern.per_step
        middles = shapely.centroid(laid.stack_outlines)
        far = shapely.distance(middles, shapely.multipoints(middles).centroid)
        order = np.argsort(far, kind="stable")
        needed = int(np.searchsorted(np.cumsum(held[order]), bales)) + 1
        return laid.only(np.isin(laid.stack, order[:needed]), self.pattern)

    def _make_room(self, large: list[Place], wanted: int) -> None:
        """Where the yards do not hold enough, add large ones in place of the smallest."""
        while (held := sum(y.bales for y in self.chosen)) < self.full_fraction * wanted:
            before, free_before = list(self.chosen), self.free.copy()
            if len(self.chosen) >= self.plan.most:
                smallest = min(self.chosen, key=lambda y: y.bales)
                kept = [y for y in self.chosen if y is not smallest]
                self.chosen, self.free = [], self.allowed.copy()
                for yard in kept:
                    self._take(yard)
            if not self._choose(large) or sum(y.bales for y in self.chosen) <= held:
                self.chosen, self.free = before, free_before
                return
