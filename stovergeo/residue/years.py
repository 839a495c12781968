"""In which of the coming years stover may leave, under the carbon budget and the rotation."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.inputs.plan.crop import Crop
from stovergeo.residue.messages import catalog

#: years the calendar looks ahead, the plan's season being the first
YEARS = 5


def corn_years(crop: Crop, season: int, years: int = YEARS) -> dict[int, str]:
    """Return the crop of each coming year; the season itself grows corn."""
    other = "corn" if crop.rotation == "continuous corn" else "soybean"
    return {season + i: "corn" if i % 2 == 0 else other for i in range(years)}


def harvest_calendar(
    zone_methods: pd.DataFrame, chosen: dict[str, str], crop: Crop, season: int, years: int = YEARS
) -> pd.DataFrame:
    """Return for each zone and coming year whether stover may leave.

    The season's yield stands for the years to come. Harvest comes round every n corn years, the first being the
    season, n being the larger of the plan's own interval and what the carbon budget bears for the zone's method.

    Parameters
    ----------
    zone_methods : DataFrame
        As `zone_methods` returns it.
    chosen : dict
        zone_id -> method or "leave".
    crop : Crop
    season : int
        First year.
    years : int

    Returns
    -------
    DataFrame
        zone_id, year, crop, harvest, take_mg_ha, one_year_in (inf: never), message.
    """
    offers = zone_methods.set_index(["zone_id", "method"])
    rows = []
    for zone, method in chosen.items():
        offer = offers.loc[(zone, method)] if method != "leave" else None
        n = np.inf if offer is None else float(np.nanmax([offer["one_year_in"], crop.harvest_one_year_in]))
        corn = 0
        for year, grown in corn_years(crop, season, years).items():
            harvest = bool(grown == "corn" and np.isfinite(n) and corn % int(n) == 0)
            corn += grown == "corn"
            rows.append(
                {
                    "zone_id": zone,
                    "year": year,
                    "crop": grown,
                    "harvest": harvest,
                    "take_mg_ha": float(offer["take_mg_ha"]) if harvest and offer is not None else 0.0,
                    "one_year_in": n,
                    "message": _message(grown, harvest, n),
                }
            )
    columns = ["zone_id", "year", "crop", "harvest", "take_mg_ha", "one_year_in", "message"]
    return pd.DataFrame(rows, columns=columns)


def _message(grown: str, harvest: bool, n: float) -> Message:
    if grown != "corn":
        return catalog("year.soybean")
    if not harvest:
        return catalog("year.stays" if np.isinf(n) else "year.stays_for_carbon")
    return catalog("year.harvest") if n == 1 else catalog("year.harvest_in_some", years=int(n))
