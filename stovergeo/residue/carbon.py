"""Soil carbon: what must return to the ground, and in which of the coming years stover may leave."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.inputs.plan.crop import Crop
from stovergeo.residue.messages import catalog
from stovergeo.residue.production import Amount


def stover_to_return(base_mg_ha: Amount, factor: Amount, other_c_mg_ha: Amount, content: Amount) -> Amount:
    """Return the stover (Mg/ha a corn year) that holds soil carbon, less what manure and cover crops bring.

    Parameters
    ----------
    base_mg_ha : float
        Requirement of the rotation and tillage (Wilhelm et al. 2007).
    factor : float
        Departure of this ground from it.
    other_c_mg_ha : float
        Carbon from other sources in the worth of stover carbon, Mg C/ha a year.
    content : float
        Carbon in stover, Mg/Mg.
    """
    return np.maximum(factor * base_mg_ha - other_c_mg_ha / content, 0.0)


def keep_in_harvest_year(required_mg_ha: Amount, stover_mg_ha: Amount, one_year_in: int) -> Amount:
    """Return what must stay in the year of harvest when the other years of `one_year_in` return all their stover.

    The mean left over the years, ((n - 1) S + keep) / n, is the requirement; never below 0.

    Examples
    --------
    Six Mg/ha must return in the mean of two years of nine: harvest one year, and three may stay.

    >>> float(keep_in_harvest_year(6.0, 9.0, one_year_in=2))
    3.0
    """
    n = one_year_in
    return np.maximum(n * required_mg_ha - (n - 1) * stover_mg_ha, 0.0)


def share_of_years(stover_mg_ha: Amount, required_mg_ha: Amount, removal_mg_ha: Amount) -> Amount:
    """Return the largest share of corn years in which `removal_mg_ha` may leave under the carbon budget, 0 to 1.

    Mean left = S - share x take >= required.

    Examples
    --------
    >>> float(share_of_years(9.0, 6.0, removal_mg_ha=6.0))
    0.5
    """
    return np.clip((stover_mg_ha - required_mg_ha) / removal_mg_ha, 0.0, 1.0)


def one_year_in(share: Amount) -> np.ndarray:
    """Return n of "one year in n" for a share of years: the least whole n with 1/n <= share, inf where it is 0.

    Examples
    --------
    >>> float(one_year_in(1 / 3))
    3.0
    """
    known = np.asarray(share, dtype=float)
    # a share of exactly 1/3 must not become 4 by rounding
    return np.where(known > 0, np.ceil(1 / np.where(known > 0, known, 1.0) - 1e-9), np.inf)


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
        zone_id, year, crop, harvest, removal_mg_ha, one_year_in (inf: never), message.
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
            removal = float(offer["removal_mg_ha"]) if harvest and offer is not None else 0.0
            rows.append((zone, year, grown, harvest, removal, n, _message(grown, harvest, n)))
    columns = ["zone_id", "year", "crop", "harvest", "removal_mg_ha", "one_year_in", "message"]
    return pd.DataFrame(rows, columns=columns)


def _message(grown: str, harvest: bool, n: float) -> Message:
    if grown != "corn":
        return catalog("year.soybean")
    if not harvest:
        return catalog("year.stays" if np.isinf(n) else "year.stays_for_carbon")
    return catalog("year.harvest") if n == 1 else catalog("year.harvest_in_some", years=int(n))
