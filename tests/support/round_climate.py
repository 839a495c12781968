"""A round climate of the Corn Belt, no station's, for both models of soil carbon; and what they hold in it."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from stovergeo.core.coefficients import load_handbook
from stovergeo.residue.carbon_stock import evapotranspiration as pet
from stovergeo.residue.carbon_stock import rothc, rothc_rates, tier2

CROPS = rothc.plant_split()


def months(text: str) -> np.ndarray:
    """Return twelve numbers written in a row."""
    return np.array([float(number) for number in text.split()])


def months_but(*bare: int) -> np.ndarray:
    """Return months with a growing crop: all but those numbered."""
    return ~np.isin(np.arange(1, 13), bare)


def a_year(low: float, high: float) -> st.SearchStrategy[np.ndarray]:
    """Return any twelve numbers of a range."""
    return st.lists(st.floats(low, high), min_size=12, max_size=12).map(np.array)


TEMPERATURE = months("-7 -4.5 2.5 9.5 16 21.5 23.3 22 18 11 3.2 -3.8")
RAIN = months("25 30 54 98 125 130 112 118 80 67 52 35")
RANGE = months("10 10 11 12.2 12.2 11.7 11 11 12.2 12.2 10.5 9.5")
LATITUDE = 42.0
SUMMER = months_but(1, 2, 3, 4, 5, 10, 11, 12)
THORNTHWAITE = pet.thornthwaite(TEMPERATURE, LATITUDE)
HARGREAVES = pet.hargreaves(TEMPERATURE, RANGE, LATITUDE)


def round_months(
    water: np.ndarray = THORNTHWAITE, covered: np.ndarray = SUMMER, clay: float = 25.0, depth: float = 30.0
) -> np.ndarray:
    """Return the matrices of RothC's months."""
    rates = rothc_rates.monthly_rates(TEMPERATURE, RAIN, water / rothc_rates.PAN, covered, clay, depth)
    return rothc.month_matrices(rates, clay)


def per_input(month: int = 10, split: np.ndarray = CROPS, **changes) -> float:
    """Return what each Mg of carbon a year holds by RothC."""
    return float(rothc.stock_per_input(round_months(**changes), rothc.in_month(1.0, month, split)))


def tier2_of(
    tillage: tier2.Tillage, water: np.ndarray = THORNTHWAITE, sand: float = 20.0
) -> tuple[tier2.Tier2Parameters, float, np.ndarray]:
    """Return the parameters, the sand and the rates of tier 2."""
    parameters = tier2.tier2_parameters(load_handbook(), tillage)
    warmth = tier2.temperature_factor(TEMPERATURE, parameters.best_temperature_c)
    moisture = tier2.water_factor(RAIN, water, parameters.rain_slope)
    return parameters, sand, tier2.yearly_rates(parameters, sand, warmth, moisture)
