"""Slope, aspect and roughness where the ground is not tidy."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.core.errors import ContractError
from stovergeo.core.stack import new_stack, put
from stovergeo.terrain import slope_aspect


def raster(z, dx=1.0, dy=1.0):
    z = np.asarray(z, dtype=np.float32)
    return xr.DataArray(z, dims=("y", "x"), coords={"y": -dy * np.arange(z.shape[0]), "x": dx * np.arange(z.shape[1])})


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.sampled_from([1.0, 5.0]), st.sampled_from([1.0, 3.0]))
def test_a_plane_keeps_slope_and_aspect_beside_unknown_ground(east, north, dx, dy):
    r, c = np.mgrid[:12, :13]
    z = (east * c * dx - north * r * dy).astype(np.float32)
    z[4:6, 5] = np.nan
    z[0, 0] = np.nan
    result = slope_aspect(raster(z, dx, dy))
    known = ~np.isnan(z)
    assert np.array_equal(np.isnan(result.slope_pct), ~known)
    np.testing.assert_allclose(result.slope_pct.values[known], 100 * np.hypot(east, north), atol=2e-3)
    if np.hypot(east, north) > 0.05:
        expected = np.degrees(np.arctan2(-east, -north)) % 360
        turn = (result.aspect_deg.values[known] - expected + 180) % 360 - 180
        np.testing.assert_allclose(turn, 0, atol=0.02)


def test_aspect_follows_the_exact_arctangent():
    angles = np.radians(np.arange(0.05, 360, 0.7))
    for angle in angles:
        r, c = np.mgrid[:3, :3]
        plane = -(np.sin(angle) * c - np.cos(angle) * r)
        got = float(slope_aspect(raster(plane)).aspect_deg[1, 1])
        assert got == pytest.approx(np.degrees(angle), abs=2e-4)


def test_one_known_cell_alone_is_flat_and_a_hole_is_unknown():
    z = np.full((5, 5), np.nan)
    z[2, 2] = 7
    result = slope_aspect(raster(z))
    assert result.slope_pct[2, 2] == 0
    assert result.roughness_m[2, 2] == 0
    assert np.isnan(result.aspect_deg).all()
    assert np.isnan(result.slope_pct).sum() == 24


def test_roughness_is_the_largest_step_to_a_neighbor():
    z = np.zeros((5, 5))
    z[2, 2] = 3
    rough = slope_aspect(raster(z)).roughness_m.values
    assert rough[2, 2] == 3
    assert (rough[1:4, 1:4] == 3).all()
    assert rough[0, 0] == 0


def test_a_declared_no_data_value_is_unknown():
    z = raster(np.full((6, 6), 100.0))
    z[2, 2] = -9999
    result = slope_aspect(z.rio.write_nodata(-9999))
    assert np.isnan(result.slope_pct[2, 2])
    assert float(result.slope_pct.max()) == 0


def test_results_enter_the_field_stack():
    from odc.geo.geobox import GeoBox

    grid = GeoBox.from_bbox((450_000, 4_649_900, 450_060, 4_650_000), "EPSG:26915", resolution=5)
    stack = put(new_stack(grid), elevation_m=np.add.outer(np.arange(20.0), np.arange(12.0)))
    stack = put(stack, **slope_aspect(stack["elevation_m"]))
    assert stack.slope_pct.attrs["units"] == "%"
    assert float(stack.slope_pct.max()) == pytest.approx(100 * np.hypot(1, 1) / 5, rel=1e-5)


def test_heights_in_feet_or_degrees_are_refused():
    z = raster(np.zeros((4, 4)))
    with pytest.raises(ContractError, match="meters"):
        slope_aspect(z.assign_attrs(units="ft"))
    with pytest.raises(ContractError, match="reproject"):
        slope_aspect(z.rio.write_crs("EPSG:4326"))
