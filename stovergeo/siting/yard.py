"""A laid-out yard: direction of its rows, its outline with lanes and apron, and the base it stands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.units import KG_PER_MG
from stovergeo.siting.fit import Rows
from stovergeo.siting.pattern import Pattern
from stovergeo.siting.site import Site, message

Cells = tuple[np.ndarray, np.ndarray]  #: rows and columns of grid cells


@dataclass(frozen=True, slots=True)
class Angle:
    """A direction of rows and why it was chosen."""

    degrees: float  #: clockwise from grid north, 0 to 180
    message: Message  #: a sentence


def wanted_angle(rows: str, stack: xr.Dataset, row: slice, col: slice) -> Angle | None:
    """Return the direction of rows in a window of the grid by the plan's wish; None for whichever holds most.

    Parameters
    ----------
    rows : {"north-south", "best angle", "down slope"}
    stack : xarray.Dataset
    row, col : slice
        The window.
    """
    if rows == "best angle":
        return None
    if rows == "north-south":
        return Angle(0.0, message("rows.north_south"))
    fall = mean_fall_deg(stack, row, col)
    if fall is None:
        return Angle(0.0, message("rows.level"))
    return Angle(round(fall, 1) % 180, message("rows.down_slope"))


def mean_fall_deg(stack: xr.Dataset, row: slice, col: slice, min_pct: float = 0.3) -> float | None:
    """Return the mean direction in which a window falls, weighed by slope; None where flat or unknown."""
    if "aspect_deg" not in stack or "slope_pct" not in stack:
        return None
    aspect = np.radians(stack["aspect_deg"].values[row, col])
    slope = stack["slope_pct"].values[row, col]
    if not np.isfinite(slope).any():
        return None
    east, north = np.nanmean(slope * np.sin(aspect)), np.nanmean(slope * np.cos(aspect))
    if not np.hypot(east, north) >= min_pct:
        return None
    return float(np.degrees(np.arctan2(east, north)) % 360)


def conflict(angle_deg: float, fall_deg: float | None, slope_pct: float, wind_from_deg: float | None) -> list[Message]:
    """Say what the direction of the rows is at odds with; an empty list where with nothing."""
    found = []
    if fall_deg is not None and slope_pct >= 2 and abs(np.sin(np.radians(angle_deg - fall_deg))) > 0.7:
        found.append(message("rows.across_slope"))
    if wind_from_deg is not None and abs(np.cos(np.radians(angle_deg - wind_from_deg))) > 0.9:
        found.append(message("rows.along_wind"))
    return found


@dataclass(frozen=True, slots=True)
class BaseKind:
    """One base."""

    base: str  #: as the table of yards and the loss formulas name it: none, tires, gravel
    name: str  #: of its message, base.kind.<name>
    depth_key: str = ""  #: handbook key of the depth of stone


#: by number, the drier first; 0 is unknown
KINDS: Final = {
    0: BaseKind("none", "unknown"),
    1: BaseKind("none", "none"),
    2: BaseKind("tires", "tires"),
    3: BaseKind("gravel", "gravel", "yards.base.gravel"),
    4: BaseKind("gravel", "deep_gravel", "yards.base.deep_gravel"),
}


def base_kind(drainage_class: np.ndarray, clay_pct: np.ndarray, good: float, fair: float, most: float) -> np.ndarray:
    """Return the number in `KINDS` of the base each cell needs.

    The wetter of two answers wins: by drainage class (3 well: none, 4: stone, 5 and
    wetter: deep stone) and by surface clay (below `good`: none, below `fair`: off the
    ground on tires, below `most`: stone, else deep stone). Judgment, ours.

    Returns
    -------
    uint8 array
        0 where neither is known.
    """
    drainage = np.nan_to_num(drainage_class)
    by_drainage = np.select([drainage == 0, drainage <= 3, drainage <= 4], [0, 1, 3], 4)
    clay = np.nan_to_num(clay_pct, nan=-1)
    by_clay = np.select([clay < 0, clay < good, clay < fair, clay < most], [0, 1, 2, 3], 4)
    return np.maximum(by_drainage, by_clay).astype(np.uint8)


def kind_message(kind: int) -> Message:
    """Name a base by its number in `KINDS`, as part of a sentence."""
    return message(f"base.kind.{KINDS[kind].name}")


def kinds_on(stack: xr.Dataset, cells: Cells, coefficients: Handbook) -> np.ndarray:
    """Return the number in `KINDS` of the base that each of some cells needs."""
    limits = [coefficients.value(f"yards.clay.{k}") for k in ("good", "fair", "most")]
    unknown = np.full(len(cells[0]), np.nan)
    drainage, clay = (stack[n].values[cells] if n in stack else unknown for n in ("drainage_class", "clay_pct"))
    return base_kind(drainage, clay, *limits)


def stone_volume_m3(area_m2: float, depth_m: float) -> float:
    """Return the volume of a layer of stone: area times depth."""
    return area_m2 * depth_m


@dataclass(frozen=True, slots=True)
class BaseCost:
    """A base for one yard."""

    base: str
    depth_m: float
    stone_mg: float
    cost: float  #: to lay it once, $
    life_yr: float  #: seasons it serves
    message: Message  #: the base with its depth, as part of a sentence

    @property
    def cost_a_year(self) -> float:
        """Cost spread over the seasons it serves, $ a year, without interest."""
        return self.cost / self.life_yr if self.life_yr else 0.0


def base_cost(kind: int, pad_m2: float, bales: int, coefficients: Handbook) -> BaseCost:
    """Return what a base costs for a pad and the bales that stand on it.

    Parameters
    ----------
    kind : int
        Number in `KINDS`.
    pad_m2 : float
        Ground under the rows with the base's margin, m2.
    bales : int
        Bales touching the ground, for tires.
    coefficients : Handbook
    """
    chosen = KINDS[kind]
    title = kind_message(kind)
    if chosen.base == "none":
        return BaseCost("none", 0.0, 0.0, 0.0, 0.0, title)
    if chosen.base == "tires":
        price, life = coefficients.value("yards.base.tire_price"), coefficients.value("yards.base.tire_life")
        return BaseCost("tires", 0.0, 0.0, bales * price, life, title)
    deep = coefficients.value(chosen.depth_key)
    stone = stone_volume_m3(pad_m2, deep) * coefficients.value("yards.base.stone_density") / KG_PER_MG
    ground = coefficients.value("yards.base.spread_price") + coefficients.value("yards.base.fabric_price")
    cost = stone * coefficients.value("yards.base.stone_price") + pad_m2 * ground
    described = message("base.deep", base=title, depth=deep)
    return BaseCost("gravel", deep, stone, cost, coefficients.value("yards.base.gravel_life"), described)


@dataclass(frozen=True, slots=True)
class Yard:
    """A laid-out yard."""

    laid: Rows
    angle: Angle
    pattern: Pattern
    stacks: shapely.Geometry  #: outlines of its stacks, as one shape
    ground: shapely.Geometry  #: outline with lanes, fire gaps and apron, clear of every setback
    lanes: shapely.Geometry  #: round the stacks, as far as no ground kept out cuts them
    apron: shapely.Geometry | None  #: where a truck is loaded and turned; None where there is no room for one
    cells: Cells  #: grid cells under its stacks
    score: float  #: mean score of those cells
    known_as: str | None = None  #: the grower's own name for the place, "" without one; None: not the grower's

    @property
    def bales(self) -> int:
        """Bales in the drawn rows."""
        return self.laid.bales

    @property
    def middle(self) -> shapely.Point:
        """Middle of the stacks."""
        return self.stacks.centroid


def outline(
    stacks: shapely.Geometry,
    apron: shapely.Geometry | None,
    lane_m: float,
    fire_gap_m: float,
    keep_out: shapely.Geometry,
) -> shapely.Geometry:
    """Return the outline of a yard: stacks, gaps between them, a lane round them, its apron, less ground kept out."""
    reach = fire_gap_m / 2 + 1.0  # stacks stand a fire gap apart, rounded up to bins of less than a meter
    joined = shapely.buffer(stacks, reach, join_style="mitre")
    joined = shapely.buffer(joined, lane_m - reach, join_style="mitre")
    joined = shapely.union_all([joined, shapely.buffer(stacks, lane_m, join_style="mitre"), apron])
    parts = shapely.get_parts(shapely.difference(joined, keep_out))
    return shapely.union_all(parts[shapely.intersects(parts, stacks)])


def lanes_round(laid: Rows, lane_m: float, keep_out: shapely.Geometry) -> shapely.Geometry:
    """Return the lanes round each stack, less ground kept out."""
    whole = shapely.union_all(shapely.buffer(laid.stack_outlines, lane_m, join_style="mitre"))
    return shapely.difference(shapely.difference(whole, keep_out), shapely.union_all(laid.stack_outlines))


def cells_in(x: np.ndarray, y: np.ndarray, shape: shapely.Geometry, cell_m: float) -> Cells:
    """Return rows and columns of the cells whose centers lie in a shape or within half a cell of it; never none.

    Parameters
    ----------
    x, y : float array
        Middles of the grid's columns and rows.
    shape : shapely geometry
    cell_m : float
    """
    grown = shapely.buffer(shape, cell_m / 2)
    west, south, east, north = grown.bounds
    first_col, first_row = max(0, int((west - x[0]) / cell_m)), max(0, int((y[0] - north) / cell_m))
    cols = np.arange(first_col, min(len(x), int((east - x[0]) / cell_m) + 2))
    rows = np.arange(first_row, min(len(y), int((y[0] - south) / cell_m) + 2))
    cc, rr = np.meshgrid(cols, rows)
    inside = shapely.contains_xy(grown, x[cc], y[rr])
    if not inside.any():
        middle = shape.centroid
        return np.array([np.abs(y - middle.y).argmin()]), np.array([np.abs(x - middle.x).argmin()])
    return rr[inside], cc[inside]


def find_apron(
    stacks: shapely.Geometry,
    angle_deg: float,
    side_m: float,
    lane_m: float,
    allowed: np.ndarray,
    route: np.ndarray | None,
    site: Site,
) -> shapely.Geometry | None:
    """Return a square beside the stacks on which a truck can be loaded and turned, the nearest to the road.

    Parameters
    ----------
    stacks : shapely geometry
    angle_deg : float
        Direction of the rows; the square lies along them.
    side_m : float
    lane_m : float
        The square lies at most so far from a stack: across the lane.
    allowed : bool array (rows, cols)
    route : float array (rows, cols) or None
        Length of the route to the road; None or unknown: any side will do.
    site : Site
        For the grid.

    Returns
    -------
    shapely polygon or None
        None when no side has room on allowed ground.
    """
    cell = site.cell_m
    turned = shapely.affinity.rotate(stacks, angle_deg, origin=(0, 0))  # rows now run north
    west, south, east, north = turned.bounds
    along = np.arange(south - side_m, north + side_m / 2, side_m / 2)
    across = np.arange(west - side_m, east + side_m / 2, side_m / 2)
    corners = [(x, y) for y in along for x in (west - side_m, east)]
    corners += [(x, y) for x in across for y in (south - side_m, north)]
    x, y = np.array(corners).T
    sin, cos = np.sin(np.radians(-angle_deg)), np.cos(np.radians(-angle_deg))
    upright = shapely.box(x, y, x + side_m, y + side_m)
    squares = shapely.transform(upright, lambda c: c @ np.array([[cos, sin], [-sin, cos]]))
    farm = shapely.box(site.x[0] - cell / 2, site.y[-1] - cell / 2, site.x[-1] + cell / 2, site.y[0] + cell / 2)
    near = shapely.contains(farm, squares) & (shapely.distance(squares, stacks) <= lane_m)
    squares = squares[near]
    if route is not None:  # the nearest to the road first
        middles = site.row_col(shapely.get_coordinates(shapely.centroid(squares)))
        rows, cols = np.clip(np.rint(middles).astype(int), 0, np.array(site.shape) - 1).T
        squares = squares[np.argsort(np.nan_to_num(route[rows, cols], nan=np.inf), kind="stable")]
    for square in squares:
        if allowed[cells_in(site.x, site.y, square, cell)].all():
            return square
    return None


def base_of(yard: Yard, stack: xr.Dataset, coefficients: Handbook) -> BaseCost:
    """Return the base a yard needs: one that answers at least three quarters of its ground."""
    kind = int(np.percentile(kinds_on(stack, yard.cells, coefficients), 75, method="nearest"))
    margin = coefficients.value("yards.base.pad_margin")
    pad = shapely.union_all(shapely.buffer(yard.laid.polygons, margin, join_style="mitre"))
    on_ground = yard.bales // yard.pattern.per_step * yard.pattern.on_ground
    return base_cost(kind, float(shapely.area(pad)), on_ground, coefficients)
