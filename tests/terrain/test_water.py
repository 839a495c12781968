"""Water: what it must do whatever the ground."""

import numpy as np
import pytest
import shapely
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.terrain import water
from stovergeo.terrain.flood import flood
from stovergeo.terrain.flow import accumulate_d8, accumulate_mfd, steepest

CELL = 5.0
EVERY_HOLLOW = load_handbook({"terrain.ponding_depth_m": 0, "terrain.ponding_area_m2": 0})


def raster(z, cell=CELL):
    z = np.asarray(z, dtype=np.float32)
    rows, cols = z.shape
    y, x = 4_650_000 - cell * (np.arange(rows) + 0.5), 450_000 + cell * (np.arange(cols) + 0.5)
    return xr.DataArray(z, dims=("y", "x"), coords={"y": y, "x": x}).rio.write_crs(26915)


def rolling(rows=80, cols=90, seed=3):
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[:rows, :cols]
    return 100 - 0.05 * r + 2 * np.sin(c / 9) * np.cos(r / 11) + rng.normal(0, 0.02, (rows, cols))


@settings(max_examples=examples(40))
@given(arrays(np.float32, (9, 11), elements=st.integers(0, 6).map(np.float32)), st.integers(0, 98))
def test_flood_fills_and_every_cell_drains_off(z, hole):
    z = z.copy()
    z.flat[hole] = np.nan
    filled, order, reached_from = flood(z)
    known = ~np.isnan(z)
    assert np.all(filled[known] >= z[known])
    assert np.array_equal(np.isnan(filled), ~known)
    assert sorted(order) == list(np.flatnonzero(known))
    assert np.all(np.diff(filled.flat[order]) >= 0)
    # all water that falls leaves: the outlets together drain every cell, by either way of running
    steps = steepest(filled, reached_from, 1, 1)
    for total in (
        accumulate_d8(steps, order),
        accumulate_mfd(filled, steps, order, 1, 1, exponent=1.1),
    ):
        assert total[known & (steps < 0)].sum() == pytest.approx(known.sum())
        assert np.nanmin(total) >= 1


def test_ponding_is_only_kept_where_deep_and_wide_enough():
    z = np.full((40, 40), 10.0)
    z[5:11, 5:11] -= 0.05  # wide, shallow: 900 m2 at 5 m cells
    z[20, 20] -= 1.0  # deep, one cell
    z[25:31, 25:31] -= 0.5  # both
    pond = water(raster(z)).ponding_m.values
    assert pond[27, 27] == pytest.approx(0.5)
    assert pond[20, 20] == 0
    assert pond[7, 7] == 0
    every = water(raster(z), coefficients=EVERY_HOLLOW).ponding_m.values
    assert every[7, 7] == pytest.approx(0.05, abs=1e-5)
    assert every[20, 20] == pytest.approx(1)


def test_unknown_ground_stays_unknown():
    z = rolling()
    z[30:34, 40:50] = np.nan
    result = water(raster(z))
    for name, values in result.data_vars.items():
        assert np.isnan(values.values[30:34, 40:50]).all(), name
    assert not np.isnan(result.wetness.values[:30]).any()


def road_dam():
    """A valley falling south, dammed by a road from side to side."""
    r, c = np.mgrid[:60, :41]
    z = 50 - 0.05 * r + 0.2 * np.abs(c - 20)
    z[30:32] = 54
    return z


def test_a_breach_line_lets_the_water_through():
    z = raster(road_dam())
    x = float(z.x[20])
    culvert = shapely.LineString([(x, float(z.y[28])), (x, float(z.y[33]))])
    closed, opened = water(z), water(z, breaches=[culvert])
    assert closed.ponding_m.max() > 1
    assert opened.ponding_m.max() < 0.1
    assert opened.upslope_area_m2.values[34, 20] > 0.8 * 30 * 41 * CELL**2 / 2


def test_a_tile_inlet_drains_its_hollow():
    r, c = np.mgrid[:30, :30]
    z = raster(100 + 0.01 * np.minimum((r - 15) ** 2 + (c - 15) ** 2, 60))
    inlet = shapely.Point(float(z.x[15]), float(z.y[15]))
    assert water(z).ponding_m.max() > 0.5
    drained = water(z, breaches=[inlet, shapely.Point(0, 0)])
    assert drained.ponding_m.max() == 0
    assert drained.upslope_area_m2.values[15, 15] > 100 * CELL**2


def test_a_breach_never_raises_the_ground_and_may_leave_the_grid():
    from stovergeo.terrain.flood import cut_breaches

    z = raster(rolling())
    lines = [
        shapely.LineString([(449_000, 4_649_900), (450_200, 4_649_800)]),
        shapely.LineString([(0, 0), (1, 1)]),
        shapely.MultiLineString(
            [[(450_050, 4_649_990), (450_050, 4_649_700)], [(450_100, 4_649_990), (450_300, 4_649_900)]]
        ),
    ]
    cut = cut_breaches(z.values, lines, west=450_000, north=4_650_000, dx=CELL, dy=CELL)
    assert np.all(cut <= z.values)
    assert (cut < z.values).any()


def test_mapped_drainage_sets_the_height_above_it():
    c = np.mgrid[:30, :50][1]
    z = raster(100 + 0.1 * np.abs(c - 25))
    ditch = np.zeros((30, 50), dtype=bool)
    ditch[:, 25] = True
    height = water(z, drainage=ditch).drainage_height_m.values
    np.testing.assert_allclose(height, 0.1 * np.abs(c - 25), atol=1e-4)
    dry = water(z, coefficients=load_handbook({"terrain.drainage_area_ha": 1000})).drainage_height_m.values
    assert np.isnan(dry).all()  # nothing is known of water beyond the grid


def test_sheet_flow_ends_at_a_road_and_starts_anew_below_it():
    r, c = np.mgrid[:60, :30]
    z = raster(100 - 0.25 * r + 0 * c)
    road = np.zeros((60, 30), dtype=bool)
    road[30] = True
    free, stopped = water(z), water(z, barriers=road)
    assert stopped.ls_factor.values[31, 15] < free.ls_factor.values[31, 15] * 0.7
    np.testing.assert_allclose(stopped.ls_factor.values[:30, 5:-5], free.ls_factor.values[:30, 5:-5])
    assert stopped.upslope_area_m2.equals(free.upslope_area_m2)


def test_slope_length_is_capped_and_concentrated_flow_left_out():
    # a plane 1 km long: without a cap LS would grow all the way down
    r, _ = np.mgrid[:200, :21]
    z = raster(100 - 0.25 * r)
    coefficients = load_handbook({"terrain.concentrated_area_ha": 1000})
    ls = water(z, coefficients=coefficients).ls_factor.values[:, 10]
    assert np.all(np.diff(ls[1:24]) > 0)
    np.testing.assert_allclose(ls[30:198], ls[30], rtol=1e-3)
    v = np.abs(np.mgrid[:120, :121][1] - 60) * 0.2 - 0.05 * np.mgrid[:120, :121][0]
    valley = water(raster(100 + v))
    thread = valley.concentrated_flow.values == 1
    assert thread[-5, 60]
    assert np.isnan(valley.ls_factor.values[thread]).all()
    assert not np.isnan(valley.ls_factor.values[~thread]).any()


def test_a_shift_in_height_changes_nothing():
    z = rolling(60, 60)
    np.testing.assert_allclose(water(raster(z)).ponding_m, water(raster(z + 50)).ponding_m, atol=1e-4)


def test_a_quarter_turn_turns_the_answer():
    # no hollows: inside one the way water takes over the dead-level fill is not unique
    r, c = np.mgrid[:60, :60]
    z = 100 - 0.05 * r + 0.02 * c + 1.5 * np.sin(c / 9)
    base, turned = water(raster(z)), water(raster(np.rot90(z)))
    for name in base:
        np.testing.assert_allclose(np.rot90(base[name]), turned[name], rtol=2e-3, atol=1e-5, err_msg=name)
