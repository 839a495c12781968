"""The soil-carbon rule: table and goal, what is not known, the lognormal sampler, and the odds that the goal holds."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from scipy.stats import norm

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.coefficients.handbook import read_coefficients
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions
from stovergeo.residue.carbon_goal import SAMPLED, carbon_costs, goal_held, stocks
from stovergeo.residue.retention import soil_carbon
from stovergeo.residue.sampling import draw

COEFFICIENTS = load_handbook()
STOVER = 9.6666  # 200 bu/ac


def ground(stover: float = STOVER, **known: float) -> xr.Dataset:
    values = {"stover_typical_mg_ha": stover, **known}
    return xr.Dataset({name: (("y", "x"), [[float(value)]]) for name, value in values.items()})


def options(rotation: str = "continuous corn", limits: dict | None = None, **crop: object) -> RuleOptions:
    return RuleOptions(
        Crop.model_validate({"rotation": rotation, **crop}), Limits.model_validate(limits or {}), COEFFICIENTS
    )


def asked(told: RuleOptions, **known: float) -> tuple[float, float, float]:
    """Return what table, goal and rule ask for."""
    rules = (soil_carbon.by_table, soil_carbon.by_goal, soil_carbon.keep)
    return tuple(float(rule(ground(**known), told).values[0, 0]) for rule in rules)


# By hand from the equations of docs/science/soil-carbon.md, at the medians (derived).
@pytest.mark.parametrize(
    ("rotation", "known", "manure", "table", "removal_by_goal", "keep"),
    [
        ("continuous corn", {"soil_carbon": 80}, 0.0, 5.25, 3.745, 5.921),
        ("continuous corn", {"soil_carbon": 100}, 0.0, 5.25, 4.682, 5.25),
        ("corn-soybean", {"soil_carbon": 80}, 0.0, 7.90, 7.491, 7.90),
        ("continuous corn", {"soil_carbon": 80}, 1.0, 2.711, 6.285, 3.382),
        ("continuous corn", {"soil_carbon": np.nan}, 0.0, 5.25, 2.809, 6.858),
        ("continuous corn", {}, 0.0, 5.25, 2.809, 6.858),
    ],
)
def test_table_and_goal_as_worked_out_by_hand(rotation, known, manure, table, removal_by_goal, keep):
    by_table, by_goal, kept = asked(options(rotation, manure_c_mg_ha=manure), **known)
    assert (by_table, STOVER - by_goal, kept) == pytest.approx((table, removal_by_goal, keep), abs=1e-3)


def test_a_surer_goal_counts_on_a_larger_share():
    _, by_goal, _ = asked(options(limits={"carbon_sure_pct": 80}), soil_carbon=80)
    assert STOVER - by_goal == pytest.approx(2.08, abs=5e-3)


@pytest.mark.parametrize("goal", [2, 5, 8])
def test_the_goal_is_in_proportion(goal):
    _, by_goal, _ = asked(options(limits={"carbon_loss_max_pct": goal}), soil_carbon=80)
    assert STOVER - by_goal == pytest.approx(3.745 * goal / 5, abs=1e-3)


def test_harvest_in_half_of_the_years_may_take_twice_as_much():
    _, each_year, _ = asked(options(), soil_carbon=50)
    _, every_other, _ = asked(options(harvest_years="1 of 2"), soil_carbon=50)
    assert STOVER - every_other == pytest.approx(2 * (STOVER - each_year))


@settings(max_examples=examples(50))
@given(stover=st.floats(0.5, 16), stock=st.floats(60, 400), manure=st.floats(0, 2), sure=st.floats(50, 95))
def test_what_is_not_known_frees_no_stover(stover, stock, manure, sure):
    told = options(manure_c_mg_ha=manure, limits={"carbon_sure_pct": sure})
    unknown = asked(told, stover=stover, soil_carbon=np.nan)[2]
    assert unknown >= asked(told, stover=stover, soil_carbon=stock)[2] - 1e-12
    assert unknown == asked(told, stover=stover)[2]


def test_manure_counts_on_the_field_that_gets_it_alone():
    told = options(manure_c_mg_ha=1.0)
    with_manure, without = (asked(told, soil_carbon=80, manure_carbon=c)[2] for c in (1.0, 0.0))
    assert with_manure == asked(told, soil_carbon=80)[2]
    assert without == asked(options(), soil_carbon=80)[2]
    assert asked(told, soil_carbon=80, manure_carbon=np.nan)[2] == with_manure


# ---- the sampler


@pytest.mark.parametrize("key", ["retention.carbon.factor", "carbon.kept_20_years"])
def test_a_lognormal_is_drawn_from_its_quantiles(key):
    c = COEFFICIENTS[key]
    samples = draw(c, seed=3, n=4000)
    shares = np.array([0.1, 0.25, 0.5, 0.75, 0.9])
    assert np.quantile(samples, shares) == pytest.approx(c.value * np.exp(c.sd_ln * norm.ppf(shares)), rel=0.01)
    assert np.quantile(samples, [0.1, 0.9]) == pytest.approx([c.low, c.high], rel=0.05)
    assert np.std(np.log(samples)) == pytest.approx(c.sd_ln, rel=0.01)
    assert samples.min() > 0


def test_an_own_number_has_no_spread():
    own = load_handbook({"carbon.kept_20_years": 0.2})["carbon.kept_20_years"]
    assert not own.has_spread
    assert (draw(own, seed=1, n=5) == 0.2).all()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("low = 0.5\nhigh = 1.57\nsd_ln = 0.35", "eight in ten"),
        ("low = 0.64\nhigh = 1.57\nsd_ln = -0.35", "above 0"),
        ("low = 0.64\nhigh = 1.57\nsd_ln = 0.35", ""),
    ],
)
def test_a_lognormal_spread_must_fit_what_stands_beside_it(change, said):
    text = f'[a.b]\nvalue = 1.0\n{change}\nunit = "1"\nmeaning = "m"\nstanding = "judgment"\n'
    if said:
        with pytest.raises(ValueError, match=said):
            read_coefficients(text)
    else:
        assert read_coefficients(text)[0].has_spread


# ---- the odds

N = 20_000


def drawn_costs(parts: np.ndarray, removal_mg_ha: float, manure_c_mg_ha: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Return cost and stock of one zone in N samples."""
    sampled = {key: draw(COEFFICIENTS[key], seed=5, n=N) for key in SAMPLED}
    cost = carbon_costs(np.full((N, 1), removal_mg_ha), np.array([manure_c_mg_ha]), options(), sampled)
    return cost, stocks(parts, sampled["carbon.stock_factor"], sampled["carbon.stock_unknown"])


@pytest.mark.parametrize("removal", [1.5, 3.745, 6.0])
def test_the_odds_of_a_tested_soil_are_those_of_what_trials_measured(removal):
    parts = np.array([[80.0], [0.0], [0.0]])
    cost, stock = drawn_costs(parts, removal)
    exact = norm.cdf(np.log(0.05 * 80 / (20 * 0.445 * removal) / 0.12) / 0.7)
    assert goal_held(cost, stock, options()) == pytest.approx([exact], abs=0.005)


def test_what_is_known_less_surely_spreads_the_odds():
    tested, surveyed, unknown = (
        goal_held(*drawn_costs(parts, 2.0), options())[0]
        for parts in np.array([[[60.0], [0], [0]], [[0], [60.0], [0]], [[0], [0], [1.0]]])
    )
    assert tested > surveyed
    assert unknown < 0.95


def test_a_zone_of_tested_surveyed_and_unknown_ground_adds_up():
    parts = np.array([[20.0], [30.0], [0.25]])
    assert stocks(parts, [1.0, 1.2], [60.0, 40.0])[:, 0] == pytest.approx([20 + 30 + 15, 20 + 36 + 10])


def test_manure_that_brings_more_than_harvest_takes_is_no_cost():
    parts = np.array([[80.0], [0.0], [0.0]])
    cost, stock = drawn_costs(parts, 1.0, 1.0)
    assert (cost < 0).all()
    assert goal_held(cost, stock, options()) == 1.0


# ---- the page of made farms

DOCS = Path(__file__).parents[2] / "docs"


def test_the_page_of_made_farms_is_current():
    script = runpy.run_path(str(DOCS / "write_carbon_limits.py"))
    assert (DOCS / "carbon-limits.md").read_text("utf-8") == script["page"]()


def test_made_farms_lose_only_what_the_spread_and_the_goal_ask_for():
    removals = runpy.run_path(str(DOCS / "write_carbon_limits.py"))["removals"]
    for rotation in ("continuous corn", "corn-soybean"):
        for bushels in (180, 220):
            for carbon in (50.0, 100.0, None):
                grown, middle, surely, now, now_surely, binds = removals(rotation, bushels, carbon)
                assert now <= middle <= grown
                assert now_surely <= min(now, surely)
                assert (binds == "table") == (now == middle)
