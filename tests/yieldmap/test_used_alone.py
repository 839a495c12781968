"""The package on a table that somebody else made: only the columns that must be there."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.yieldmap import clean_points, grain_surface


def passes(grain_mg_ha: np.ndarray) -> gpd.GeoDataFrame:
    """Ten passes of 100 records, 8 m wide, a record every 2 m, driven up and down."""
    along = np.tile(np.arange(1, 101) * 2.0, (10, 1))
    along[1::2] = 202 - along[1::2]
    columns = {"area_m2": 16.0, "grain_mg_ha": grain_mg_ha, "grain_kg": 1.6 * grain_mg_ha}
    x = np.repeat(np.arange(10) * 8.0 + 4, 100)
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(440_000 + x, 4_650_000 + along.ravel(), crs=32615))


def surface_of(points: gpd.GeoDataFrame, grid_over, coefficients: Handbook) -> tuple[xr.DataArray, xr.DataArray]:
    outline = shapely.box(440_000, 4_650_000, 440_080, 4_650_200)
    columns = {"field_id": ["F1"], "name": ["home"], "area_ha": [1.6]}
    field = gpd.GeoDataFrame(columns, geometry=[outline], crs=32615)
    surface = grain_surface(points, field, grid_over(field), coefficients)
    return surface.grain, surface.error


def test_records_without_pass_numbers_have_a_surface_with_an_error(grid_over, coefficients: Handbook) -> None:
    at = np.arange(1000)
    grain, error = surface_of(passes(10 + np.sin(at / 15) + 0.3 * np.cos(97.0 * at)), grid_over, coefficients)
    known = grain.notnull()
    assert int(known.sum()) > 500
    assert bool((error.where(known, 1) > 0).all())
    assert grain.attrs["units"] == error.attrs["units"] == "Mg/ha"


def test_a_field_without_any_difference_is_level(grid_over, coefficients: Handbook) -> None:
    cleaned = clean_points(passes(np.full(1000, 10.0)), coefficients, Report())
    assert len(cleaned.points) == 1000
    grain, _ = surface_of(cleaned.points, grid_over, coefficients)
    assert float(grain.max()) == pytest.approx(10.0, abs=1e-4) == float(grain.min())
