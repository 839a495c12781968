"""Slope and aspect against printed 3 x 3 windows and exact planes."""

import numpy as np
import pytest
import xarray as xr

from stovergeo.terrain import slope_aspect


def raster(z, cell=1.0):
    z = np.asarray(z, dtype=np.float32)
    y, x = -cell * np.arange(z.shape[0]), cell * np.arange(z.shape[1])
    return xr.DataArray(z, dims=("y", "x"), coords={"y": y, "x": x})


# Horn 1981, Proc. IEEE 69(1):14-47. The first two windows are the worked examples of a desktop GIS's help
# pages, which print 75.25762 degrees and aspect 92.64 (from memory); the digits here are computed from the formula.
@pytest.mark.parametrize(
    ("window", "cell", "slope_deg", "slope_pct", "aspect"),
    [
        ([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 5, 75.2577, 380.03, 180.754),
        ([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 1, 82.9909, None, 92.6425),
        ([[103.0, 102.4, 101.9], [102.6, 102.0, 101.4], [102.1, 101.6, 101.0]], 10, 4.0898, 7.1502, 126.469),
    ],
)
def test_horn_windows(window, cell, slope_deg, slope_pct, aspect):
    middle = slope_aspect(raster(window, cell)).isel(x=1, y=1)
    assert np.degrees(np.arctan(float(middle.slope_pct) / 100)) == pytest.approx(slope_deg, abs=1e-4)
    if slope_pct:
        assert float(middle.slope_pct) == pytest.approx(slope_pct, abs=0.005 if slope_pct > 100 else 1e-4)
    assert float(middle.aspect_deg) == pytest.approx(aspect, abs=1e-3)


# Plane tests of the topocalc package (its gradient tests): a ramp in each of eight directions, aspect exact,
# slope 45 degrees along the grid and atan(sqrt 2) across it.
@pytest.mark.parametrize(
    ("east", "north", "aspect"),
    [
        (1, 0, 270),
        (-1, 0, 90),
        (0, 1, 180),
        (0, -1, 0),
        (1, -1, 315),
        (-1, 1, 135),
        (1, 1, 225),
        (-1, -1, 45),
    ],
)
def test_eight_ramps_up_to_the_rim(east, north, aspect):
    r, c = np.mgrid[:6, :7]
    result = slope_aspect(raster(east * c - north * r))
    np.testing.assert_allclose(result.slope_pct, 100 * np.hypot(east, north), rtol=1e-6)
    turn = (result.aspect_deg.values - aspect + 180) % 360 - 180
    np.testing.assert_allclose(turn, 0, atol=1e-4)


def test_flat_ground_has_no_aspect():
    result = slope_aspect(raster(np.full((5, 5), 7.0)))
    assert (result.slope_pct == 0).all()
    assert np.isnan(result.aspect_deg).all()
