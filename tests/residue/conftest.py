"""A small rolling farm in memory: two fields, a waterway, soils with a gap."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from affine import Affine
from odc.geo.geobox import GeoBox

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.stack import new_stack, put
from stovergeo.core.units import K_SI_PER_US, MG_HA_DRY_PER_BU_ACRE, MG_HA_PER_TON_ACRE
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, limits, methods


@pytest.fixture(scope="session")
def coefficients():
    return load_handbook()


@pytest.fixture(scope="session")
def options(coefficients):
    return RuleOptions(
        Crop(rotation="continuous corn", tillage=("chisel_straight", "planter")),
        Limits(take_erodible=True),
        coefficients,
    )


def make_farm(rows=40, cols=60, cell=10.0) -> xr.Dataset:
    grid = GeoBox((rows, cols), Affine(cell, 0, 450_000, 0, -cell, 4_650_000), "EPSG:26915")
    y, x = np.mgrid[0:rows, 0:cols]
    slope = 1.0 + 6.0 * (1 + np.sin(x / 9.0)) / 2 + 3.0 * y / rows
    bushels = 205 + 25 * np.sin(y / 7.0) - 4 * slope
    soil = np.where(x < cols // 2, 0.32, 0.28) * K_SI_PER_US
    soil = np.where((y < 5) & (x < 10), np.nan, soil)
    flow = (np.abs(x - cols // 3) <= 1).astype(float)
    return put(
        new_stack(grid),
        field_number=np.where(x < cols // 2, 0.0, 1.0),
        grain_mg_ha=np.where(x == cols - 1, np.nan, bushels * MG_HA_DRY_PER_BU_ACRE),
        grain_error_mg_ha=np.full(grid.shape, 0.5),
        slope_pct=slope,
        ls_factor=0.08 * slope**1.3,
        upslope_area_m2=np.full(grid.shape, 400.0),
        concentrated_flow=flow,
        soil_erodibility=soil,
        soil_loss_tolerance=np.full(grid.shape, 5 * MG_HA_PER_TON_ACRE),
        wind_erodibility=np.where(x < cols // 2, 48.0, 86.0) * MG_HA_PER_TON_ACRE,
        erodible_class=np.zeros(grid.shape),
        soil_carbon=np.full(grid.shape, 200.0),  # enough that the goal for it binds nowhere
    )


@pytest.fixture(scope="session")
def farm():
    return make_farm()


@pytest.fixture(scope="session")
def zones():
    """Four zones, two a field, and their numbers on the grid."""
    y, x = np.mgrid[0:40, 0:60]
    labels = (x >= 30) * 2.0 + (y >= 20)
    labels[:, 58:] = np.nan
    table = pd.DataFrame({"zone_id": ["F1-a", "F1-b", "F2-a", "F2-b"], "field_id": ["F1", "F1", "F2", "F2"]})
    return table, labels


@pytest.fixture(scope="module")
def done(farm, options):
    return limits(farm, options, Report())


@pytest.fixture(scope="module")
def ways(coefficients):
    return methods(coefficients)
