"""The carbon that a stock needs each year, by every model: RothC under two evapotranspirations, and tier 2.

With Thornthwaite's evapotranspiration RothC stands near what it was tuned on, with Hargreaves' the ground is drier and
the need lower; both are shown, since water moves the need more than the soil does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from stovergeo.residue.carbon_stock import rothc, tier2
from stovergeo.residue.carbon_stock.evapotranspiration import hargreaves, thornthwaite
from stovergeo.residue.carbon_stock.rothc_rates import PAN, monthly_rates
from stovergeo.residue.carbon_stock.tier2 import Tier2Parameters
from stovergeo.residue.production import Amount

#: of the soil that is judged, the depth of tier 2
DEPTH_CM: Final = 30.0


@dataclass(frozen=True, slots=True)
class Site:
    """Soils and their climate; samples and soils broadcast."""

    temperature_c: Amount  #: monthly mean, shape (..., 12)
    day_range_c: Amount  #: mean highest less mean lowest of the day, shape (..., 12)
    rain_mm: Amount  #: shape (..., 12)
    latitude_deg: Amount  #: south below 0, shape (...)
    covered: Amount  #: months in which a living crop shades the ground, shape (..., 12)
    clay_pct: Amount  #: shape (...)
    sand_pct: Amount  #: shape (...)


def carbon_needs(site: Site, stock_mg_ha: Amount, parameters: Tier2Parameters, month: int) -> dict[str, np.ndarray]:
    """Return the carbon that must come in each year to hold a stock, Mg C/(ha yr), by model.

    The ground must be neither wet nor organic: the models say nothing of such ground.

    Parameters
    ----------
    site : Site
    stock_mg_ha : float or array
        Carbon in the top 30 cm; more axes may stand before the site's.
    parameters : Tier2Parameters
        For the tillage.
    month : int
        In which residue comes to the ground, 1 to 12.

    Returns
    -------
    dict
        "rothc_thornthwaite", "rothc_hargreaves" and "tier2"; NaN where something is not known.
    """
    by_thornthwaite = thornthwaite(site.temperature_c, site.latitude_deg)
    water = {
        "rothc_thornthwaite": by_thornthwaite,
        "rothc_hargreaves": hargreaves(site.temperature_c, site.day_range_c, site.latitude_deg),
    }
    brought = rothc.in_month(1.0, month, rothc.plant_split())
    needs = {}
    for name, pet_mm in water.items():
        rates = monthly_rates(site.temperature_c, site.rain_mm, pet_mm / PAN, site.covered, site.clay_pct, DEPTH_CM)
        per_input = rothc.stock_per_input(rothc.month_matrices(rates, site.clay_pct), brought)
        needs[name] = rothc.input_to_hold(stock_mg_ha, per_input)
    warmth = tier2.temperature_factor(site.temperature_c, parameters.best_temperature_c)
    moisture = tier2.water_factor(site.rain_mm, by_thornthwaite, parameters.rain_slope)
    rates = tier2.yearly_rates(parameters, site.sand_pct, warmth, moisture)
    needs["tier2"] = stock_mg_ha / tier2.stock_per_input(parameters, site.sand_pct, rates)
    return needs
