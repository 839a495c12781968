"""Writing into the zones how each is gathered."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from stovergeo.core.schemas import KEPT_FREE_RULE, check_table
from stovergeo.zones.messages import left_messages, method_message


def assign_methods(
    zones: gpd.GeoDataFrame,
    zone_methods: pd.DataFrame,
    chosen: Mapping[str, str] | None = None,
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
        zone_id, method, title, removal_mg_ha, limit_mg_ha, allowed and message.
    chosen : mapping, optional
        zone_id -> method name or "leave", as the joint choice decides.

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
    fits = zone_methods["allowed"].astype(bool) & (zone_methods["removal_mg_ha"] > 0)
    zone_methods = zone_methods.assign(allowed=fits)
    by_zone = dict(iter(zone_methods.groupby("zone_id", sort=False)))
    records = []
    for zone in zones.drop(columns="geometry").to_dict("records"):
        offers = by_zone.get(zone["zone_id"], zone_methods.iloc[:0])
        allowed = offers[offers["allowed"]].set_index("method")
        if chosen is not None:
            wanted = chosen.get(zone["zone_id"], "leave")
        else:
            wanted = allowed["removal_mg_ha"].idxmax() if len(allowed) else "leave"
        record = {"method": "leave", "removal_mg_ha": 0.0}
        record |= {name: zone[name] for name in ("binding_rule", "reason", "removable_mg_ha")}
        if zone.get("kept_free", False):
            record |= {"binding_rule": KEPT_FREE_RULE, "removable_mg_ha": 0.0}
        elif wanted == "leave":
            record |= {"reason": (*zone["reason"], *left_messages(zone, offers))}
        elif wanted not in allowed.index:
            raise ValueError(f"{wanted!r} is not an allowed method in zone {zone['zone_id']}")
        else:
            offer = allowed.loc[wanted].to_dict()
            record |= {"method": wanted, "removal_mg_ha": float(offer["removal_mg_ha"])}
            record["reason"] = (*zone["reason"], method_message(offer))
            if offer["removal_mg_ha"] < 0.95 * zone["removable_mg_ha"]:
                record["binding_rule"] = "method"
        records.append(record)
    filled = pd.DataFrame(records, index=zones.index)
    out = zones.assign(**dict(filled.items()))
    return out.assign(removal_mg=out["removal_mg_ha"] * out["area_ha"])
