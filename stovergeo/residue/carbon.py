"""Soil carbon: what must return to the ground, and in which of the coming years stover may leave."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.inputs.plan.crop import Crop
from stovergeo.inputs.plan.harvest_years import MAX_YEARS
from stovergeo.residue.messages import catalog, in_years
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


def keep_in_harvest_year(required_mg_ha: Amount, stover_mg_ha: Amount, harvest_fraction: Fraction) -> Amount:
    """Return what must stay in a year of harvest when the years without harvest return all their stover.

    The mean left over the years, (1 - f) S + f keep, is the requirement; never below 0.

    Examples
    --------
    Six Mg/ha must return in the mean of two years of nine: harvest one year, and three may stay.

    >>> float(keep_in_harvest_year(6.0, 9.0, Fraction(1, 2)))
    3.0
    """
    taken, years = harvest_fraction.numerator, harvest_fraction.denominator
    return np.maximum((years * required_mg_ha - (years - taken) * stover_mg_ha) / taken, 0.0)


def removal_a_year(removal_mg_ha: Amount, harvest_fraction: Amount) -> Amount:
    """Return what leaves in the mean of all corn years when it leaves in a fraction of them only."""
    return removal_mg_ha * harvest_fraction


def share_of_years(stover_mg_ha: Amount, required_mg_ha: Amount, removal_mg_ha: Amount) -> Amount:
    """Return the largest share of corn years in which `removal_mg_ha` may leave under the carbon budget, 0 to 1.

    Mean left = S - share x take >= required.

    Examples
    --------
    >>> float(share_of_years(9.0, 6.0, removal_mg_ha=6.0))
    0.5
    """
    return np.clip((stover_mg_ha - required_mg_ha) / removal_mg_ha, 0.0, 1.0)


#: shares of years that people plan by: up to five years in a round, or one year in more
_SHARES: Final = sorted(
    {Fraction(taken, years) for years in range(1, 6) for taken in range(1, years + 1)}
    | {Fraction(1, years) for years in range(6, MAX_YEARS + 1)}
)


def years_within(share: float) -> Fraction:
    """Return the largest of the fractions that people plan by which is not above a share of years; 0 where none is.

    Examples
    --------
    >>> str(years_within(0.78)), str(years_within(0.4))
    ('3/4', '2/5')
    """
    # a share of exactly 1/3 must not become 1/4 by rounding
    return max((f for f in _SHARES if f <= share + 1e-9), default=Fraction(0))


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

    The season's yield stands for the years to come. Harvests are spread evenly over the corn years, the season being
    the first, in the plan's own fraction of years or, if that is less, in what the carbon budget bears for the zone's
    method.

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
        zone_id, year, crop, harvest, removal_mg_ha, harvest_fraction (of the corn years; 0: in none), message.
    """
    offers = zone_methods.set_index(["zone_id", "method"])
    rows = []
    for zone, method in chosen.items():
        offer = offers.loc[(zone, method)] if method != "leave" else None
        fraction = Fraction(0) if offer is None else _planned(float(offer["harvest_fraction"]), crop)
        corn = 0
        for year, grown in corn_years(crop, season, years).items():
            harvest = grown == "corn" and math.ceil((corn + 1) * fraction) > math.ceil(corn * fraction)
            corn += grown == "corn"
            removal = float(offer["removal_mg_ha"]) if harvest and offer is not None else 0.0
            rows.append((zone, year, grown, harvest, removal, float(fraction), _message(grown, harvest, fraction)))
    columns = ["zone_id", "year", "crop", "harvest", "removal_mg_ha", "harvest_fraction", "message"]
    return pd.DataFrame(rows, columns=columns)


def _planned(bears: float, crop: Crop) -> Fraction:
    """Return the fraction of years of a zone: the plan's, or less where the carbon budget bears less."""
    return crop.harvest_years if math.isnan(bears) else min(crop.harvest_years, years_within(bears))


def _message(grown: str, harvest: bool, fraction: Fraction) -> Message:
    if grown != "corn":
        return catalog("year.soybean")
    if not harvest:
        return catalog("year.stays_for_carbon" if fraction else "year.stays")
    return catalog("year.harvest") if fraction == 1 else catalog("year.harvest_in_some", **in_years(fraction))
