"""Putting the joint choice into the tables of a season."""

from __future__ import annotations

from typing import TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from stovergeo import residue, supply, zones
from stovergeo.core.messages import Message
from stovergeo.inputs.farm_layers import only_stacks

Table = TypeVar("Table", bound=pd.DataFrame)


def without_unstorable(offers: pd.DataFrame, reasons: dict[str, Message]) -> pd.DataFrame:
    """Return the offers with those refused whose bales could not be kept, and the best of the rest recommended."""
    refused = offers["method"].isin(list(reasons))
    why = offers["method"].map({method: (reason,) for method, reason in reasons.items()})
    offers = offers.assign(allowed=offers["allowed"] & ~refused, message=offers["message"].mask(refused, why))
    most = offers[offers["allowed"]].groupby("zone_id")["removal_mg_ha"].idxmax()
    return offers.assign(recommended=offers.index.isin(most))


def kept_free_ground(no_go: gpd.GeoDataFrame | None) -> BaseGeometry | None:
    """Return the ground on which nothing may be gathered: all refused places but those refused to stacks alone."""
    if no_go is None:
        return None
    return shapely.union_all(no_go.geometry[~only_stacks(no_go)])


def without_kept_free(offers: pd.DataFrame, drawn: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return the offers with those refused that lie on ground the landowner keeps free."""
    why = drawn.loc[drawn["kept_free"]].set_index("zone_id")["reason"]
    refused = offers["zone_id"].isin(why.index)
    return offers.assign(
        allowed=offers["allowed"] & ~refused,
        recommended=offers["recommended"] & ~refused,
        message=offers["message"].mask(refused, offers["zone_id"].map(why)),
    )


def most_used(usual: dict[str, str], ways: dict[str, residue.Method]) -> str:
    """Return the method most zones would use, or the one that takes least: yards are laid out for its bale."""
    used = [m for m in usual.values() if m in ways]
    return max(ways, key=used.count)


def worked_zones(
    drawn: gpd.GeoDataFrame, offers: pd.DataFrame, choice: supply.Choice, chosen: dict[str, str], by_need: bool
) -> gpd.GeoDataFrame:
    """Return the zones as they will be worked; where the need asks for less, only a share of a zone is gathered."""
    worked = zones.assign_methods(drawn, offers, chosen)
    if not by_need:
        return worked.assign(gathered_fraction=(worked["method"] != "leave").astype(float))
    share = worked["zone_id"].map(choice.zone_method.set_index("zone_id")["share"]).fillna(0.0)
    return worked.assign(gathered_fraction=share, removal_mg=worked["removal_mg"] * share)


def in_whole_bales(need: pd.DataFrame, choice: supply.Choice) -> pd.DataFrame:
    """Return the need with the bales that are made for it and those it is short of, in place of an estimate."""
    keys = ["need", "year", "month"]
    made = choice.wrap_use.groupby(keys)["bales"].sum()
    short = choice.shortage.groupby(keys)["bales"].sum()
    both = made.add(short, fill_value=0)
    bales = [int(both.get(key, 0)) for key in need[keys].itertuples(index=False, name=None)]
    return need.assign(bales=np.array(bales, dtype=int))


def with_reasons(table: gpd.GeoDataFrame, choice: supply.Choice, kind: str) -> gpd.GeoDataFrame:
    """Return zones or yards with the choice's reason in money beside their own (column ``cost_reason``)."""
    of_kind = choice.reasons[choice.reasons["kind"] == kind]
    said = dict(zip(of_kind["id"], of_kind["message"], strict=True))
    reasons = [said.get(i, ()) for i in table[f"{kind}_id"]]
    return table.assign(cost_reason=pd.Series(reasons, index=table.index, dtype=object))


def yard_routes(
    found: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, distance_m: np.ndarray, kept_free: frozenset[str]
) -> pd.DataFrame:
    """Return the route from every zone not kept free to every yard that can be reached, nearest first in each yard."""
    ways = pd.DataFrame(distance_m, index=drawn["zone_id"], columns=found["yard_id"]).rename_axis(columns="yard_id")
    table = ways.stack().rename("distance_m").reset_index()[["yard_id", "zone_id", "distance_m"]]
    table = table[np.isfinite(table["distance_m"]) & ~table["zone_id"].isin(kept_free)]
    return table.sort_values(["yard_id", "distance_m"], kind="stable").reset_index(drop=True)


def ground_of(yards: pd.DataFrame, hauls: pd.DataFrame) -> str:
    """Return what bare ground is in the yard that takes most bales: "soil" or "clay" (its column ``ground``)."""
    if not len(yards):
        return "soil"
    carried = hauls.groupby("yard_id")["bales"].sum()
    most = carried.idxmax() if len(carried) else yards["yard_id"].iloc[0]
    return str(yards.loc[yards["yard_id"] == most, "ground"].iloc[0])


def joined(frames: list[Table], crs: CRS | None = None) -> Table:
    """Return the tables of all clusters as one, shapes in the farm's CRS; that of a single cluster as it is."""
    placed = [f.to_crs(crs) if isinstance(f, gpd.GeoDataFrame) and crs is not None else f for f in frames]
    if len(placed) == 1:
        return placed[0]
    return pd.concat([f for f in placed if len(f)] or placed[:1], ignore_index=True)
