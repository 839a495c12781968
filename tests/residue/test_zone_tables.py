"""What binds in each zone, and every method of gathering side by side."""

import dataclasses
import re
from fractions import Fraction

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.inputs.plan.crop import Crop, Limits, Odds
from stovergeo.residue import (
    RuleOptions,
    gain_without,
    harvest_calendar,
    limit_totals,
    limits,
    methods,
    recommended,
    sample_limits,
    zone_limits,
    zone_methods,
)
from stovergeo.residue.zone_cells import zone_cells
from stovergeo.zones import assign_methods


@pytest.fixture(scope="module")
def drawn(done, zones, options, ways):
    return sample_limits(done, *zones, options, Odds(samples=200), ways)


@pytest.fixture(scope="module")
def offers(done, zones, options, ways, drawn):
    return zone_methods(done, *zones, options, ways, drawn=drawn)


def test_every_rule_says_what_it_asks_of_every_zone(done, zones, options):
    table = zone_limits(done, *zones, options)
    rules = done["binding_rule"].attrs["rules"]
    assert len(table) == len(rules) * 4
    assert table.groupby("zone_id", sort=False)["binds_fraction"].sum().to_numpy() == pytest.approx(np.ones(4))
    cells = zone_cells(zones[1], done, 4)
    for rule in rules:
        mean = cells.mean(cells.of(done[f"retention_{rule}_mg_ha"]))
        rows = table[table["rule"] == rule].set_index("zone_id").loc[zones[0]["zone_id"]]
        assert rows["retention_mg_ha"].to_numpy() == pytest.approx(mean)


def test_the_binding_rule_comes_first_and_says_so(done, zones, options):
    table = zone_limits(done, *zones, options)
    first = table.groupby("zone_id", sort=False).first()
    carbon = first.loc["F2-a"]
    assert carbon["message"][0].values == {"rotation": "continuous corn", "keep": carbon["retention_mg_ha"]}
    assert render(carbon["message"], "us") == (
        "The carbon budget for continuous corn needs 2.3 ton/ac to stay. No rule asks for more here."
    )
    assert "needs 5.2 t/ha to stay" in render(carbon["message"], "metric")
    shared = first[first["binds_fraction"] < 0.99]
    assert len(shared)
    for row in shared.itertuples():
        assert row.message[-1].values == {"share": row.binds_fraction}
    assert carbon["gain_mg_ha"] > 0
    assert carbon["lift"][-1].values == {"gain": carbon["gain_mg_ha"]}
    assert render(carbon["lift"], "metric").startswith("Manure, a cover crop")


def test_gain_is_what_leaves_once_the_rule_is_left_out(done, farm, options):
    names = done["binding_rule"].attrs["rules"]
    for rule, gain in gain_without(done):
        others = tuple(n for n in names if n != rule)
        without = limits(
            farm, dataclasses.replace(options, limits=options.limits.model_copy(update={"rules": others})), Report()
        )
        more = (without["removable_mg_ha"] - done["removable_mg_ha"]).values
        assert gain == pytest.approx(more, abs=1e-5, nan_ok=True)


def test_no_gain_is_held_out_for_ground_that_must_not_be_touched(done, zones, options):
    table = zone_limits(done, *zones, options)
    forbidden = table[table["rule"].isin(["concentrated_flow", "steep_ground"])]
    assert (forbidden["gain_mg_ha"] > 0).any()
    assert all(len(lift) == 1 for lift in forbidden["lift"])


def test_farm_totals_say_where_each_rule_binds(done, options):
    table = limit_totals([done], options)
    known = done["cell_area_ha"].where(done["stover_mg_ha"].notnull())
    assert table["binds_ha"].sum() == pytest.approx(float(known.sum()))
    assert table["binds_ha"].is_monotonic_decreasing
    assert table.iloc[0]["rule"] == "soil_carbon"
    binds, without = table.iloc[0]["message"]
    assert (binds.values["area"], without.values["gain"]) == (table.iloc[0]["binds_ha"], table.iloc[0]["gain_mg"])
    assert "tons more could leave" in render(without, "us")
    assert table.iloc[-1]["binds_ha"] == 0
    assert [m.key for m in table.iloc[-1]["message"]] == ["farm.nowhere"]


def test_all_ways_stand_side_by_side(offers, ways):
    assert len(offers) == 4 * len(ways)
    for _, rows in offers.groupby("zone_id"):
        assert list(rows["method"]) == list(ways)
        assert rows["removal_mg_ha"].is_monotonic_increasing
        assert rows["recommended"].sum() <= 1
    assert offers["passes"].nunique() == 4
    assert offers["ash_pct"].nunique() == 4


def test_what_is_left_and_taken_is_all_that_stood(offers, done, zones):
    cells = zone_cells(zones[1], done, 4)
    stood = dict(zip(zones[0]["zone_id"], cells.mean(cells.of(done["stover_mg_ha"])), strict=True))
    total = offers["removal_mg_ha"] + offers["standing_mg_ha"] + offers["flat_mg_ha"]
    assert total.to_numpy() == pytest.approx(offers["zone_id"].map(stood).to_numpy())
    assert (offers["flat_mg_ha"] >= 0).all()


def test_no_allowed_way_takes_more_than_any_limit(offers, drawn, zones):
    for row in offers[offers["allowed"]].itertuples():
        z = list(zones[0]["zone_id"]).index(row.zone_id)
        assert row.removal_mg_ha <= row.limit_mg_ha + 1e-9
        assert row.limit_mg_ha <= np.percentile(drawn.method_limit_mg_ha[row.method][:, z], 10) + 1e-9
    refused = offers[~offers["allowed"]]
    assert (refused["removal_mg_ha"] > refused["limit_mg_ha"]).all()
    bars = {m[0].key for m in offers["message"]}
    assert bars <= {f"{verdict}.{bar}" for verdict in ("fits", "exceeds") for bar in ("mean", "even", "cautious")}
    assert all(m[0].key.startswith("exceeds") for m in refused["message"])
    for row in offers.itertuples():
        said = row.message[0].values
        assert (said["take"], said["limit"]) == (row.removal_mg_ha, row.limit_mg_ha)


def test_recommended_is_the_allowed_method_that_takes_most(offers, zones):
    chosen = recommended(offers)
    assert list(chosen) == list(zones[0]["zone_id"])
    for zone, way in chosen.items():
        allowed = offers[(offers["zone_id"] == zone) & offers["allowed"]]
        expected = "leave" if allowed.empty else allowed.loc[allowed["removal_mg_ha"].idxmax(), "method"]
        assert way == expected


def test_zone_s_own_even_limit_is_kept(done, zones, options, ways):
    table, labels = zones
    tight = zone_methods(done, table.assign(removable_mg_ha=1.0), labels, options, ways)
    assert not tight["allowed"].any()
    assert {m[0].key for m in tight["message"]} == {"exceeds.even"}


def test_a_refusal_gives_how_often_it_could_be_done(offers):
    heavy = offers[(offers["method"] == "chop_and_rake") & (offers["harvest_fraction"] < 1)]
    assert not heavy.empty
    assert [m[-1].values for m in heavy["message"]] == [
        {"taken": f.numerator, "years": f.denominator}
        for f in (Fraction(share).limit_denominator(10) for share in heavy["harvest_fraction"])
    ]
    assert re.search(r"allow it in [1-4] of [2-5] corn years", render(heavy["message"].iloc[0], "us"))


def test_harvest_in_fewer_years_allows_heavier_ways(done, farm, zones, options, ways):
    seldom = dataclasses.replace(options, crop=options.crop.model_copy(update={"harvest_years": Fraction(1, 2)}))
    often_allowed = zone_methods(done, *zones, options, ways)["allowed"].sum()
    stack = limits(farm, seldom, Report())
    assert zone_methods(stack, *zones, seldom, ways)["allowed"].sum() > often_allowed


def test_harvest_in_some_years_says_what_leaves_in_the_mean(farm, zones, options, ways):
    often = dataclasses.replace(options, crop=options.crop.model_copy(update={"harvest_years": Fraction(3, 4)}))
    table = zone_methods(limits(farm, often, Report()), *zones, often, ways)
    assert table["removal_mean_mg_ha"].to_numpy() == pytest.approx(0.75 * table["removal_mg_ha"].to_numpy())
    for row in table.itertuples():
        said = {m.key: m for m in row.message}["method.a_year"]
        assert said.values == {"taken": 3, "years": 4, "mean": row.removal_mean_mg_ha}
    each = zone_methods(limits(farm, options, Report()), *zones, options, ways)
    assert "method.a_year" not in {m.key for messages in each["message"] for m in messages}


@pytest.mark.parametrize(
    ("years", "harvests"),
    [("3 of 4", [1, 1, 1, 0, 1, 1, 1, 0]), ("2 of 5", [1, 0, 1, 0, 0, 1, 0, 1]), ("every year", [1] * 8)],
)
def test_calendar_spreads_the_harvests_over_the_corn_years(offers, options, years, harvests):
    crop = options.crop.model_validate({"rotation": "continuous corn", "harvest_years": years})
    borne = offers.assign(harvest_fraction=1.0)
    calendar = harvest_calendar(borne, {"F2-a": "single_pass"}, crop, 2026, years=8)
    assert calendar["harvest"].astype(int).tolist() == harvests


def ground_of(zones) -> gpd.GeoDataFrame:
    """The zones as `make_zones` would hand them on."""
    table, _ = zones
    return gpd.GeoDataFrame(
        table.assign(
            area_ha=6.0,
            stover_mg_ha=9.0,
            retention_mg_ha=5.25,
            removable_mg_ha=3.0,
            method="leave",
            removal_mg_ha=0.0,
            removal_mg=0.0,
            binding_rule="soil_carbon",
            reason=[()] * 4,
        ),
        geometry=[box(0, 0, 1, 1)] * 4,
        crs="EPSG:26915",
    )


def test_zones_take_the_table_as_it_is(offers, zones):
    filled = assign_methods(ground_of(zones), offers, recommended(offers))
    assert list(filled["method"]) == list(recommended(offers).values())


def test_the_cautious_limit_is_reported_with_its_figures(done, zones, options, ways, drawn):
    """A method that fits in the mean, not in 97 of 100 cases, is refused for just that."""
    offers = zone_methods(done, *zones, options, ways, drawn=drawn, cautious_pct=2.5)
    fits_in_the_mean = zone_methods(done, *zones, options, ways)["allowed"]
    told = offers[fits_in_the_mean & ~offers["allowed"]]
    assert len(told)
    for row in told.itertuples():
        z = list(zones[0]["zone_id"]).index(row.zone_id)
        sure = max(np.percentile(drawn.method_limit_mg_ha[row.method][:, z], 2.5), 0)
        said = row.message[0]
        assert said.key == "exceeds.cautious"
        assert said.values == {"take": row.removal_mg_ha, "limit": pytest.approx(sure), "sure": 97.5}
        assert render(said, "metric") == (
            f"Takes {row.removal_mg_ha:.1f} t/ha, but only {sure:.1f} t/ha can be spared in 97.5 of 100 cases."
        )
        only = offers[(offers["zone_id"] == row.zone_id) & (offers["method"] == row.method)]
        zone = assign_methods(ground_of(zones), only).set_index("zone_id").loc[row.zone_id]
        assert zone["method"] == "leave"
        assert zone["reason"][-1].values == {"title": row.title, "verdict": row.message}
        assert render(zone["reason"], "us").endswith(render(row.message, "us")[1:])


def test_calendar_follows_rotation_and_budget(offers, options):
    chosen = recommended(offers)
    calendar = harvest_calendar(offers, chosen, options.crop, 2026)
    assert len(calendar) == 4 * 5
    assert (calendar["crop"] == "corn").all()
    left = [z for z, way in chosen.items() if way == "leave"]
    assert not calendar[calendar["zone_id"].isin(left)]["harvest"].any()

    rotated = options.crop.model_copy(update={"rotation": "corn-soybean", "harvest_years": Fraction(1, 2)})
    forced = dict.fromkeys(chosen, "chop_and_rake")
    calendar = harvest_calendar(offers, forced, rotated, 2026)
    one = calendar[calendar["zone_id"] == "F2-a"]
    assert list(one["crop"]) == ["corn", "soybean", "corn", "soybean", "corn"]
    assert list(one["harvest"]) == [True, False, False, False, True]
    assert (one["removal_mg_ha"] > 0).tolist() == one["harvest"].tolist()
    assert {m.key for m in calendar[calendar["crop"] == "soybean"]["message"]} == {"year.soybean"}
    first = one.iloc[0]
    assert render(first["message"], "us") == "Stover may leave, in 1 of 2 corn years."


def test_no_method_of_gathering_leaves_an_empty_table(done, zones, options):
    table = zone_methods(done, *zones, options, {})
    assert table.empty
    assert {"zone_id", "allowed", "recommended", "removal_mg_ha"} <= set(table.columns)
    assert recommended(table) == {}


EVERY_RULE = {
    "rotation": "corn-soybean",
    "tillage": ("strip_till", "planter"),
    "contoured": True,
    "wind_loss": "3 ton/ac/yr",
    "soil_conditioning_index": 0.3,
    "harvest_years": "1 of 3",
    "manure_c_mg_ha": 0.5,
    "cover_crop_c_mg_ha": 0.2,
    "cut_height": "14 in",
}
EVERY_FLOOR = {
    "retention_min": "0.5 ton/ac",
    "removal_max": "3 ton/ac",
    "harvest_from_bu_ac": 120,
    "potash_max": "100 lb/ac",
    "phosphate_max": "30 lb/ac",
    "tolerance_fraction": 0.8,
}


def test_everything_a_plan_can_ask_at_once(farm, zones, options):
    every = RuleOptions(Crop.model_validate(EVERY_RULE), Limits.model_validate(EVERY_FLOOR), options.coefficients)
    report = Report()
    stack = limits(farm, every, report)
    assert len(stack["binding_rule"].attrs["rules"]) == 11
    assert not [p for p in report if p.code == "residue.rule_broken"]
    high = methods(options.coefficients, cut_height_m=every.crop.cut_height_m)
    run = sample_limits(stack, *zones, every, Odds(samples=60), high)
    assert np.isfinite(run.limit_mg_ha).all()
    assert (run.limit_mg_ha >= 0).all()
    table = zone_methods(stack, *zones, every, high, drawn=run)
    assert table["compliance_probability"].between(0, 1).all()
    assert {"retention.wind.cover_effect", "flattening.strip_till", "nutrients.k2o.content"} <= set(run.inputs)
    calendar = harvest_calendar(table, recommended(table), every.crop, 2026)
    assert calendar.groupby("zone_id")["harvest"].sum().max() <= 1  # one corn year of three in five years
