"""Several years of one field."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from stovergeo.core.errors import ContractError, Report
from stovergeo.core.stack import put
from stovergeo.yieldmap import boundary_from_points, clean_points, compare_years, grain_surface


def _grid(values) -> xr.DataArray:
    return xr.DataArray(np.array(values, float), dims=("y", "x"))


NUMBER = _grid([[0, 0, 0, 0]])


def test_worked_case(coefficients) -> None:
    # field means 10 and 5; relative: 1.2 1.2 | 0.8 0.8 | 0.6 1.4 | 1.4 0.6
    years = compare_years({"2021": _grid([[12, 8, 6, 14]]), "2022": _grid([[6, 4, 7, 3]])}, NUMBER, coefficients)
    assert years.relative.to_numpy() == pytest.approx(np.array([[1.2, 0.8, 1.0, 1.0]]))
    # sample standard deviation of 0.6 and 1.4 is 0.5657
    assert years.variation.to_numpy() == pytest.approx(np.array([[0, 0, 0.5657, 0.5657]]), abs=1e-4)
    assert years.stability.to_numpy().tolist() == [[1, 2, 3, 3]]
    assert years.mean.to_numpy() == pytest.approx(np.array([[9, 6, 7.5, 7.5]]))


def test_gap_in_one_year_does_not_move_the_others(coefficients) -> None:
    years = compare_years({"a": _grid([[12, 8, np.nan, 10]]), "b": _grid([[6, 4, 7, 5]])}, NUMBER, coefficients)
    assert years.relative.to_numpy()[0, [0, 1, 3]] == pytest.approx([1.2, 0.8, 1.0])
    assert np.isnan(years.stability.to_numpy()[0, 2])
    assert years.relative.to_numpy()[0, 2] == pytest.approx(1.4)


def test_a_poor_year_counts_like_a_good_one(coefficients) -> None:
    good = _grid([[12, 8, 11, 9]])
    one = compare_years({"a": good, "b": good * 0.4}, NUMBER, coefficients)
    assert one.relative.to_numpy() == pytest.approx((good / 10).to_numpy())
    assert one.variation.to_numpy() == pytest.approx(0, abs=1e-6)


def test_fields_that_grew_corn_in_different_years(coefficients) -> None:
    """Two fields in rotation: each counts the years in which it grew corn, and the other's years take nothing away."""
    number = _grid([[0, 0, 1, 1]])
    grain = {
        "2024": _grid([[12, 8, np.nan, np.nan]]),
        "2025": _grid([[np.nan, np.nan, 6, 10]]),
        "2026": _grid([[10, 10, 9, 7]]),
    }
    years = compare_years(grain, number, coefficients)
    assert years.used == {0: ["2024", "2026"], 1: ["2025", "2026"]}
    # field 0 at 10 both years: (1.2 + 1) / 2, (0.8 + 1) / 2; field 1 at 8: (0.75 + 1.125) / 2, (1.25 + 0.875) / 2
    assert years.mean.to_numpy() == pytest.approx(np.array([[11, 9, 7.5, 8.5]]))
    alone = compare_years({"2024": grain["2024"], "2026": grain["2026"]}, number, coefficients)
    assert np.isnan(alone.mean.to_numpy()[0, 2:]).all()


def test_refusals(coefficients) -> None:
    with pytest.raises(ContractError, match="two or more"):
        compare_years({"a": NUMBER}, NUMBER, coefficients)
    with pytest.raises(ContractError, match="one grid"):
        compare_years({"a": NUMBER, "b": _grid([[1, 2]])}, NUMBER, coefficients)


def test_from_points_of_two_years(made, coefficients, grid_over) -> None:
    """The same ground harvested twice, once in a year that gives 60 %: the pattern comes back."""
    good = made.harvest(made.low_spot, seconds=2.0, seed=1)
    poor = made.harvest(lambda x, y: 0.6 * made.low_spot(x, y), seconds=2.0, seed=2)
    fields = boundary_from_points(good)
    stack = grid_over(fields)
    found = {}
    for year, points in {"2023": good, "2024": poor}.items():
        cleaned = clean_points(points, coefficients, Report())
        found[year] = grain_surface(cleaned.points, fields, stack, coefficients, removed=cleaned.removed).grain
    inside = found["2023"].notnull()
    stack = put(stack, field_number=np.where(inside, 0.0, np.nan))
    years = compare_years(found, stack["field_number"], coefficients)
    x, y = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    truth = made.low_spot(x, y)
    expected = truth / truth[inside.to_numpy()].mean()
    away = (years.relative.to_numpy() - expected)[inside.to_numpy()]
    assert np.sqrt(np.nanmean(away**2)) < 0.05
    hollow = (x - 150) ** 2 + (y - 200) ** 2 < 20**2
    assert (years.stability.to_numpy()[hollow] == 2).all()
