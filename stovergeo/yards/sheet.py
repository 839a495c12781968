"""One yard's sheet: its ground, its figures, its rating by every criterion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo.handbook import Handbook
from stovergeo.schemas import STACKS, YARDS
from stovergeo.units import M2_PER_HA
from stovergeo.yards.angle import Angle, conflict, mean_fall_deg
from stovergeo.yards.base import BaseCost, base_cost, base_kind
from stovergeo.yards.fit import Rows
from stovergeo.yards.pattern import Pattern
from stovergeo.yards.rate import GroundRatings, Rated
from stovergeo.yards.say import depth


@dataclass(frozen=True, slots=True)
class Yard:
    """A laid-out yard."""

    laid: Rows
    angle: Angle
    pattern: Pattern
    ground: shapely.Geometry  #: outline with lanes and fire gaps, clear of every setback
    stacks_all: shapely.Geometry  #: its stacks' outlines, as one shape
    cells: tuple[np.ndarray, np.ndarray]  #: rows and columns of the grid cells it stands on
    score: float

    @classmethod
    def of(
        cls,
        laid: Rows,
        angle: Angle,
        pattern: Pattern,
        lane_m: float,
        fire_gap_m: float,
        keep_out: shapely.Geometry,
        ratings: GroundRatings,
    ) -> Yard:
        """Draw the outline round laid rows and look up the ground it stands on."""
        stacks = shapely.multipolygons(laid.stack_outlines)
        ground = yard_outline(stacks, lane_m, fire_gap_m, keep_out)
        cells = cells_in(ratings.site.stack, stacks, ratings.site.cell_m)
        return cls(laid, angle, pattern, ground, stacks, cells, np.nan)

    def scored(self, stack: xr.Dataset) -> Yard:
        """Return the yard with the mean score of its ground."""
        score = float(np.nanmean(stack["yard_score"].values[self.cells]))
        return Yard(self.laid, self.angle, self.pattern, self.ground, self.stacks_all, self.cells, score)

    @property
    def bales(self) -> int:
        """Bales in the drawn rows."""
        return self.laid.bales

    @property
    def middle(self) -> shapely.Point:
        """Middle of the stacks."""
        return self.stacks_all.centroid


def yard_outline(
    stacks: shapely.Geometry, lane_m: float, fire_gap_m: float, keep_out: shapely.Geometry
) -> shapely.Geometry:
    """Return the outline of a yard: stacks, the gaps between them, a lane round them, less ground kept out."""
    reach = fire_gap_m / 2 + 1.0  # stacks stand a fire gap apart, rounded up to bins of less than a metre
    joined = shapely.buffer(stacks, reach, join_style="mitre")
    joined = shapely.buffer(joined, lane_m - reach, join_style="mitre")
    joined = shapely.union(joined, shapely.buffer(stacks, lane_m, join_style="mitre"))
    parts = shapely.get_parts(shapely.difference(joined, keep_out))
    return shapely.union_all(parts[shapely.intersects(parts, stacks)])


def cells_in(stack: xr.Dataset, shape: shapely.Geometry, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return rows and columns of the cells whose centres lie in a shape or within half a cell of it; never none."""
    x, y = stack["x"].values, stack["y"].values
    grown = shapely.buffer(shape, cell_m / 2)
    west, south, east, north = grown.bounds
    cols = np.nonzero((x >= west) & (x <= east))[0]
    rows = np.nonzero((y >= south) & (y <= north))[0]
    cc, rr = np.meshgrid(cols, rows)
    inside = shapely.contains_xy(grown, x[cc], y[rr])
    if not inside.any():
        middle = shape.centroid
        return np.array([np.abs(y - middle.y).argmin()]), np.array([np.abs(x - middle.x).argmin()])
    return rr[inside], cc[inside]


def value_on(
    rated: Rated, cells: tuple[np.ndarray, np.ndarray], ratings: GroundRatings, stacks: shapely.Geometry
) -> float:
    """Return what a criterion looked at, for a whole yard.

    A criterion says by its optional attribute ``of_yard`` how cells make a yard: "mean"
    (where left out), "least", "greatest", "direction", or "nearest" for the exact distance to its layer.
    """
    how = getattr(rated.criterion, "of_yard", "mean")
    if how == "nearest":
        frame = ratings.site.layer(rated.criterion.layer)
        if frame is None:
            return np.nan
        return float(shapely.distance(rated.criterion.measured_from(frame).to_numpy(), stacks).min())
    value = rated.rating.value.values[cells]
    if not np.isfinite(value).any():
        return np.nan
    if how == "direction":
        angle = np.radians(value[np.isfinite(value)])
        return float(np.degrees(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())) % 360)
    if how == "least":
        return float(np.nanmin(value))
    return float(np.nanmax(value) if how == "greatest" else np.nanmean(value))


def _mean(values: np.ndarray) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan


def base_of(yard: Yard, stack: xr.Dataset, book: Handbook) -> BaseCost:
    """Return the base a yard needs: the one that answers all but the driest three quarters of its ground."""
    known = [np.asarray(stack[n].values)[yard.cells] if n in stack else np.full(len(yard.cells[0]), np.nan)
             for n in ("drainage_class", "clay_pct")]  # fmt: skip
    limits = [book.value(f"yards.clay.{k}") for k in ("good", "fair", "most")]
    kind = int(np.percentile(base_kind(known[0], known[1], *limits), 75, method="nearest"))
    margin = book.value("yards.base.pad_margin")
    pad = shapely.area(shapely.union_all(shapely.buffer(yard.laid.polygons, margin, join_style="mitre")))
    on_ground = round(yard.bales / yard.pattern.per_step * {"pyramid": 3, "squares": 3}.get(yard.pattern.name, 1))
    return base_cost(kind, float(pad), on_ground, book)


def reason_words(yard: Yard, rows: list[dict[str, Any]], ratings: GroundRatings, stack: xr.Dataset) -> str:
    """Say why this place: what is best about it, what is weakest, and what its rows are at odds with."""
    weight = {r.name: r.weight for r in ratings.rated}
    farm = {r.name: _mean(r.rating.score.values[:: max(1, r.rating.score.shape[0] // 100)]) for r in ratings.rated}
    told = [r for r in rows if np.isfinite(r["score"]) and weight.get(r["criterion"], 0) > 0]
    good = sorted(
        (r for r in told if r["score"] >= 0.7),
        key=lambda r: -weight[r["criterion"]] * (0.2 + r["score"] - farm[r["criterion"]]),
    )[:3]
    weak = sorted((r for r in told if r["score"] < 0.5), key=lambda r: -weight[r["criterion"]] * (1 - r["score"]))[:1]
    said = [r["words"] for r in good]
    if weak:
        said.append(f"Weakest point: {weak[0]['words']}")
    said.append(f"Rows run {yard.angle.because}.")
    at = tuple(slice(int(c.min()), int(c.max()) + 1) for c in yard.cells)
    slope = _mean(stack["slope_pct"].values[yard.cells]) if "slope_pct" in stack else 0.0
    against = conflict(
        yard.angle.degrees, mean_fall_deg(stack, at[0], at[1]), slope, ratings.options.yards.wind_from_deg
    )
    if against:
        said.append(f"{against[0].upper()}{against[1:]}.")
    return " ".join(said)


def _rows_of(yard: Yard, ratings: GroundRatings, units: str) -> list[dict[str, Any]]:
    rows = []
    for r in ratings.rated:
        score = _mean(r.rating.score.values[yard.cells])
        value = value_on(r, yard.cells, ratings, yard.stacks_all)
        rows.append(
            {
                "criterion": r.name,
                "title": str(r.criterion.title),
                "score": score,
                "allowed": True,  # every row stands on allowed ground
                "words": r.say(value, score, True, units),
            }
        )
    return rows


def ratings_table(yards: list[Yard], stack: xr.Dataset, ratings: GroundRatings, units: str) -> pd.DataFrame:
    """Return each yard's rating by every criterion; what was not checked stands there too, without a score."""
    rows = []
    for number, yard in enumerate(yards, start=1):
        rows += [{"yard_id": f"Y{number}", **row} for row in _rows_of(yard, ratings, units)]
        for name, words in ratings.not_checked.items():
            title = name.replace("_", " ").capitalize()
            rows.append(
                {"yard_id": f"Y{number}", "criterion": name, "title": title, "score": np.nan, "allowed": True,
                 "words": f"Not checked. {words}"}
            )  # fmt: skip
    return pd.DataFrame(rows, columns=["yard_id", "criterion", "title", "score", "allowed", "words"])


def yards_table(
    yards: list[Yard], stack: xr.Dataset, ratings: GroundRatings, book: Handbook, crs: object, units: str
) -> gpd.GeoDataFrame:
    """Return the table of yards, `stovergeo.schemas.YARDS`."""
    rows = []
    cell_area = stack["cell_area_ha"].values
    plane_ha = ratings.site.cell_m**2 / M2_PER_HA
    for number, yard in enumerate(yards, start=1):
        told = _rows_of(yard, ratings, units)
        base = base_of(yard, stack, book)
        not_here = [
            f"{r['title']}: not known here."
            for r in told
            if not np.isfinite(r["score"]) and r["criterion"] != "known_place"
        ]
        way = ratings.of("access")
        base_words = base.title if not base.depth_m else f"{base.title}, {depth(base.depth_m, units)} deep"
        rows.append(
            {
                "yard_id": f"Y{number}",
                "score": yard.score,
                "capacity_bales": yard.bales,
                "area_ha": yard.ground.area / M2_PER_HA * float(cell_area[yard.cells].mean()) / plane_ha,
                "base": base.base,
                "base_cost": base.cost,
                "sun_share": _mean(stack["sun_share"].values[yard.cells]) if "sun_share" in stack else np.nan,
                "slope_pct": _mean(stack["slope_pct"].values[yard.cells]) if "slope_pct" in stack else np.nan,
                "road_m": np.nan if way is None else float(np.nanmin(way.rating.value.values[yard.cells])),
                "reason": reason_words(yard, told, ratings, stack),
                "not_checked": " ".join([*ratings.not_checked.values(), *not_here]),
                "pattern": yard.pattern.name,
                "rows_deg": yard.angle.degrees,
                "stacks": len(yard.laid.stack_outlines),
                "base_words": base_words[:1].upper() + base_words[1:],
                "base_depth_m": base.depth_m,
                "stone_mg": base.stone_mg,
                "base_cost_year": base.cost_a_year,
                "geometry": yard.ground,
            }
        )
    return gpd.GeoDataFrame(rows, columns=list(YARDS), geometry="geometry", crs=crs)


def stacks_table(yards: list[Yard], crs: object) -> gpd.GeoDataFrame:
    """Return the table of stacks, `stovergeo.schemas.STACKS`; a stack's geometry is its rows."""
    rows = []
    for number, yard in enumerate(yards, start=1):
        for k in range(len(yard.laid.stack_outlines)):
            mine = yard.laid.stack == k
            bales = int(yard.laid.steps[mine].sum()) * yard.pattern.per_step
            rows.append(
                {
                    "yard_id": f"Y{number}",
                    "stack_id": f"Y{number}-{k + 1}",
                    "bales": bales,
                    "rows": int(mine.sum()),
                    "mass_mg": bales * yard.pattern.bale_kg / 1000,
                    "height_m": yard.pattern.height_m,
                    "geometry": shapely.multipolygons(yard.laid.polygons[mine]),
                }
            )
    return gpd.GeoDataFrame(rows, columns=list(STACKS), geometry="geometry", crs=crs)
