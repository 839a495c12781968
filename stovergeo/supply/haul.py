"""Routes over the farm's ground from zones to yards: least-cost paths on a graph of moves between cells."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.features
import xarray as xr
from affine import Affine
from scipy import ndimage, sparse
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from stovergeo.core.coefficients import Handbook

#: moves to half of the sixteen neighbors (the rest are their reverses), with the cells
#: passed meanwhile; a route in these directions is at most 2.8 % longer than a straight one
_MOVES = (
    ((0, 1), ()),
    ((1, 0), ()),
    ((1, 1), ((0, 1), (1, 0))),
    ((1, -1), ((0, -1), (1, 0))),
    ((1, 2), ((0, 1), (1, 1))),
    ((2, 1), ((1, 0), (1, 1))),
    ((1, -2), ((0, -1), (1, -1))),
    ((2, -1), ((1, 0), (1, -1))),
)


def move_graph(hardness: np.ndarray, closed_field: np.ndarray, gate: np.ndarray, cell_m: float) -> sparse.csr_array:
    """Return the undirected graph of moves between cells, weighted by meters times hardness.

    Parameters
    ----------
    hardness : array, shape (rows, columns)
        What a meter counts for; NaN where nothing may pass.
    closed_field : int array, same shape
        Closed field a cell belongs to, -1 on open ground; a move from one to another needs a gate.
    gate : bool array, same shape
        Cells at a gate.
    cell_m : float

    Returns
    -------
    csr_array, shape (cells, cells)
        One direction of each move; search it undirected.
    """
    rows, columns = hardness.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    moves = [np.empty((3, 0))]
    for step, between in _MOVES:
        cells = [(0, 0), step, *between]
        top, left = -min(r for r, _ in cells), -min(c for _, c in cells)
        height = rows - max(r for r, _ in cells) - top
        width = columns - max(c for _, c in cells) - left
        if height <= 0 or width <= 0:
            continue
        views = [(slice(top + r, top + r + height), slice(left + c, left + c + width)) for r, c in cells]
        hard = np.stack([hardness[v] for v in views])
        fields = np.stack([closed_field[v] for v in views])
        free = (fields == fields[0]).all(axis=0) | np.stack([gate[v] for v in views]).any(axis=0)
        go = np.isfinite(hard).all(axis=0) & free
        meters = cell_m * float(np.hypot(*step))
        moves.append(np.stack([number[views[0]], number[views[1]], meters * hard.mean(axis=0)])[:, go])
    start, end, weight = np.concatenate(moves, axis=1)
    return sparse.csr_array((weight, (start.astype(int), end.astype(int))), shape=(rows * columns,) * 2)


def routes_to(graph: sparse.csr_array, target: int, columns: int, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the length of the easiest route from every cell to one, and the next cell on it.

    Parameters
    ----------
    graph : csr_array
        Of `move_graph`.
    target : int
        Flat cell number.
    columns : int
        Of the grid.
    cell_m : float

    Returns
    -------
    (array, int array), shape (cells,)
        Meters along the route of least cost, inf where there is none; next cell, -1 at the target
        and where none leads.
    """
    cost, onward = dijkstra(graph, directed=False, indices=target, return_predecessors=True)
    cells = np.arange(len(cost))
    jump = np.where(onward < 0, cells, onward)
    meters = cell_m * np.hypot(cells // columns - jump // columns, cells % columns - jump % columns)
    while True:  # each round doubles the number of moves summed
        further = jump[jump]
        meters = meters + meters[jump]
        if np.array_equal(further, jump):
            break
        jump = further
    return np.where(np.isfinite(cost), meters, np.inf), np.where(onward < 0, -1, onward)


def follow(onward: np.ndarray, start: int) -> list[int]:
    """Return the cells from a start to the target that `routes_to` was asked about."""
    cells = [start]
    while onward[cells[-1]] >= 0:
        cells.append(int(onward[cells[-1]]))
    return cells


@dataclass(frozen=True, slots=True)
class HaulOptions:
    """What makes ground hard to cross. `haul_options` fills it from the handbook."""

    cell_m: float  #: cell on which routes are looked for, rounded to whole cells of the stack
    road: float  #: a meter of road, in meters of stubble
    slope_free_pct: float
    slope_each: float  #: added to a meter for each percent above that
    slope_max_pct: float  #: steeper ground is not crossed
    standing_crop: float  #: a meter through a crop that still stands, in meters of stubble
    waterway: float  #: a meter of concentrated flow, in meters of stubble
    gate_reach_m: float
    line_width_m: float  #: width given to roads and streams drawn as lines


def haul_options(coefficients: Handbook) -> HaulOptions:
    """Return the handbook's view of the ground."""
    return HaulOptions(
        cell_m=coefficients.value("haul.cell"),
        road=coefficients.value("haul.road"),
        slope_free_pct=coefficients.value("haul.slope_free"),
        slope_each=coefficients.value("haul.slope_each"),
        slope_max_pct=coefficients.value("haul.slope_max"),
        standing_crop=coefficients.value("haul.standing_crop"),
        waterway=coefficients.value("haul.waterway"),
        gate_reach_m=coefficients.value("haul.gate_reach"),
        line_width_m=coefficients.value("haul.line_width"),
    )


@dataclass(frozen=True)
class HaulGround:
    """The farm's ground as a network of routes: hardness, closed fields, gates."""

    hardness: np.ndarray  #: (rows, columns), NaN where nothing passes
    closed_field: np.ndarray  #: closed field each cell belongs to, -1 open ground
    gate: np.ndarray  #: cells near a gate
    transform: Affine
    cell_m: float

    @cached_property
    def graph(self) -> sparse.csr_array:
        """The moves."""
        return move_graph(self.hardness, self.closed_field, self.gate, self.cell_m)

    def cell_of(self, x: float, y: float) -> int:
        """Return the flat number of the passable cell nearest to a place."""
        column, row = ~self.transform * (x, y)
        rows, columns = self.hardness.shape
        r, c = int(np.clip(row, 0, rows - 1)), int(np.clip(column, 0, columns - 1))
        if np.isnan(self.hardness[r, c]):
            at = ndimage.distance_transform_edt(np.isnan(self.hardness), return_distances=False, return_indices=True)
            r, c = int(at[0][r, c]), int(at[1][r, c])
        return r * columns + c

    def place_of(self, cell: int) -> tuple[float, float]:
        """Return the middle of a cell."""
        row, column = divmod(cell, self.hardness.shape[1])
        x, y = self.transform * (column + 0.5, row + 0.5)
        return float(x), float(y)

    def routes_to(self, x: float, y: float) -> tuple[np.ndarray, np.ndarray]:
        """Return meters to a place from every cell, and the next cell on the route (`routes_to`)."""
        return routes_to(self.graph, self.cell_of(x, y), self.hardness.shape[1], self.cell_m)


def haul_ground(
    stack: xr.Dataset,
    surroundings: Mapping[str, gpd.GeoDataFrame],
    options: HaulOptions,
    fields: gpd.GeoDataFrame | None = None,
    no_go: gpd.GeoDataFrame | None = None,
) -> HaulGround:
    """Lay out the ground that bales are carried over.

    Slope slows and then stops the mover, gathered water is crossed only where that saves much,
    mapped water, buildings and trees are gone round, roads draw the route. A field whose
    boundary has a gate is closed everywhere else; one with no gate near is open. Ground on
    which nothing is known counts as flat stubble.

    Parameters
    ----------
    stack : Dataset
        slope_pct and concentrated_flow are read where present.
    surroundings : mapping of GeoDataFrame
        roads, gates, water, buildings, trees, each optional, in the stack's CRS.
    options : HaulOptions
    fields : GeoDataFrame, optional
        For gates, and for crops that still stand (`crop_stands`).
    no_go : GeoDataFrame, optional
        Places that are not crossed, on a road neither.

    Returns
    -------
    HaulGround
        Hardness of each cell, closed fields and gates; finds the route to any place.
    """
    fine = stack.rio.transform()
    step = max(1, round(options.cell_m / abs(fine.a)))
    shape = (-(-stack.sizes["y"] // step), -(-stack.sizes["x"] // step))
    transform = fine * Affine.scale(step)
    cell_m = abs(fine.a) * step

    slope = _coarse(stack, "slope_pct", step, np.nanmean)
    hardness = 1 + options.slope_each * np.clip(np.nan_to_num(slope) - options.slope_free_pct, 0, None)
    flow = _coarse(stack, "concentrated_flow", step, np.nanmax)
    hardness = np.where(flow > 0, np.maximum(hardness, options.waterway), hardness)
    shut = slope > options.slope_max_pct

    def burn(shapes: gpd.GeoSeries, all_touched: bool = True) -> np.ndarray:
        good = shapes[~(shapes.isna() | shapes.is_empty)]
        if not len(good):
            return np.zeros(shape, dtype=bool)
        return rasterio.features.rasterize(
            good, out_shape=shape, transform=transform, all_touched=all_touched, dtype="uint8"
        ).astype(bool)

    refused = gpd.GeoSeries() if no_go is None else no_go.geometry
    for layer in (*(surroundings[n].geometry for n in ("buildings", "trees", "water") if n in surroundings), refused):
        shut |= burn(layer)
    if fields is not None and "crop_stands" in fields and fields["crop_stands"].any():
        crop = burn(fields.geometry[fields["crop_stands"].to_numpy(dtype=bool)])
        hardness = np.where(crop, np.maximum(hardness, options.standing_crop), hardness)
    hardness = np.where(shut, np.nan, hardness)
    if "roads" in surroundings:  # a road that meets water or trees has its bridge or its gap
        on_road = burn(surroundings["roads"].geometry.buffer(options.line_width_m / 2))
        hardness = np.where(on_road, options.road, hardness)
    # a lane along the edge of refused ground stays open: only cells whose middle lies on it are shut
    hardness = np.where(burn(refused, all_touched=False), np.nan, hardness)

    closed_field, gate = np.full(shape, -1), np.zeros(shape, dtype=bool)
    if fields is not None and len(surroundings.get("gates", ())):
        gates = surroundings["gates"].geometry
        gate = burn(gates.buffer(options.gate_reach_m))
        for number, outline in enumerate(fields.geometry):
            if gates.distance(outline.boundary).min() <= options.gate_reach_m:
                inside = rasterio.features.rasterize([outline], out_shape=shape, transform=transform)
                closed_field[inside == 1] = number
    return HaulGround(hardness, closed_field, gate, transform, cell_m)


def _coarse(stack: xr.Dataset, name: str, step: int, reduce: Callable[..., np.ndarray]) -> np.ndarray:
    """Return a variable on coarse cells, unknown beyond the grid; all unknown where it is not given."""
    cells = (-(-stack.sizes["y"] // step), step, -(-stack.sizes["x"] // step), step)
    padded = np.full((cells[0] * step, cells[2] * step), np.nan)
    if name in stack:
        padded[: stack.sizes["y"], : stack.sizes["x"]] = stack[name].values
    blocks = padded.reshape(cells).swapaxes(1, 2).reshape(cells[0], cells[2], -1)
    out = np.full(blocks.shape[:2], np.nan)
    known = np.isfinite(blocks).any(axis=-1)
    out[known] = reduce(blocks[known], axis=-1)
    return out


def haul_distances(zones: gpd.GeoDataFrame, yards: gpd.GeoDataFrame, ground: HaulGround) -> np.ndarray:
    """Return the mean route from each zone's ground to each yard.

    Parameters
    ----------
    zones, yards : GeoDataFrame
        In the ground's CRS.
    ground : HaulGround

    Returns
    -------
    array, shape (zones, yards)
        Meters one way; inf where there is no route from at least half of the zone.
    """
    cells = zone_cells(zones, ground)
    out = np.full((len(zones), len(yards)), np.inf)
    for j, outline in enumerate(yards.geometry):
        place = outline.representative_point()
        meters, _ = ground.routes_to(place.x, place.y)
        for i, own in enumerate(cells):
            reached = np.isfinite(meters[own])
            if reached.mean() >= 0.5:
                out[i, j] = meters[own][reached].mean()
    return out


def zone_cells(zones: gpd.GeoDataFrame, ground: HaulGround) -> list[np.ndarray]:
    """Return the flat cells of each zone; one at least, near its middle."""
    if not len(zones):
        return []
    pairs = [(g, i) for i, g in enumerate(zones.geometry)]
    numbers = rasterio.features.rasterize(
        pairs, out_shape=ground.hardness.shape, transform=ground.transform, fill=-1, dtype="int32"
    )
    found = []
    for i, outline in enumerate(zones.geometry):
        own = np.flatnonzero((numbers == i) & np.isfinite(ground.hardness))
        if not len(own):
            place = outline.representative_point()
            own = np.array([ground.cell_of(place.x, place.y)])
        found.append(own)
    return found


def haul_lines(
    flows: pd.DataFrame, zones: gpd.GeoDataFrame, yards: gpd.GeoDataFrame, ground: HaulGround
) -> gpd.GeoDataFrame:
    """Return the hauls with a route drawn, HAULS schema.

    What is stated and paid for is the mean over a zone's ground; the route drawn is one of that length, from the
    place nearest the middle of the zone that has one.

    Parameters
    ----------
    flows : DataFrame
        zone_id, yard_id, bales, distance_m, cost, as `Choice.flows` has them.
    zones, yards : GeoDataFrame
    ground : HaulGround
    """
    zone_at, yard_at = zones.set_index("zone_id").geometry, yards.set_index("yard_id").geometry
    own = dict(zip(zones["zone_id"], zone_cells(zones, ground), strict=True))
    lines = []
    routes: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for flow in flows.itertuples(index=False):
        zone, end = zone_at[flow.zone_id], yard_at[flow.yard_id].representative_point()
        if flow.yard_id not in routes:
            routes[flow.yard_id] = ground.routes_to(end.x, end.y)
        meters, onward = routes[flow.yard_id]
        cells = follow(onward, _start(zone, own[flow.zone_id], np.abs(meters - flow.distance_m), ground))
        start = Point(ground.place_of(cells[0]))
        if not zone.covers(start):  # a zone narrower than a cell
            start = zone.representative_point()
        middle = [ground.place_of(c) for c in cells[1:-1]]
        lines.append(LineString([(start.x, start.y), *middle, (end.x, end.y)]).simplify(ground.cell_m / 2))
    columns = ["zone_id", "yard_id", "bales", "distance_m", "cost"]
    return gpd.GeoDataFrame(flows[columns].reset_index(drop=True), geometry=lines, crs=zones.crs)


def _start(zone: BaseGeometry, own: np.ndarray, off_m: np.ndarray, ground: HaulGround) -> int:
    """Return the cell of a zone from which a route is off a length by least; within a meter, the nearest its middle."""
    near = own[off_m[own] <= max(1.0, float(off_m[own].min()))]
    middle = zone.representative_point()
    return int(min(near, key=lambda cell: Point(ground.place_of(cell)).distance(middle)))
