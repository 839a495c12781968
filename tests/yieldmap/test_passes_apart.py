"""Passes that truly differ: what the map states of a missing one, and drifts and jumps of a machine's readings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from long_run import first_short

from stovergeo.core.errors import Report
from stovergeo.yieldmap import boundary_from_points, clean_points, find_drift, grain_surface
from stovergeo.yieldmap.drift import pass_variance

NOMINAL_90 = 1.6449  # standard normal quantile of 95 %
EVERY = 7  #: one pass in so many lacks


def covered(made, coefficients, grid_over, name: str, pass_noise: float, seed: int) -> tuple[float, float]:
    """Return the share of cells inside the stated 90 % band: on passes without records, and on all others.

    The truth of a cell is the crop times what its own pass truly gave more or less.
    """
    points = made.harvest(made.TRUTHS[name], pass_noise=pass_noise, seed=seed, seconds=2.0)
    fields = boundary_from_points(points)
    stack = grid_over(fields)
    x, y = (points.geometry.x - made.EAST).to_numpy(), (points.geometry.y - made.NORTH).to_numpy()
    number = (x // 9.144).astype(int)
    more = points["grain_mg_ha"].groupby(number).sum() / pd.Series(made.TRUTHS[name](x, y)).groupby(number).sum()
    gone = number % EVERY == 3
    cleaned = clean_points(points[~gone].reset_index(drop=True), coefficients, Report())
    lost = points[gone].assign(removed_because="moisture").set_index(np.arange(gone.sum()) + 1_000_000)
    removed = pd.concat([cleaned.removed, lost])
    surface = grain_surface(cleaned.points, fields, stack, coefficients, removed=removed)
    cx, cy = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    mine = np.clip((cx // 9.144).astype(int), 0, number.max())
    truth = made.TRUTHS[name](cx, cy) * more.to_numpy()[mine]
    inside = abs(surface.grain.to_numpy() - truth) <= NOMINAL_90 * surface.error.to_numpy()
    known = surface.grain.notnull().to_numpy()
    lacks = mine % EVERY == 3
    return float(inside[known & lacks].mean()), float(inside[known & ~lacks].mean())


@pytest.mark.parametrize("pass_noise", first_short([0.03, 0.005, 0.08]))
def test_missing_passes_lie_in_the_stated_band(made, coefficients, grid_over, pass_noise) -> None:
    """Over twelve harvests: the cells of one pass err together, so a single field says little."""
    crops = list(made.TRUTHS)
    found = [covered(made, coefficients, grid_over, crops[seed % 4], pass_noise, seed) for seed in range(12)]
    missing, recorded = np.mean(found, axis=0)
    assert 0.85 <= missing <= 0.95
    assert 0.85 <= recorded <= 0.95


@pytest.mark.parametrize("name", ["smooth", "patchy", "sharp border", "low spot"])
def test_the_variance_between_passes_is_found(made, name) -> None:
    sd = 0.06
    found = []
    for seed in range(6):
        points = made.harvest(made.TRUTHS[name], pass_noise=sd, seed=seed, seconds=2.0)
        x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
        number = ((x - made.EAST) // 9.144).astype(int)
        found.append(pass_variance(x, y, points["grain_mg_ha"].to_numpy(), number, 0.16, 9.144))
    assert np.sqrt(np.mean(found)) == pytest.approx(sd * 8, rel=0.25)  # the crops give some 8 Mg/ha


def driven(made, change, lands: int = 1, seed: int = 1):
    """Return a made harvest whose yields are changed by a function of the share of the harvest done.

    With `lands` above one the passes are cut in that many turns over the field, each taking every so many passes.
    """
    points = made.harvest(made.smooth, seconds=2.0, pass_noise=0.01, seed=seed)
    number = ((points.geometry.x.to_numpy() - made.EAST) // 9.144).astype(int)
    order = np.lexsort((np.arange(len(number)), number, number % lands))
    points, number = points.iloc[order].reset_index(drop=True), number[order]
    done = np.arange(len(points)) / len(points)
    pass_id = np.cumsum(np.diff(number, prepend=number[0]) != 0)
    yields = points["grain_mg_ha"].to_numpy() * change(done)
    return find_drift(points.geometry.x.to_numpy(), points.geometry.y.to_numpy(), yields, pass_id, 9.144)


def test_a_drift_is_told_from_the_gradient_where_passes_cut_early_and_late_touch(made) -> None:
    found = driven(made, lambda done: 1 - 0.3 * done, lands=3)
    assert found.total == pytest.approx(np.log(0.7), abs=0.05)
    assert found.error < 0.05
    steady = driven(made, lambda done: 1 + 0 * done, lands=3)
    assert abs(steady.total) < 0.05


def test_side_by_side_from_edge_to_edge_only_a_trend_is_seen(made) -> None:
    found = driven(made, lambda done: 1 - 0.3 * done)
    assert np.isnan(found.total)
    assert found.trend < np.log(0.9)


@pytest.mark.parametrize("by", [0.8, 1.25])
def test_a_jump_is_found_where_it_is(made, by) -> None:
    found = driven(made, lambda done: np.where(done < 0.4, 1.0, by))
    assert found.jump == pytest.approx(np.log(by), abs=0.06)
    records = len(made.harvest(made.smooth, seconds=2.0))
    assert found.jump_at / records == pytest.approx(0.4, abs=0.06)
    assert abs(found.jump) > 5 * found.jump_error
    steady = driven(made, lambda done: 1 + 0 * done)
    assert abs(steady.jump) < 5 * steady.jump_error


def test_too_few_passes_say_nothing(made) -> None:
    points = made.harvest(made.smooth, seconds=2.0, width_m=60)
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    number = ((x - made.EAST) // 9.144).astype(int)
    assert find_drift(x, y, points["grain_mg_ha"].to_numpy(), number, 9.144) is None
