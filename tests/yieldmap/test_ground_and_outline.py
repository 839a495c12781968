"""Ground from GPS height, and outlines drawn from points, on made fields."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from stovergeo.core.errors import ContractError
from stovergeo.core.units import M2_PER_HA
from stovergeo.yieldmap import boundary_from_points, ground_from_points


def _with_heights(made, drift_m: float, noise_m: float, seed: int = 1) -> gpd.GeoDataFrame:
    """Ground that falls 2 % to the east and rolls gently, seen through a drifting receiver."""
    points = made.harvest(made.smooth, seconds=2.0)
    rng = np.random.default_rng(seed)
    x, y = points.geometry.x - made.EAST, points.geometry.y - made.NORTH
    t = points["time_s"].to_numpy()
    # a wandering drift: a sum of slow waves of 10 to 40 minutes
    drift = sum(rng.normal(0, 1) * np.sin(2 * np.pi * t / period + rng.uniform(0, 6)) for period in (600, 1100, 2300))
    drift = drift_m * drift / np.std(drift)
    return points.assign(height_m=_ground(x, y) + drift + rng.normal(0, noise_m, len(points)))


def _ground(x, y):
    return 300 - 0.02 * x + 1.0 * np.sin(y / 60)


def test_drift_is_taken_out(made, coefficients, grid_over) -> None:
    """Drift of half a meter goes; the slope across the passes, which a field is worked along in time, stays."""
    points = _with_heights(made, drift_m=0.5, noise_m=0.05)
    stack = grid_over(points)
    ground = ground_from_points(points, stack, coefficients)
    # neighboring passes stay 0.18 m apart by the slope itself, 2 % over a swath
    assert ground.raw_pass_error_m > 0.4
    assert ground.pass_error_m < 0.25
    x, y = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    away = ground.elevation.to_numpy() - _ground(x, y)
    inside = (x > 15) & (x < 300) & (y > 15) & (y < 405)
    # a receiver's height system may sit anywhere: only the shape counts
    assert np.std(away[inside]) < 0.1
    # slope over 60 m, the landform a yard or an erosion rule asks for
    step = 12
    fall = (ground.elevation[:, step:].to_numpy() - ground.elevation[:, :-step].to_numpy()) / (step * 5.0)
    assert np.nanmedian(fall[:, 2:-2]) == pytest.approx(-0.02, abs=0.002)


def test_noisier_heights_are_reported_as_coarser(made, coefficients, grid_over) -> None:
    quiet = _with_heights(made, drift_m=0.3, noise_m=0.05)
    loud = _with_heights(made, drift_m=0.3, noise_m=0.8)
    stack = grid_over(quiet)
    fine, coarse = ground_from_points(quiet, stack, coefficients), ground_from_points(loud, stack, coefficients)
    assert coarse.holdout_error_m > 2 * fine.holdout_error_m
    assert coarse.min_scale_m >= fine.min_scale_m


def test_heights_are_needed(made, coefficients, grid_over) -> None:
    points = made.harvest(made.smooth, seconds=3.0)
    with pytest.raises(ContractError, match="heights"):
        ground_from_points(points, grid_over(points), coefficients)


def test_outline_is_as_wide_as_the_swath(made) -> None:
    points = made.harvest(made.smooth, seconds=2.0)
    drawn = boundary_from_points(points)
    assert list(drawn["field_id"]) == ["F1"]
    assert drawn["area_ha"][0] == pytest.approx(points["area_m2"].sum() / M2_PER_HA, rel=0.03)
    truth = shapely.box(made.EAST, made.NORTH, made.EAST + 34 * 9.144, made.NORTH + 419)
    assert drawn.geometry[0].symmetric_difference(truth).area < 0.02 * truth.area


def test_two_fields_are_drawn_apart_largest_first(made) -> None:
    one = made.harvest(made.smooth, seconds=2.0, width_m=120, height_m=200)
    two = made.harvest(made.smooth, seconds=2.0, width_m=200, height_m=300, seed=2)
    two = two.set_geometry(two.geometry.translate(500, 0)).assign(time_s=two["time_s"] + 1e5)
    drawn = boundary_from_points(pd.concat([one, two], ignore_index=True))
    assert len(drawn) == 2
    assert drawn["area_ha"].is_monotonic_decreasing
    assert drawn.geometry[0].centroid.x > drawn.geometry[1].centroid.x
    assert drawn["area_ha"].sum() == pytest.approx((one["area_m2"].sum() + two["area_m2"].sum()) / M2_PER_HA, rel=0.03)


def test_nothing_harvested_draws_nothing(made) -> None:
    points = made.harvest(made.smooth, seconds=3.0)
    with pytest.raises(ContractError, match="no yield point holds grain"):
        boundary_from_points(points.assign(grain_kg=0.0))
    with pytest.raises(ContractError, match="less than"):
        boundary_from_points(points.iloc[:5])
