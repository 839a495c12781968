"""Yield points and the grain surface against outside sources; the source stands beside each check."""

from __future__ import annotations

import geopandas as gpd
import made_field
import numpy as np
import pint
import pytest
import scipy.stats
import shapely
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from stovergeo.core.coefficients import Standing, load_handbook
from stovergeo.yieldmap import raw_summary
from stovergeo.yieldmap.certainty import DIFFERENCES, pass_noise
from stovergeo.yieldmap.levels import Records, fit, make_levels
from stovergeo.yieldmap.neighbors import bin_points
from stovergeo.yieldmap.outliers import MAD_TO_SD, near_each_other, neighbor_medians, siding_neighbors, tukey_fences
from stovergeo.yieldmap.passes import track_of
from stovergeo.yieldmap.swath import footprints, new_fraction


@pytest.fixture(scope="module")
def made():
    return made_field


def test_worked_row_of_the_real_field() -> None:
    # README of the real field: 16.54 lb/s x 3 s, 18.5 %, 116 in x 360 in -> 0.8546 bu, 0.006657 ac, 128.37 bu/ac;
    # every unit by pint, none of ours
    unit = pint.UnitRegistry()
    area = (116 * unit.inch * 360 * unit.inch).to("m**2").magnitude
    dry = (16.54 * unit.lb / unit.s * 3 * unit.s * (1 - 0.185)).to("kg").magnitude
    row = gpd.GeoDataFrame(
        {"area_m2": [area], "grain_kg": [dry], "grain_mg_ha": [dry / area * 10]}, geometry=gpd.points_from_xy([0], [0])
    )
    summary = raw_summary(row)
    assert summary["bushels"] == pytest.approx(0.8546, abs=5e-5)
    assert (summary["area_ha"] * unit.hectare).to("acre").magnitude == pytest.approx(0.006657, abs=5e-7)
    assert summary["bu_ac"] == pytest.approx(128.37, abs=0.005)


def test_scaled_mad_is_that_of_the_normal_distribution() -> None:
    # Hampel 1974: the median absolute deviation of a normal variable is 0.6745 sd; scipy is the reference
    assert pytest.approx(1 / scipy.stats.norm.ppf(0.75), rel=1e-12) == MAD_TO_SD
    sample = np.random.default_rng(1).normal(5, 2, 2001)
    assert MAD_TO_SD * np.median(abs(sample - np.median(sample))) == pytest.approx(
        scipy.stats.median_abs_deviation(sample, scale="normal")
    )


def test_tukey_fences() -> None:
    # Tukey 1977: quartiles 3 and 7 of 1..9, spread 4: fences at 3 - 1.5 x 4 and 7 + 1.5 x 4
    assert tukey_fences(np.arange(1.0, 10), 1.5) == (-3, 13)
    # numpy's quartiles and scipy's spread
    values = np.random.default_rng(2).normal(9, 1, 500)
    low, high = tukey_fences(values, 3)
    assert high - low == pytest.approx(7 * scipy.stats.iqr(values))


def test_neighbors_equal_those_of_a_tree() -> None:
    # scipy.spatial.cKDTree finds the neighbors, numpy and scipy the median and spread
    rng = np.random.default_rng(3)
    xy, values = rng.uniform(0, 60, (400, 2)), rng.normal(8, 1, 400)
    x, y = xy[:, 0].copy(), xy[:, 1].copy()
    unknown = np.arange(0, 400, 13)  # without a value: nobody's neighbor
    values[unknown] = np.nan
    places = near_each_other(bin_points(x, y, 4.5), x, y, values, 9.0)
    asked = np.flatnonzero(np.isfinite(places.values))[::7]
    count, siding, _ = siding_neighbors(places, 0.8)
    *_, alone = siding_neighbors(places, 0.8, 0.5)
    median, spread = neighbor_medians(places, asked)
    assert not alone[np.isnan(places.values)].any()
    tree = cKDTree(xy)
    for k, p in enumerate(asked):
        i = places.bins.member[p]
        near = [j for j in tree.query_ball_point(xy[i], 9.0) if j != i and j not in unknown]
        assert count[p] == len(near)
        assert siding[p] == (abs(values[near] - values[i]) <= 0.8).sum()
        assert alone[p] == (siding[p] < max(2, 0.5 * len(near)))
        assert median[k] == pytest.approx(np.median(values[near]))
        assert spread[k] == pytest.approx(scipy.stats.median_abs_deviation(values[near], scale="normal"))


def test_difference_sequence_estimates_noise() -> None:
    # Hall, Kay & Titterington 1990: sum 0, sum of squares 1; efficiency 1 + 1/(2m) for order m
    weights = np.array(DIFFERENCES)
    assert weights.sum() == pytest.approx(0, abs=2e-4)
    assert (weights**2).sum() == pytest.approx(1, abs=2e-4)
    order = len(weights) - 1
    rng = np.random.default_rng(4)
    one_pass, every_one = np.zeros(2000, int), np.arange(2000)
    found = np.array([np.nanmean(pass_noise(rng.normal(0, 0.5, 2000), one_pass, every_one)) for _ in range(400)])
    assert found.mean() == pytest.approx(0.25, rel=0.01)
    # variance of a variance estimate from n independent values is 2 s^4 / n at best
    assert found.var() * 2000 / (2 * 0.5**4) == pytest.approx(1 + 1 / (2 * order), rel=0.2)
    slope = np.linspace(0, 1, 2000)  # crop that changes slowly does not count as noise
    assert np.nanmean(pass_noise(slope, one_pass, every_one)) < 1e-5


def test_bitmap_shares_equal_polygon_areas(made) -> None:
    # shapely's overlay is exact; the bitmap of a sixteenth of a swath may be off by a few hundredths
    points = made.harvest(made.smooth, seconds=2.0, width_m=40, height_m=60, position_noise_m=1.0)
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    track = track_of(points, x, y, gap_records=2.5, turn_deg=60)
    share = new_fraction(track, 9.144 / 16)
    ground = shapely.polygons(footprints(track))
    cut = shapely.Polygon()
    for p in range(track.passes):
        mine = np.flatnonzero(track.pass_id == p)
        for i in mine:
            exact = ground[i].difference(cut).area / ground[i].area
            assert share[i] == pytest.approx(exact, abs=0.07)
        cut = shapely.union_all([cut, *ground[mine]])


def test_one_level_is_a_normalized_gaussian() -> None:
    # scipy.ndimage.gaussian_filter of sums over gaussian_filter of weights, on the same lattice
    rng = np.random.default_rng(5)
    columns, rows = np.meshgrid(np.arange(40), np.arange(30))
    x, y = columns.ravel() * 5.0, rows.ravel() * 5.0
    values = rng.normal(8, 1, x.size)
    records = Records(x, y, np.ones(x.size))
    levels = make_levels(records, [10.0])
    field, _ = fit(records, levels, values, [1e-9])
    lattice = gaussian_filter((values - values.mean()).reshape(30, 40), 2, mode="constant", truncate=3.5)
    weight = gaussian_filter(np.ones((30, 40)), 2, mode="constant", truncate=3.5)
    expected = values.mean() + (lattice / weight)
    inner = (slice(8, 22), slice(8, 32))
    # records fall on the lattice's nodes, so that nothing is spread between nodes
    assert field.at(x, y).reshape(30, 40)[inner] == pytest.approx(expected[inner], abs=2e-3)


def test_coefficients_of_the_yield_map_have_source_and_meaning() -> None:
    group = load_handbook().group("yieldmap")
    assert len(group) > 35
    for key, number in group.items():
        assert number.low <= number.value <= number.high, key
        assert number.meaning, key
        if number.standing is not Standing.JUDGMENT:
            assert number.source, key
