"""What must hold whatever the points."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.errors import Report
from stovergeo.yieldmap import clean_points, grain_surface
from stovergeo.yieldmap.cells import Driven, harvested_cells
from stovergeo.yieldmap.levels import Records, fit, make_levels
from stovergeo.yieldmap.passes import Track, track_of
from stovergeo.yieldmap.steps import Ramp, co_located, in_ramp
from stovergeo.yieldmap.validation import CANDIDATES, block_folds

SCALES = [40.0, 20.0, 10.0, 5.0]


def _records(seed: int, n: int = 300) -> Records:
    rng = np.random.default_rng(seed)
    return Records(rng.uniform(0, 200, n), rng.uniform(0, 150, n), rng.uniform(0.5, 1.5, n))


@given(seed=st.integers(0, 10_000), shrink=st.sampled_from(CANDIDATES), level=st.floats(0.1, 30))
@settings(max_examples=examples(25))
def test_even_crop_stays_even(seed, shrink, level) -> None:
    records = _records(seed)
    field, residual = fit(records, make_levels(records, SCALES), np.full(300, level), shrink)
    assert np.abs(residual).max() < 1e-9 * level
    assert field.at(records.x, records.y) == pytest.approx(np.full(300, level))


@given(seed=st.integers(0, 10_000), shrink=st.sampled_from(CANDIDATES), a=st.floats(-3, 3), b=st.floats(-3, 3))
@settings(max_examples=examples(25))
def test_fit_is_linear_in_the_values(seed, shrink, a, b) -> None:
    records = _records(seed)
    levels = make_levels(records, SCALES)
    rng = np.random.default_rng(seed + 1)
    one, other = rng.normal(8, 1, 300), rng.normal(8, 1, 300)
    both = fit(records, levels, a * one + b * other, shrink)[1]
    apart = a * fit(records, levels, one, shrink)[1] + b * fit(records, levels, other, shrink)[1]
    assert both == pytest.approx(apart, abs=1e-9)


@given(seed=st.integers(0, 10_000), east=st.floats(-5e5, 5e5), north=st.floats(-5e6, 5e6))
@settings(max_examples=examples(15))
def test_place_of_the_origin_does_not_matter(seed, east, north) -> None:
    records = _records(seed)
    values = np.random.default_rng(seed).normal(8, 1, 300)
    moved = Records(records.x + east, records.y + north, records.weight)
    here = fit(records, make_levels(records, SCALES), values, CANDIDATES[0])[1]
    there = fit(moved, make_levels(moved, SCALES), values, CANDIDATES[0])[1]
    assert there == pytest.approx(here, abs=1e-6)


def test_points_of_the_grid_and_the_field_agree() -> None:
    records = _records(5)
    field, _ = fit(records, make_levels(records, SCALES), np.random.default_rng(5).normal(8, 1, 300), CANDIDATES[0])
    x, y = np.arange(-20.0, 220, 7), np.arange(170.0, -20, -9)
    gx, gy = np.meshgrid(x, y)
    assert field.on_grid(x, y).ravel() == pytest.approx(field.at(gx.ravel(), gy.ravel()))


@given(seed=st.integers(0, 10_000), block=st.floats(5, 80))
@settings(max_examples=examples(25))
def test_blocks_stay_whole(seed, block) -> None:
    records = _records(seed)
    fold = block_folds(records.x, records.y, block)
    column = np.floor((records.x - records.x.min()) / block)
    row = np.floor((records.y - records.y.min()) / block)
    for key in {(c, r) for c, r in zip(column, row, strict=True)}:
        assert len(set(fold[(column == key[0]) & (row == key[1])])) == 1


def _track(x: np.ndarray, y: np.ndarray, machine: list[str | None] | None = None) -> Track:
    table = pd.DataFrame({"distance_m": 2.0, "swath_m": 6.0, "area_m2": 12.0}, index=range(len(x)))
    if machine is not None:
        table["machine"] = machine
    return track_of(table, x, y, gap_records=2.5, turn_deg=60)


@given(seed=st.integers(0, 10_000), n=st.integers(1, 400), sites=st.integers(1, 300))
@settings(max_examples=examples(60))
def test_every_place_met_before_is_found(seed, n, sites) -> None:
    """`pandas.DataFrame.duplicated` is the reference; standing still is looked at beside it."""
    rng = np.random.default_rng(seed)
    at = rng.integers(0, sites, n)
    x, y = 440_000 + rng.uniform(0, 900, sites)[at], 4_650_000 + rng.uniform(0, 900, sites)[at]
    again = pd.DataFrame({"x": x, "y": y}).duplicated().to_numpy()
    still = np.append(False, np.hypot(np.diff(x), np.diff(y)) < 0.1)
    assert (co_located(_track(x, y)) == (again | still)).all()


@given(seed=st.integers(0, 10_000), start=st.integers(0, 6), end=st.integers(0, 6))
@settings(max_examples=examples(40))
def test_ramps_begin_where_records_can_be_used(seed, start, end) -> None:
    rng = np.random.default_rng(seed)
    many = rng.integers(1, 25, 8)
    x = np.repeat(np.arange(8) * 60.0, many)
    y = np.concatenate([2.0 * np.arange(k) for k in many])
    track = _track(x, y)
    assert np.diff(track.start).tolist() == many.tolist()
    usable = rng.random(len(x)) < 0.7
    at_start, at_end = in_ramp(track, Ramp(start, end, 8), usable)
    for k in range(8):
        mine = np.flatnonzero((track.pass_id == k) & usable)
        if len(mine):
            assert (at_start[mine] == (mine < mine[0] + start)).all()
            assert (at_end[mine] == (mine > mine[-1] - end)).all()


def test_machines_without_a_name_are_one() -> None:
    x = np.arange(6.0) * 2
    track = _track(x, np.zeros(6), ["b", None, "unnamed", "a", np.nan, "b"])
    assert track.machine_names == ["a", "b", "unnamed"]
    assert track.order.tolist() == [3, 0, 5, 1, 2, 4]
    assert track.machine.tolist() == [0, 1, 1, 2, 2, 2]


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_twice_the_yield_is_cleaned_alike(made, coefficients, factor) -> None:
    """Nothing in the cleaning is tuned to one level of yield."""
    points = made.harvest(made.patchy, seconds=2.0, delay_s=2.0)
    scaled = points.assign(**{c: points[c] * factor for c in ("grain_kg", "grain_mg_ha", "flow_kg_s")})
    one, other = clean_points(points, coefficients, Report()), clean_points(scaled, coefficients, Report())
    assert list(one.points.index) == list(other.points.index)
    assert other.points["grain_kg"].sum() == pytest.approx(factor * one.points["grain_kg"].sum())


def test_field_turned_by_a_quarter_is_cleaned_alike(made, coefficients) -> None:
    points = made.harvest(made.patchy, seconds=2.0, delay_s=2.0)
    turned = points.set_geometry(points.geometry.rotate(90, origin=(made.EAST, made.NORTH)))
    one, other = clean_points(points, coefficients, Report()), clean_points(turned, coefficients, Report())
    delay = [c.corrections["delay"]["combine 1"]["seconds"] for c in (one, other)]
    assert delay[0] == pytest.approx(delay[1], abs=0.01)
    assert len(one.points) == pytest.approx(len(other.points), abs=5)
    heading = (one.points["heading_deg"].iloc[0] - other.points["heading_deg"].iloc[0]) % 360
    assert heading == pytest.approx(90, abs=1e-6)


@given(heading=st.floats(0, 360), first=st.integers(0, 20), gap=st.integers(0, 25), slack=st.floats(0, 4))
@settings(max_examples=examples(40))
def test_harvested_ground_is_widened_aside_and_where_cutting_begins_and_ends(heading, first, gap, slack) -> None:
    """A straight pass with a stretch that was not cut; `shapely` buffers what was, with square corners."""
    east, north = np.sin(np.radians(heading)), np.cos(np.radians(heading))
    along = 2.0 * np.arange(1, 61)
    track = _track(300 + along * east, 300 + along * north)
    cut = np.ones(60, bool)
    cut[first : first + gap] = False
    x, y = np.arange(160.25, 440, 1.5), np.arange(439.75, 160, -1.5)
    found = harvested_cells(Driven(track, cut), x, y, slack)
    stretches = [(2.0 * first + 2 * gap, 120.0)] if first == 0 else [(0.0, 2.0 * first), (2.0 * (first + gap), 120.0)]
    # a pass of 6 m goes right at its own heading: (along, left) to (east, north)
    ground = shapely.union_all([shapely.box(a - slack, -3 - slack, b + slack, 3 + slack) for a, b in stretches])
    turned = shapely.transform(ground, lambda at: 300 + at @ np.array([[east, north], [-north, east]]))
    gx, gy = np.meshgrid(x, y)
    surely = shapely.contains_xy(turned.buffer(-0.01), gx, gy)
    possible = shapely.contains_xy(turned.buffer(0.01), gx, gy)
    assert found[surely].all()
    assert not found[~possible].any()


def test_fields_beside_each_other_are_estimated_as_if_alone(made, coefficients, grid_over) -> None:
    points = made.harvest(made.patchy, seconds=2.0, width_m=260, height_m=200)
    boxes = [shapely.box(made.EAST + a, made.NORTH, made.EAST + b, made.NORTH + 200) for a, b in ((0, 110), (150, 260))]
    columns = {"field_id": ["F1", "F2"], "name": ["west", "east"], "area_ha": [2.2, 2.2]}
    fields = gpd.GeoDataFrame(columns, geometry=boxes, crs=made.CRS)
    stack = grid_over(fields)
    cleaned = clean_points(points, coefficients, Report())
    both = grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
    alone = [
        grain_surface(cleaned.points, fields.iloc[[k]], stack, coefficients, driven=cleaned.driven) for k in (0, 1)
    ]
    for layer in ("grain", "error"):
        west, east = (getattr(surface, layer).to_numpy() for surface in alone)
        assert np.isfinite(west).sum() > 500
        assert np.isfinite(east).sum() > 500
        np.testing.assert_array_equal(getattr(both, layer).to_numpy(), np.where(np.isfinite(west), west, east))
