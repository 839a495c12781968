"""What the tests of this package share: made fields, the real field, the handbook, a grid."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import geopandas as gpd
import made_field
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from odc.geo.geobox import GeoBox
from odc.geo.geom import BoundingBox

from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.stack import new_stack
from stovergeo.core.units import KG_PER_LB, KG_PER_MG, M2_PER_HA, M_PER_FT, M_PER_IN


@pytest.fixture(scope="session")
def made() -> ModuleType:
    """The module that makes fields with known truth."""
    return made_field


@pytest.fixture(scope="session")
def coefficients() -> Handbook:
    return load_handbook()


@pytest.fixture(scope="session")
def grid_over():
    """Make an empty stack over some ground."""

    def make(frame: gpd.GeoDataFrame, cell_m: float = 5.0) -> xr.Dataset:
        west, south, east, north = frame.total_bounds
        low = np.floor(np.array([west, south]) / cell_m - 2) * cell_m
        high = np.ceil(np.array([east, north]) / cell_m + 2) * cell_m
        box = BoundingBox(*low, *high, crs=frame.crs.to_wkt())
        return new_stack(GeoBox.from_bbox(box, resolution=cell_m))

    return make


@pytest.fixture(scope="session")
def real_points(real_field: Path) -> gpd.GeoDataFrame:
    """The raw records of the real field in UTM 15N, as the readers hand them on."""
    raw = pd.read_csv(real_field / "yield_points.csv")
    geometry = gpd.points_from_xy(raw["Longitude"], raw["Latitude"], crs=4326).to_crs(26915)
    seconds = raw["Cycles"].astype(float)
    area_m2 = raw["Distance"] * M_PER_IN * raw["Swath"] * M_PER_IN
    grain_kg = raw["Flow"] * KG_PER_LB * seconds * (1 - raw["Moisture"] / 100)
    return gpd.GeoDataFrame(
        {
            "seconds": seconds,
            "flow_kg_s": raw["Flow"] * KG_PER_LB,
            "distance_m": raw["Distance"] * M_PER_IN,
            "swath_m": raw["Swath"] * M_PER_IN,
            "moisture_pct": raw["Moisture"],
            "time_s": raw["Time"].astype(float),
            "height_m": raw["Altitude"] * M_PER_FT,
            "area_m2": area_m2,
            "grain_kg": grain_kg,
            "grain_mg_ha": grain_kg / KG_PER_MG / (area_m2 / M2_PER_HA),
        },
        geometry=geometry,
        crs=26915,
    )
