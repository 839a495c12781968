"""Writing into the zones how each is gathered."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from stovergeo.core.schemas import KEPT_FREE_RULE, check_table
from stovergeo.zones.words import leave_words, method_words


def assign_methods(
    zones: gpd.GeoDataFrame,
    zone_methods: pd.DataFrame,
    chosen: Mapping[str, str] | None = None,
    *,
    units: str = "us",
) -> gpd.GeoDataFrame:
    """Return the zones with method, take and reason filled in.

    Without a choice, each zone gets the allowed method that takes most: by construction of
    `zone_methods` every allowed take fits under the zone's limit. From ground kept free nothing may leave,
    whatever is offered or chosen.

    Parameters
    ----------
    zones : GeoDataFrame, ZONES schema
        As made by `make_zones`; assigning twice would say the reason twice, so start from those.
    zone_methods : DataFrame
        zone_id, method, take_mg_ha, allowed, and title where known.
    chosen : mapping, optional
        zone_id -> method name or "leave", as the joint choice decides.
    units : {"us", "metric"}
        Of the words.

    Returns
    -------
    GeoDataFrame, ZONES schema
        `binding_rule` becomes "method" where the method takes clearly less than may leave, and
        "landowner" on ground kept free, where `removable_mg_ha` becomes 0.

    Raises
    ------
    ValueError
        When a method is chosen that is not allowed in its zone.
    """
    check_table(zones, "zones", "assign_methods")
    allowed = zone_methods[zone_methods["allowed"].astype(bool) & (zone_methods["take_mg_ha"] > 0)]
    by_zone = {zone: rows.set_index("method", drop=False) for zone, rows in allowed.groupby("zone_id", sort=False)}
    records = []
    for zone in zones.drop(columns="geometry").to_dict("records"):
        offers = by_zone.get(zone["zone_id"])
        wanted = chosen.get(zone["zone_id"], "leave") if chosen is not None else None
        if wanted is None and offers is not None:
            wanted = offers["take_mg_ha"].idxmax()
        if zone.get("kept_free", False):
            record = {
                "method": "leave",
                "take_mg_ha": 0.0,
                "binding_rule": KEPT_FREE_RULE,
                "reason": zone["reason"],
                "removable_mg_ha": 0.0,
            }
        elif wanted is None or wanted == "leave":
            record = {
                "method": "leave",
                "take_mg_ha": 0.0,
                "binding_rule": zone["binding_rule"],
                "reason": leave_words(zone, offers is not None),
                "removable_mg_ha": zone["removable_mg_ha"],
            }
        elif offers is None or wanted not in offers.index:
            raise ValueError(f"{wanted!r} is not an allowed method in zone {zone['zone_id']}")
        else:
            offer = offers.loc[wanted].to_dict()
            held = offer["take_mg_ha"] >= 0.95 * zone["removable_mg_ha"]
            record = {
                "method": wanted,
                "take_mg_ha": float(offer["take_mg_ha"]),
                "binding_rule": zone["binding_rule"] if held else "method",
                "reason": method_words(zone, offer, units),
                "removable_mg_ha": zone["removable_mg_ha"],
            }
        records.append(record)
    filled = pd.DataFrame(records, index=zones.index)
    out = zones.assign(**{column: filled[column] for column in filled.columns})
    return out.assign(take_mg=out["take_mg_ha"] * out["area_ha"])
