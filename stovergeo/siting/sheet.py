"""The yards' tables: figures, stacks, rating by every criterion, what stands near."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import count
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.schemas import APRON, LANES, STACKS, YARDS, Table
from stovergeo.core.units import M2_PER_HA
from stovergeo.siting.rate import GroundRatings, Rated
from stovergeo.siting.site import message
from stovergeo.siting.yard import BaseCost, Cells, Yard, base_of, cells_in, conflict, lanes_round, mean_fall_deg

RATING_COLUMNS = ["yard_id", "criterion", "title", "score", "allowed", "message"]
_BEHIND = 0.02  # weighted difference of logarithms below which two yards are as good as each other
_BESIDE_M = 100.0  # a road so near tells a reader where the yard is
NEAR_COLUMNS = ["yard_id", "layer", "name", "distance_m"]


def _mean(values: np.ndarray) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan


def _mean_of(stack: xr.Dataset, name: str, yard: Yard) -> float:
    return _mean(stack[name].values[yard.cells]) if name in stack else np.nan


def value_on(rated: Rated, yard: Yard, ratings: GroundRatings) -> float:
    """Return what a criterion looked at, for a whole yard.

    A criterion says by its optional attribute ``of_yard`` how cells make a yard: "mean" (where
    left out), "least", "greatest", "direction", "nearest" for the exact distance to its
    layer, or "route" for one to a road or gate.
    """
    how = getattr(rated.criterion, "of_yard", "mean")
    if how == "nearest":
        frame = ratings.site.layer(rated.criterion.layer)
        if frame is None:
            return np.nan
        return float(shapely.distance(rated.criterion.measured_from(frame).to_numpy(), yard.stacks).min())
    if how == "route":
        return _route_m(yard.stacks, yard.cells, ratings)
    value = rated.rating.value.values[yard.cells]
    value = value[np.isfinite(value)]
    return float(_OF_YARD[how](value)) if len(value) else np.nan


def _mean_direction(deg: np.ndarray) -> float:
    angle = np.radians(deg)
    return float(np.degrees(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())) % 360)


_OF_YARD: Final[dict[str, Callable[[np.ndarray], Any]]] = {
    "least": np.min,
    "greatest": np.max,
    "mean": np.mean,
    "direction": _mean_direction,
}


def _route_m(shape: shapely.Geometry, cells: Cells, ratings: GroundRatings) -> float:
    """Return the route from a shape to the nearest road or gate; NaN where it was not looked for.

    The route runs from cell to cell and may come out some meters short; none is shorter than the straight line.
    """
    access = ratings.of("access")
    if access is None or not np.isfinite(access.rating.value.values[cells]).any():
        return np.nan
    straight = (near["distance_m"] for near in _nearest(shape, ratings, ("roads", "gates")))
    return max(float(np.nanmin(access.rating.value.values[cells])), min(straight))


def ratings_of(yard: Yard, ratings: GroundRatings) -> list[dict[str, Any]]:
    """Return one yard's rating by every criterion; what was not checked stands there too, without a score."""
    scores = [_mean(r.rating.score.values[yard.cells]) for r in ratings.rated]
    # every row stands on allowed ground, so no criterion forbids a yard
    rows = [
        (r.name, score, r.message(value_on(r, yard, ratings), score, True))
        for r, score in zip(ratings.rated, scores, strict=True)
    ]
    rows += [(name, np.nan, message("rating.not_checked", why=why)) for name, why in ratings.not_checked.items()]
    return [
        {"criterion": name, "title": ratings.titles[name], "score": score, "allowed": True, "message": what}
        for name, score, what in rows
    ]


def reason_messages(yard: Yard, rated: list[dict[str, Any]], ratings: GroundRatings, base: BaseCost) -> list[Message]:
    """Say why this place: what is best about it, what is weakest, what it needs, what its rows are at odds with."""
    weight = {r.name: r.weight for r in ratings.rated}
    farm = {r.name: ratings.farm_mean(r) for r in ratings.rated}
    weighty = [r for r in rated if np.isfinite(r["score"]) and weight.get(r["criterion"], 0) > 0]
    good = [r for r in weighty if r["score"] >= 0.7]
    good.sort(key=lambda r: -weight[r["criterion"]] * (0.2 + r["score"] - farm[r["criterion"]]))
    weak = [r for r in weighty if r["score"] < 0.5]
    weak.sort(key=lambda r: -weight[r["criterion"]] * (1 - r["score"]))
    messages: list[Message] = []
    if yard.known_as is not None:
        messages.append(message("yard.named", name=yard.known_as) if yard.known_as else message("yard.proposed"))
    roads = [near for near in _nearest(yard.stacks, ratings, ("roads",)) if near["distance_m"] <= _BESIDE_M]
    messages += [message("yard.beside", road=road["name"]) for road in roads if road["name"].strip()]
    messages += [r["message"] for r in good[:3]]
    messages += [message("yard.weakest", why=r["message"]) for r in weak[:1]]
    if base.cost:
        messages.append(message("yard.base", base=base.message, cost=base.cost, cost_a_year=base.cost_a_year))
    messages.append(yard.angle.message)
    stack = ratings.site.stack
    slope = np.nan_to_num(_mean_of(stack, "slope_pct", yard))
    row, col = (slice(int(c.min()), int(c.max()) + 1) for c in yard.cells)
    fall = mean_fall_deg(stack, row, col)
    messages += conflict(yard.angle.degrees, fall, slope, ratings.options.yards.wind_from_deg)
    if yard.apron is None:
        messages.append(message("yard.no_apron"))
    return messages


def yard_names(grounds: Sequence[shapely.Geometry], before: gpd.GeoDataFrame | None, first: int = 1) -> list[str]:
    """Return a name for each yard: Y1, Y2, ... in their order, or names that mean one place in the plan before too.

    Parameters
    ----------
    grounds : sequence of geometry
        Best yard first.
    before : GeoDataFrame or None
        Yards of the plan before, with ``yard_id``. A yard that takes more than half of the ground of one of them keeps
        its name; all others get numbers that were not given before.
    first : int
        Least number of a new name.
    """
    names: dict[int, str] = {}
    taken = first - 1
    for row in before.itertuples() if before is not None else ():
        shared = [ground.intersection(row.geometry).area for ground in grounds]
        most = int(np.argmax(shared)) if shared else -1
        if most >= 0 and most not in names and shared[most] > row.geometry.area / 2:
            names[most] = row.yard_id
        taken = max(taken, int(row.yard_id.removeprefix("Y")))
    fresh = count(taken + 1)
    return [names.get(k) or f"Y{next(fresh)}" for k in range(len(grounds))]


def behind_messages(
    rated: list[dict[str, Any]], best: str, first: list[dict[str, Any]], ratings: GroundRatings
) -> list[Message]:
    """Say in what a yard lies behind the best one most; nothing where it hardly does."""
    floor = ratings.options.coefficients.value("yards.search.score_floor")
    weight = {r.name: r.weight for r in ratings.rated}
    most, messages = _BEHIND, []
    for row, there in zip(rated, first, strict=True):
        if np.isfinite(row["score"]) and np.isfinite(there["score"]):
            loss = weight.get(row["criterion"], 0) * np.log(max(there["score"], floor) / max(row["score"], floor))
            if loss > most:
                most, messages = loss, [message("yard.behind", best=best, title=row["title"])]
    return messages


def make_tables(
    yards: list[Yard],
    stack: xr.Dataset,
    ratings: GroundRatings,
    coefficients: Handbook,
    before: gpd.GeoDataFrame | None = None,
    first: int = 1,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame, pd.DataFrame]:
    """Return the tables yards, stacks, apron and lanes (`stovergeo.core.schemas`), the ratings, and what stands near.

    Yards bear the names of `yard_names`.
    """
    names = yard_names([yard.ground for yard in yards], before, first)
    rated = [ratings_of(yard, ratings) for yard in yards]
    parts: dict[str, list[dict[str, Any]]] = {}
    for yard_id, yard, own in zip(names, yards, rated, strict=True):
        behind = behind_messages(own, names[0], rated[0], ratings)
        for name, rows in {
            "yards": [_figures(yard, own, behind, stack, ratings, coefficients)],
            "stacks": _stacks(yard, yard_id),
            "apron": [] if yard.apron is None else [_apron(yard.apron, ratings, coefficients)],
            "lanes": [_lanes(yard, coefficients)],
            "ratings": own,
            "near": whats_near(yard, ratings),
        }.items():
            parts.setdefault(name, []).extend({"yard_id": yard_id, **row} for row in rows)
    yards_, stacks, apron, lanes = (
        _frame(parts.get(name, []), table, stack.rio.crs)
        for name, table in {"yards": YARDS, "stacks": STACKS, "apron": APRON, "lanes": LANES}.items()
    )
    rating_rows = pd.DataFrame(parts.get("ratings"), columns=RATING_COLUMNS)
    return yards_, stacks, apron, lanes, rating_rows, pd.DataFrame(parts.get("near"), columns=NEAR_COLUMNS)


def _frame(rows: list[dict[str, Any]], table: Table, crs: Any) -> gpd.GeoDataFrame:
    """Return rows as a table with the schema's columns and kinds, also when there are none."""
    kinds = {"number": "float64", "whole": "int64", "text": "object", "message": "object"}
    frame = gpd.GeoDataFrame(rows, columns=list(table), geometry="geometry", crs=crs)
    return frame.astype({name: kinds[c.kind] for name, c in table.items() if c.kind in kinds})


def _figures(
    yard: Yard,
    rated: list[dict[str, Any]],
    behind: list[Message],
    stack: xr.Dataset,
    ratings: GroundRatings,
    coefficients: Handbook,
) -> dict[str, Any]:
    base = base_of(yard, stack, coefficients)
    unknown = [r for r in rated if not np.isfinite(r["score"]) and r["criterion"] not in ratings.not_checked]
    not_here = [r["message"] for r in unknown if r["criterion"] != "known_place"]
    not_here += [
        message("rating.in_part", title=str(r.criterion.title))
        for r in ratings.rated
        if 0.1 < np.isnan(r.rating.score.values[yard.cells]).mean() < 1
    ]
    plane_ha = ratings.site.cell_m**2 / M2_PER_HA
    return {
        "score": yard.score,
        "capacity_bales": yard.bales,
        "area_ha": yard.ground.area / M2_PER_HA * _mean_of(stack, "cell_area_ha", yard) / plane_ha,
        "base": base.base,
        "base_cost": base.cost_a_year,
        "sun_fraction": _mean_of(stack, "sun_fraction", yard),
        "slope_pct": _mean_of(stack, "slope_pct", yard),
        "road_m": _route_m(yard.stacks, yard.cells, ratings),
        "reason": message("yard.sentences", sentences=(*reason_messages(yard, rated, ratings, base), *behind)),
        "not_checked": message("yard.sentences", sentences=(*ratings.not_checked_messages(), *not_here)),
        "pattern": yard.pattern.name,
        "rows_deg": yard.angle.degrees,
        "stacks": len(yard.laid.stack_outlines),
        "base_message": base.message,
        "base_depth_m": base.depth_m,
        "stone_mg": base.stone_mg,
        "base_cost_laid": base.cost,
        "geometry": yard.ground,
    }


def _stacks(yard: Yard, yard_id: str) -> list[dict[str, Any]]:
    """Return a row for each stack; its geometry is its rows of bales."""
    rows = []
    for k in range(len(yard.laid.stack_outlines)):
        mine = yard.laid.stack == k
        bales = int(yard.laid.steps[mine].sum()) * yard.pattern.per_step
        rows.append(
            {
                "stack_id": f"{yard_id}-{k + 1}",
                "bales": bales,
                "rows": int(mine.sum()),
                "mass_mg": bales * yard.pattern.bale_kg / 1000,
                "height_m": yard.pattern.height_m,
                "geometry": shapely.multipolygons(yard.laid.polygons[mine]),
            }
        )
    return rows


def _apron(apron: shapely.Geometry, ratings: GroundRatings, coefficients: Handbook) -> dict[str, Any]:
    on_it = cells_in(ratings.site.x, ratings.site.y, apron, ratings.site.cell_m)
    return {
        "side_m": coefficients.value("yards.apron"),
        "road_m": _route_m(apron, on_it, ratings),
        "geometry": apron,
    }


def _lanes(yard: Yard, coefficients: Handbook) -> dict[str, Any]:
    width = coefficients.value("yards.lane")
    whole = lanes_round(yard.laid, width, shapely.Polygon())
    return {"width_m": width, "clear_fraction": yard.lanes.area / whole.area, "geometry": yard.lanes}


def whats_near(yard: Yard, ratings: GroundRatings) -> list[dict[str, Any]]:
    """Return the nearest shape of each layer given, with its name and its distance from the stacks."""
    layers = [layer for layer in ratings.site.surroundings if layer not in ("property", "yards", "no_go")]
    return _nearest(yard.stacks, ratings, layers)


def _nearest(shape: shapely.Geometry, ratings: GroundRatings, layers: Iterable[str]) -> list[dict[str, Any]]:
    rows = []
    for layer in layers:
        frame = ratings.site.layer(layer)
        if frame is None:
            continue
        distance = shapely.distance(frame.geometry.to_numpy(), shape)
        nearest = int(np.argmin(distance))
        name = str(frame["name"].iloc[nearest]) if "name" in frame.columns else ""
        rows.append({"layer": layer, "name": name, "distance_m": float(distance[nearest])})
    return rows


def sun_months(cells: Mapping[str, Cells], months: xr.Dataset) -> pd.DataFrame:
    """Return each yard's sun month by month, on the ground its stacks stand on, as its season's is.

    Parameters
    ----------
    cells : mapping of yard_id to cells
        `FoundYards.cells`.
    months : xarray.Dataset
        Variables of `stovergeo.terrain.sun_by_month`; months as ``2026-11``.

    Returns
    -------
    DataFrame
        yard_id, year, month, sun_kwh_m2, sun_fraction.
    """
    rows = []
    for yard_id, (row, col) in cells.items():
        for month, energy, share in zip(
            months["month"].to_numpy(),
            months["sun_kwh_m2"].to_numpy()[:, row, col].mean(axis=1),
            months["sun_fraction"].to_numpy()[:, row, col].mean(axis=1),
            strict=True,
        ):
            year, calendar_month = (int(part) for part in str(month).split("-"))
            rows.append((yard_id, year, calendar_month, float(energy), float(share)))
    return pd.DataFrame(rows, columns=["yard_id", "year", "month", "sun_kwh_m2", "sun_fraction"])
