"""What must hold whatever the points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stovergeo.errors import Report
from stovergeo.yieldmap import clean_points
from stovergeo.yieldmap.levels import Records, fit, make_levels
from stovergeo.yieldmap.validation import CANDIDATES, block_folds

SCALES = [40.0, 20.0, 10.0, 5.0]


def _records(seed: int, n: int = 300) -> Records:
    rng = np.random.default_rng(seed)
    return Records(rng.uniform(0, 200, n), rng.uniform(0, 150, n), rng.uniform(0.5, 1.5, n))


@given(seed=st.integers(0, 10_000), shrink=st.sampled_from(CANDIDATES), level=st.floats(0.1, 30))
@settings(max_examples=25, deadline=None)
def test_even_crop_stays_even(seed, shrink, level) -> None:
    records = _records(seed)
    field, residual = fit(records, make_levels(records, SCALES), np.full(300, level), shrink)
    assert np.abs(residual).max() < 1e-9 * level
    assert field.at(records.x, records.y) == pytest.approx(np.full(300, level))


@given(seed=st.integers(0, 10_000), shrink=st.sampled_from(CANDIDATES), a=st.floats(-3, 3), b=st.floats(-3, 3))
@settings(max_examples=25, deadline=None)
def test_fit_is_linear_in_the_values(seed, shrink, a, b) -> None:
    records = _records(seed)
    levels = make_levels(records, SCALES)
    rng = np.random.default_rng(seed + 1)
    one, other = rng.normal(8, 1, 300), rng.normal(8, 1, 300)
    both = fit(records, levels, a * one + b * other, shrink)[1]
    apart = a * fit(records, levels, one, shrink)[1] + b * fit(records, levels, other, shrink)[1]
    assert both == pytest.approx(apart, abs=1e-9)


@given(seed=st.integers(0, 10_000), east=st.floats(-5e5, 5e5), north=st.floats(-5e6, 5e6))
@settings(max_examples=15, deadline=None)
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
@settings(max_examples=25, deadline=None)
def test_blocks_stay_whole(seed, block) -> None:
    records = _records(seed)
    fold = block_folds(records.x, records.y, block)
    column = np.floor((records.x - records.x.min()) / block)
    row = np.floor((records.y - records.y.min()) / block)
    for key in {(c, r) for c, r in zip(column, row, strict=True)}:
        assert len(set(fold[(column == key[0]) & (row == key[1])])) == 1


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_twice_the_yield_is_cleaned_alike(made, book, factor) -> None:
    """Nothing in the cleaning is tuned to one level of yield."""
    points = made.harvest(made.patchy, seconds=2.0, delay_s=2.0)
    scaled = points.assign(**{c: points[c] * factor for c in ("grain_kg", "grain_mg_ha", "flow_kg_s")})
    one, other = clean_points(points, book, Report()), clean_points(scaled, book, Report())
    assert list(one.points.index) == list(other.points.index)
    assert other.points["grain_kg"].sum() == pytest.approx(factor * one.points["grain_kg"].sum())


def test_field_turned_by_a_quarter_is_cleaned_alike(made, book) -> None:
    points = made.harvest(made.patchy, seconds=2.0, delay_s=2.0)
    turned = points.set_geometry(points.geometry.rotate(90, origin=(made.EAST, made.NORTH)))
    one, other = clean_points(points, book, Report()), clean_points(turned, book, Report())
    delay = [c.corrections["delay"]["combine 1"]["seconds"] for c in (one, other)]
    assert delay[0] == pytest.approx(delay[1], abs=0.01)
    assert len(one.points) == pytest.approx(len(other.points), abs=5)
    heading = (one.points["heading_deg"].iloc[0] - other.points["heading_deg"].iloc[0]) % 360
    assert heading == pytest.approx(90, abs=1e-6)
