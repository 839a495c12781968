"""The season's sun: as right as the slow way, and true whatever the ground."""

import numpy as np
import pyproj
import pytest
import rasterio
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import ContractError
from stovergeo.terrain import SunOptions, beam, cloud_from_sunshine, season_sun, sun, sun_by_month
from stovergeo.terrain.beam import season
from stovergeo.terrain.gradient import gradients
from stovergeo.terrain.rasters import checked, north_turn_deg
from stovergeo.terrain.tiles import Tiles

PLACE = {"latitude": 42.0, "longitude": -93.0, "altitude_m": 300.0}
SUN = SunOptions(**PLACE)
SPAN = ("2026-10-15", "2027-08-10")
#: a short span and a coarse step, where only the relation between runs is looked at
QUICK = ("2026-12-01", "2027-01-10")
COARSE = load_handbook({"terrain.sun_step_min": 20})


def raster(z, cell=1.0):
    z = np.asarray(z, dtype=np.float32)
    return xr.DataArray(
        z, dims=("y", "x"), coords={"y": -cell * np.arange(z.shape[0]), "x": cell * np.arange(z.shape[1])}
    )


def hills(rows=128, cols=128):
    r, c = np.mgrid[:rows, :cols]
    return 100 + 6 * np.sin(c / 15) * np.cos(r / 20) + 3 * np.sin((c + r) / 9)


def tree_block(rows=128, cols=128):
    cover = np.zeros((rows, cols))
    cover[60:70, 34:94] = 15
    return cover


def against_marching(ray_marching, ground, cover, stride):
    """Return our share and the yardstick's on every `stride`-th open cell; the yardstick steps by the hour."""
    ground = np.asarray(ground, dtype=np.float64)
    days = season(*SPAN, **PLACE, step_min=60)
    east, north = gradients(ground.astype(np.float32), 1.0, 1.0)
    cells = np.argwhere(cover == 0)
    # the outer two cells are left out: there the two see different halves of a rim cell
    inside = (cells >= 2).all(axis=1) & (cells < np.array(ground.shape) - 2).all(axis=1)
    cells = cells[inside & (cells % stride == 0).all(axis=1)]
    slow, flat = ray_marching.season_by_marching(ground + cover, ground, 1.0, east, north, days, cells)
    ours = season_sun(raster(ground + cover), raster(ground), *SPAN, SUN).sun_fraction.values
    return ours[tuple(cells.T)], slow / flat


def assert_as_right(ours, slow):
    assert len(ours) > 300
    error = np.abs(ours - slow)
    assert np.corrcoef(ours, slow)[0, 1] > 0.999
    assert error.mean() < 0.01
    assert np.percentile(error, 99) < 0.05


def test_smooth_hills_against_hourly_marching(ray_marching):
    ours, slow = against_marching(ray_marching, hills(), np.zeros((128, 128)), 6)
    assert_as_right(ours, slow)
    assert np.abs(ours - slow).max() < 0.02


def test_a_tree_block_against_hourly_marching(ray_marching):
    ours, slow = against_marching(ray_marching, np.full((128, 128), 100.0), tree_block(), 5)
    assert_as_right(ours, slow)
    assert slow.min() < 0.4  # cells deep in the shade are among them


def test_trees_on_hills_against_hourly_marching(ray_marching):
    r, c = np.mgrid[:120, :120]
    cover = np.where((r - 60) ** 2 + (c - 60) ** 2 < 250, 12.0, 0) + np.where(abs(r - c - 30) < 4, 15.0, 0)
    assert_as_right(*against_marching(ray_marching, hills(120, 120), cover, 5))


@pytest.mark.open_data
def test_a_laser_survey_against_hourly_marching(ray_marching, laser_tile):
    with rasterio.open(laser_tile) as tile:
        ground = tile.read(1)
    assert_as_right(*against_marching(ray_marching, ground, np.zeros(ground.shape), 20))


def test_open_flat_ground_gets_the_whole_share():
    result = season_sun(None, raster(np.full((20, 30), 5.0)), *SPAN, SUN)
    np.testing.assert_allclose(result.sun_fraction, 1, atol=2e-3)
    np.testing.assert_allclose(result.sun_kwh_m2, result.open_flat_kwh_m2, rtol=2e-3)


def test_north_of_the_trees_is_dark_and_a_south_slope_bright():
    share = season_sun(raster(100 + tree_block()), raster(np.full((128, 128), 100.0)), *SPAN, SUN).sun_fraction.values
    assert share[57, 64] < 0.35  # 3 m north of the trees
    assert share[20, 64] > 0.95  # 40 m north
    assert share[73, 64] > 0.85  # 3 m south
    assert (share[60:70, 34:94] == 0).all()  # under them
    r = np.mgrid[:40, :40][0]
    south, north = (season_sun(None, raster(s * 0.1 * r), *SPAN, SUN).sun_fraction.values[20, 20] for s in (-1, 1))
    assert south > 1.05 > 0.95 > north


def test_months_add_up_to_the_season():
    cover = np.zeros((60, 50))
    cover[30:34, 10:40] = 8
    ground, surface = raster(hills(60, 50)), raster(hills(60, 50) + cover)
    whole = season_sun(surface, ground, *SPAN, SUN, coefficients=COARSE)
    months = sun_by_month(surface, ground, *SPAN, SUN, coefficients=COARSE)
    assert list(months.month.values[[0, 1, -1]]) == ["2026-10", "2026-11", "2027-08"]
    np.testing.assert_allclose(months.sun_kwh_m2.sum("month"), whole.sun_kwh_m2, rtol=1e-3)
    assert months.sun_fraction.sel(month="2026-12").std() > months.sun_fraction.sel(month="2027-06").std()


@pytest.mark.parametrize("latitude", [-40.0, 0.0, 42.0, 66.0])
def test_leaving_nights_out_loses_no_sun(monkeypatch, latitude):
    year = {"latitude": latitude, "longitude": -93.0, "altitude_m": 300.0, "step_min": 30}
    days = season("2026-01-01", "2026-12-31", **year)
    monkeypatch.setattr(beam, "NIGHT_DEG", -91.0)
    np.testing.assert_array_equal(days.elevation_deg, season("2026-01-01", "2026-12-31", **year).elevation_deg)


@settings(max_examples=examples(10))
@given(st.integers(0, 2**32 - 1), st.floats(0, 0.3))
def test_passing_by_tiles_changes_nothing(seed, rough_m):
    rng = np.random.default_rng(seed)
    ground = 0.3 * hills(90, 70) + rng.normal(0, rough_m, (90, 70)).astype(np.float32)
    ground[rng.integers(90), 20:40] = np.nan
    cover = np.zeros((90, 70), dtype=np.float32)
    row, col = rng.integers(0, 60, 2)
    cover[row : row + 3, col : col + 12] = 9
    surface, ground = raster(ground + cover), raster(ground)
    passed_by = season_sun(surface, ground, *QUICK, SUN, coefficients=COARSE)
    with pytest.MonkeyPatch.context() as every_point:
        every_point.setattr(Tiles, "gentle", lambda tiles, *_: np.zeros_like(tiles.bare))
        walked = season_sun(surface, ground, *QUICK, SUN, coefficients=COARSE)
    np.testing.assert_allclose(passed_by.sun_fraction, walked.sun_fraction, atol=1e-5)


def test_blocks_give_what_one_piece_gives(monkeypatch):
    ground, surface = hills(130, 150), hills(130, 150) + np.pad(tree_block(), ((0, 2), (0, 22)))
    whole = season_sun(raster(surface), raster(ground), *QUICK, SUN, coefficients=COARSE)
    monkeypatch.setattr(sun, "BLOCK_CELLS", 40)
    wide = load_handbook({"terrain.sun_step_min": 20, "terrain.reach_m": 200})
    pieces = season_sun(raster(surface), raster(ground), *QUICK, SUN, coefficients=wide)
    np.testing.assert_allclose(pieces.sun_fraction, whole.sun_fraction, atol=2e-4)
    near = load_handbook({"terrain.sun_step_min": 20, "terrain.reach_m": 10})
    short_sighted = season_sun(raster(surface), raster(ground), *QUICK, SUN, coefficients=near)
    assert (short_sighted.sun_fraction.values >= whole.sun_fraction.values - 2e-4).all()
    assert (short_sighted.sun_fraction.values > whole.sun_fraction.values + 0.02).any()


def test_unknown_ground_is_unknown_and_hides_nothing():
    ground = np.full((40, 40), 100.0)
    ground[10:14, 10:20] = np.nan
    result = season_sun(None, raster(ground), *QUICK, SUN, coefficients=COARSE)
    assert np.isnan(result.sun_fraction.values[10:14, 10:20]).all()
    known = result.sun_fraction.values[~np.isnan(ground)]
    np.testing.assert_allclose(known, 1, atol=5e-3)


def test_a_crop_or_a_noisy_survey_shades_nothing():
    ground = hills(50, 50)
    rough = ground + np.random.default_rng(5).uniform(-0.3, 0.6, ground.shape)
    bare, surveyed = (
        season_sun(s, raster(ground), *QUICK, SUN, coefficients=COARSE).sun_fraction.values
        for s in (None, raster(rough))
    )
    np.testing.assert_array_equal(surveyed, bare)


def test_leaf_off_lets_a_share_through():
    ground = raster(np.full((60, 60), 100.0))
    surface = ground.copy(
        data=ground.values + np.where(np.mgrid[:60, :60][0] // 10 == 3, np.float32(12), np.float32(0))
    )

    def share(**options):
        return season_sun(
            surface, ground, *QUICK, SunOptions(**PLACE, **options), coefficients=COARSE
        ).sun_fraction.values

    leafed = share()
    np.testing.assert_allclose(share(through_trees={12: 0.0}), leafed, atol=1e-5)
    np.testing.assert_allclose(share(through_trees={12: 1.0, 1: 1.0}), 1, atol=5e-3)
    np.testing.assert_allclose(share(through_trees={12: 0.5, 1: 0.5}), (leafed + 1) / 2, atol=5e-3)
    # what is not a tree stays opaque
    np.testing.assert_allclose(share(through_trees={12: 1.0, 1: 1.0}, without_trees=surface), leafed, atol=1e-5)


def test_clouds_scale_energy_by_month():
    ground = raster(hills(30, 30))
    clear = sun_by_month(None, ground, *QUICK, SUN, coefficients=COARSE)
    dull = sun_by_month(None, ground, *QUICK, SunOptions(**PLACE, cloud={12: 0.25}), coefficients=COARSE)
    np.testing.assert_allclose(dull.sun_kwh_m2[0], 0.25 * clear.sun_kwh_m2[0], rtol=1e-4)
    np.testing.assert_allclose(dull.sun_kwh_m2[1], clear.sun_kwh_m2[1], rtol=1e-4)
    np.testing.assert_allclose(dull.sun_fraction, clear.sun_fraction, rtol=1e-4)
    with pytest.raises(ContractError, match="shares from 0 to 1"):
        season_sun(None, ground, *QUICK, SunOptions(**PLACE, cloud={12: 40.0}))


def test_cloud_factors_from_weather_records():
    assert cloud_from_sunshine({6: 9.0}, 42)[6] == pytest.approx(9 / 15.2, abs=0.01)
    with pytest.raises(ContractError, match="but the day has"):
        cloud_from_sunshine({12: 12.0}, 42)


@settings(max_examples=examples(15))
@given(st.integers(0, 2**32 - 1), st.floats(1.5, 20))
def test_a_new_obstacle_never_adds_sun(seed, height):
    rng = np.random.default_rng(seed)
    ground = hills(40, 40)
    cover = np.where(rng.random((40, 40)) < 0.02, 10.0, 0.0)
    more = cover.copy()
    more[rng.integers(0, 40), rng.integers(0, 40)] += height
    first, then = (
        season_sun(
            raster(ground + c), raster(ground), *QUICK, SunOptions(**PLACE, sectors=24), coefficients=COARSE
        ).sun_fraction.values
        for c in (cover, more)
    )
    assert np.all(then <= first + 2e-3)


@settings(max_examples=examples(8))
@given(st.floats(0.2, 30))
def test_size_does_not_matter_only_shape(k):
    z = hills(30, 30) - 100
    small = season_sun(None, raster(z), *QUICK, SunOptions(**PLACE, sectors=16), coefficients=COARSE).sun_fraction
    large = season_sun(
        None, raster(k * z, k), *QUICK, SunOptions(**PLACE, sectors=16), coefficients=COARSE
    ).sun_fraction
    np.testing.assert_allclose(large.values, small.values, atol=1e-3)


def test_grid_north_is_turned_to_true_north():
    x, y = 650_000.0, 4_650_000.0  # 150 km east of the zone's middle meridian
    z = xr.DataArray(
        np.zeros((3, 3), np.float32), dims=("y", "x"), coords={"y": y - np.arange(3.0), "x": x + np.arange(3.0)}
    )
    turn = north_turn_deg(checked(z.rio.write_crs(26915), "test"))
    back = pyproj.Transformer.from_crs(26915, 4326, always_xy=True)
    (lon0, lat0), (lon1, lat1) = back.transform(x, y), back.transform(x, y + 500)
    azimuth, _, _ = pyproj.Geod(ellps="GRS80").inv(lon0, lat0, lon1, lat1)
    assert turn == pytest.approx(azimuth, abs=0.01)
    assert turn > 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda a: a.rio.write_crs(4326), "projected grid in meters"),
        (lambda a: a.rio.write_crs(2264), "projected grid in meters"),  # US survey feet
        (lambda a: a.assign_attrs(units="ft"), "heights in meters"),
        (lambda a: a.isel(y=slice(None, None, -1)), "north to south"),
        (lambda a: a.rename(y="lat"), r"dims \(y, x\)"),
        (lambda a: a[:2], "at least 3 x 3"),
        (lambda a: a.assign_coords(x=np.arange(10.0) ** 2), "spacing varies"),
        (lambda a: a.drop_vars(["x", "y"]), "rotated"),
        (lambda a: a[:, :5], "on one grid"),
    ],
)
def test_what_terrain_cannot_read_is_reported(change, said):
    good = raster(np.zeros((10, 10)))
    with pytest.raises(ContractError, match=said):
        season_sun(change(good), good, *QUICK, SUN)


def test_a_season_that_ends_before_it_starts_is_refused():
    with pytest.raises(ContractError, match="before it starts"):
        season_sun(None, raster(np.zeros((5, 5))), "2027-08-10", "2026-10-15", SUN)
