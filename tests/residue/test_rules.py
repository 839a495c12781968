"""Every rule's contract in one sweep; exact inversion; the sign of every input."""

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import ContractError, Report
from stovergeo.core.plugins import RETENTION_RULES, load_plugins
from stovergeo.core.printing import UNIT_SYSTEMS, render
from stovergeo.core.stack import VARIABLES
from stovergeo.core.units import K_SI_PER_US, MG_HA_DRY_PER_BU_ACRE, MG_HA_PER_TON_ACRE
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, methods
from stovergeo.residue.production import cover_after
from stovergeo.residue.removable import NamedRule, asked, limits
from stovergeo.residue.retention import (
    concentrated_flow,
    erodible_ground,
    ground_cover,
    nutrient_floor,
    plan_floor,
    soil_carbon,
    soil_conditioning,
    steep_ground,
    water_erosion,
    water_plus_wind,
    wind_erosion,
)

COEFFICIENTS = load_handbook()
WAYS = methods(COEFFICIENTS)
RULES = [NamedRule(p.name, p.thing) for p in load_plugins(RETENTION_RULES) if p.package == "stovergeo"]
NAMES = [r.name for r in RULES]


def ground(**values) -> xr.Dataset:
    """One cell of ordinary ground, with what a test changes."""
    usual = {
        "stover_mg_ha": 9.0,
        "stover_typical_mg_ha": 9.0,
        "grain_mg_ha": 9.8,
        "cell_area_ha": 0.01,
        "slope_pct": 4.0,
        "ls_factor": 0.6,
        "upslope_area_m2": 300.0,
        "concentrated_flow": 0.0,
        "soil_erodibility": 0.32 * K_SI_PER_US,
        "soil_loss_tolerance": 5 * MG_HA_PER_TON_ACRE,
        "wind_erodibility": 86 * MG_HA_PER_TON_ACRE,
        "erodible_class": 0.0,
    }
    return xr.Dataset(
        {n: (("y", "x"), [[float(v)]], {"units": VARIABLES[n].unit}) for n, v in {**usual, **values}.items()}
    )


def options(crop=None, limits=None, coefficients=COEFFICIENTS, **more) -> RuleOptions:
    return RuleOptions(
        Crop.model_validate({"rotation": "continuous corn", "tillage": ("chisel_straight", "planter"), **(crop or {})}),
        Limits.model_validate(limits or {}),
        coefficients,
        **more,
    )


def one(rule, told=None, **values) -> float:
    return float(rule.keep(ground(**values), told or options()).broadcast_like(ground()["stover_mg_ha"]).values[0, 0])


# ---- the contract, for every rule that is installed -----------------------------------------------------------------


def test_all_built_in_rules_are_loaded_as_plug_ins():
    assert set(NAMES) == {
        "concentrated_flow",
        "ground_cover",
        "erodible_ground",
        "nutrient_floor",
        "plan_floor",
        "soil_carbon",
        "soil_conditioning",
        "steep_ground",
        "water_erosion",
        "water_plus_wind",
        "wind_erosion",
    }


@pytest.mark.parametrize("named", RULES, ids=NAMES)
def test_contract(named):
    rule = named.rule
    assert rule.title
    assert rule.source
    assert rule.valid
    assert rule.lift.endswith(".")
    assert isinstance(getattr(rule, "forbids", False), bool)
    assert set(rule.reads) <= set(VARIABLES), "a rule reads only variables the stack knows"
    told = options(
        {"wind_loss": "12 ton/ac/yr", "contoured": True, "soil_conditioning_index": 0.3},
        {"retention_min": "1 ton/ac", "potash_max": "60 lb/ac"},
    )
    only = ground()[list(rule.reads)]  # it reads nothing that it does not list
    for way in (None, *WAYS.values()):
        answer = asked(named, only, told.with_method(way))
        assert set(answer.dims) <= {"y", "x"}
        assert np.isfinite(answer).all()
        assert (answer >= 0).all()
    # over other dims, with samples in the place of numbers
    cells = xr.concat([only, only], "cell").squeeze(drop=True)
    drawn = options(drawn={"retention.cover.k": xr.DataArray([0.00021, 0.0003, 0.0004], dims="draw")})
    assert set(asked(named, cells, drawn).dims) <= {"cell", "draw"}
    for keep in (0.0, 0.01, 3.0, 9.0):
        said = rule.message(keep, 9.0, told)
        assert said.values.get("keep", keep) == keep
        for units in UNIT_SYSTEMS:
            text = render(said, units)
            assert text.endswith(".")
            assert "not known" not in text
            assert "0.0" not in text


@pytest.mark.parametrize("named", RULES, ids=NAMES)
def test_what_is_not_known_is_not_answered(named):
    for name in named.rule.reads:
        if name in ("stover_mg_ha", "stover_typical_mg_ha", "grain_mg_ha"):
            continue
        # wind loss in the plan makes two rules read more, one of them instead of the wind erodibility
        told = options({} if name == "wind_erodibility" else {"wind_loss": "12 ton/ac/yr"})
        unknown = ground().assign({name: ground()[name] * np.nan})[list(named.rule.reads)]
        assert np.isnan(named.rule.keep(unknown, told)).all()


@pytest.mark.parametrize("bad", [-1.0, np.inf])
def test_negative_or_infinite_answers_are_refused(bad):
    class Wrong:
        title, reads, source = "wrong", ("stover_mg_ha",), "none"

        def keep(self, stack, options):
            return stack["stover_mg_ha"] * 0 + bad

    with pytest.raises(ContractError, match="negative or infinite"):
        asked(NamedRule("wrong", Wrong()), ground(), options())


def test_a_variable_in_another_unit_is_refused(farm, coefficients):
    wrong = farm.assign(soil_erodibility=farm["soil_erodibility"].assign_attrs(units="ton ac h/(100 ac ft tonf in)"))
    with pytest.raises(ContractError, match="soil_erodibility"):
        limits(wrong, options(), Report())


# ---- exact inversion: the answer, put back, returns the limit --------------------------------------------------------


def cover_after_planting(retention_mg_ha, told, stover=9.0):
    """Forward: what lies flat at harvest, through winter and passes, as a share of the ground."""
    flat = (retention_mg_ha - told.standing() * stover) * 1000
    return cover_after(flat, told.cover_k(), told.number("retention.cover.overwinter"), told.kept(ground()))


@settings(max_examples=examples(50))
@given(
    cover=st.floats(1, 89),
    way=st.sampled_from([None, *WAYS]),
    passes=st.sampled_from(list(COEFFICIENTS.group("tillage"))),
)
def test_ground_cover_inverts_exactly(cover, way, passes):
    told = options({"tillage": (passes, "planter")}, {"cover_pct": cover}).with_method(WAYS[way] if way else None)
    keep, reached = one(ground_cover, told), min(cover, told.most_cover_pct())
    # where the passes cannot leave the cover, all stover stays, or the amount beyond which no more is held to help
    assert keep >= 9.0 or reached == cover
    if reached == cover or keep > 9.0:
        assert 100 * cover_after_planting(keep, told) == pytest.approx(reached, abs=1e-9)


@settings(max_examples=examples(50))
@given(
    ls=st.floats(0.05, 1.4),
    k=st.floats(0.1, 0.5),
    t=st.floats(2, 5),
    r=st.floats(80, 200),
    way=st.sampled_from([None, *WAYS]),
)
def test_water_erosion_inverts_exactly(ls, k, t, r, way):
    told = options({"erosivity": f"{r} US"}).with_method(WAYS[way] if way else None)
    values = {"ls_factor": ls, "soil_erodibility": k * K_SI_PER_US, "soil_loss_tolerance": t * MG_HA_PER_TON_ACRE}
    keep = one(water_erosion, told, **values)
    bare = float(water_erosion.bare_loss(ground(**values), told).values[0, 0])
    if keep == 0:
        assert bare <= t * MG_HA_PER_TON_ACRE * (1 + 1e-12)
        return
    cover = 100 * cover_after_planting(keep, told)
    if cover < told.most_cover_pct() - 0.001:
        loss = bare * np.exp(-told.number("retention.water.cover_effect") * cover)
        assert loss == pytest.approx(t * MG_HA_PER_TON_ACRE, abs=1e-9)


@settings(max_examples=examples(50))
@given(bare=st.floats(1, 60), way=st.sampled_from([None, *WAYS]))
def test_wind_erosion_inverts_exactly(bare, way):
    told = options({"wind_loss": f"{bare} ton/ac/yr"}).with_method(WAYS[way] if way else None)
    keep = one(wind_erosion, told)
    if keep == 0:
        assert bare * told.stubble_ratio() <= 5 * (1 + 1e-12)
        return
    cover = 100 * cover_after_planting(keep, told)
    if cover < told.most_cover_pct() - 0.001:
        loss = bare * told.stubble_ratio() * np.exp(-told.number("retention.wind.cover_effect") * cover)
        assert loss == pytest.approx(5, abs=1e-9)


@settings(max_examples=examples(50))
@given(wind=st.floats(0, 30), ls=st.floats(0, 1.2))
def test_water_and_wind_together_invert_exactly(wind, ls):
    told = options({"wind_loss": f"{wind} ton/ac/yr"})
    keep = one(water_plus_wind, told, ls_factor=ls)
    bare = float(water_erosion.bare_loss(ground(ls_factor=ls), told).values[0, 0]) / MG_HA_PER_TON_ACRE
    if keep == 0:
        assert bare + wind <= 5 * (1 + 1e-12)
        return
    cover = 100 * cover_after_planting(keep, told)
    if cover < told.most_cover_pct() - 0.001:
        b, f = told.number("retention.water.cover_effect"), told.number("retention.wind.cover_effect")
        assert bare * math.exp(-b * cover) + wind * math.exp(-f * cover) == pytest.approx(5, abs=1e-9)


@settings(max_examples=examples(50))
@given(
    stover=st.floats(1, 15),
    years=st.sampled_from(["every year", "4 of 5", "3 of 4", "1 of 2", "1 of 5"]),
    manure=st.floats(0, 2),
    stock=st.floats(20, 150),
)
def test_soil_carbon_inverts_exactly(stover, years, manure, stock):
    told = options({"harvest_years": years, "manure_c_mg_ha": manure})
    ground_there, required = ground(stover_typical_mg_ha=stover, soil_carbon=stock), soil_carbon.required(told)
    table, goal = (float(by(ground_there, told).values[0, 0]) for by in (soil_carbon.by_table, soil_carbon.by_goal))
    f = float(told.crop.harvest_years)
    if table > 0:
        assert (1 - f) * stover + f * table == pytest.approx(required, abs=1e-9)
        assert required == pytest.approx(max(5.25 - 1.13 * manure / 0.445, 0), abs=1e-9)
    if goal > 0:
        cost = 20 * 0.12 * (0.445 * f * (stover - goal) - 1.13 * manure)
        assert cost == pytest.approx(0.05 * stock, abs=1e-9)
    assert one(soil_carbon, told, stover_typical_mg_ha=stover, soil_carbon=stock) == max(table, goal)


@settings(max_examples=examples(50))
@given(stover=st.floats(1, 15), potash=st.floats(5, 200))
def test_plant_food_inverts_exactly(stover, potash):
    told = options(limits={"potash_max": f"{potash} kg/ha"})
    keep = one(nutrient_floor, told, stover_mg_ha=stover)
    if keep > 0:
        assert (stover - keep) * told.number("nutrients.k2o.content") == pytest.approx(potash, abs=1e-9)


# ---- signs: which way every input moves every rule -------------------------------------------------------------------

# rule, input, +1 where more of the input asks for more, bounds
SIGNS_OF_GROUND = [
    (water_erosion, "ls_factor", +1, 0.0, 6.0),
    (water_erosion, "soil_erodibility", +1, 0.0, 0.1),
    (water_erosion, "soil_loss_tolerance", -1, 1.0, 12.0),
    (water_plus_wind, "ls_factor", +1, 0.0, 6.0),
    (water_plus_wind, "soil_erodibility", +1, 0.0, 0.1),
    (water_plus_wind, "soil_loss_tolerance", -1, 1.0, 12.0),
    (wind_erosion, "wind_erodibility", +1, 0.0, 700.0),
    (wind_erosion, "soil_loss_tolerance", -1, 1.0, 12.0),
    (steep_ground, "slope_pct", +1, 0.0, 30.0),
    (erodible_ground, "erodible_class", +1, 0.0, 2.0),
    (soil_carbon, "stover_typical_mg_ha", +1, 0.1, 20.0),
    (soil_carbon, "soil_carbon", -1, 5.0, 300.0),
    (soil_carbon, "manure_carbon", -1, 0.0, 5.0),
    (plan_floor, "grain_mg_ha", -1, 0.0, 15.0),
    (nutrient_floor, "stover_mg_ha", +1, 0.1, 20.0),
]


@pytest.mark.parametrize(
    ("rule", "name", "sign", "low", "high"), SIGNS_OF_GROUND, ids=[f"{r.title}: {n}" for r, n, *_ in SIGNS_OF_GROUND]
)
@settings(max_examples=examples(25))
@given(a=st.floats(0, 1), b=st.floats(0, 1))
def test_sign_of_what_the_ground_is(rule, name, sign, low, high, a, b):
    told = options({"wind_loss": "12 ton/ac/yr"}, {"potash_max": "40 lb/ac", "harvest_from_bu_ac": 150})
    if rule is wind_erosion and name == "wind_erodibility":
        told = options()
    less, more = sorted((low + a * (high - low), low + b * (high - low)))
    step = one(rule, told, **{name: more}) - one(rule, told, **{name: less})
    assert step * sign >= -1e-9 if sign else step == 0


# rule, table of the plan, key, sign, bounds
SIGNS_OF_PLAN = [
    (ground_cover, "limits", "cover_pct", +1, 1, 90),
    (water_erosion, "crop", "erosivity", +1, 1, 500),
    (water_erosion, "limits", "tolerance_fraction", -1, 0.1, 1),
    (water_plus_wind, "crop", "wind_loss", +1, 0, 60),
    (wind_erosion, "crop", "wind_loss", +1, 0, 60),
    (soil_carbon, "crop", "manure_c_mg_ha", -1, 0, 5),
    (soil_carbon, "crop", "cover_crop_c_mg_ha", -1, 0, 5),
    (soil_carbon, "limits", "carbon_loss_max_pct", -1, 1, 30),
    (soil_carbon, "limits", "carbon_sure_pct", +1, 50, 95),
    (steep_ground, "limits", "slope_max_pct", -1, 1, 10),
    (soil_conditioning, "crop", "soil_conditioning_index", -1, -1, 1),
    (plan_floor, "limits", "harvest_from_bu_ac", +1, 0, 300),
]


@pytest.mark.parametrize(
    ("rule", "table", "key", "sign", "low", "high"),
    SIGNS_OF_PLAN,
    ids=[f"{r.title}: {k}" for r, _, k, *_ in SIGNS_OF_PLAN],
)
@settings(max_examples=examples(25))
@given(a=st.floats(0, 1), b=st.floats(0, 1))
def test_sign_of_what_the_plan_says(rule, table, key, sign, low, high, a, b):
    unit = {"erosivity": " US", "wind_loss": " ton/ac/yr"}.get(key)
    less, more = sorted((low + a * (high - low), low + b * (high - low)))
    step = one(rule, options(**{table: {key: f"{more}{unit}" if unit else more}}))
    step -= one(rule, options(**{table: {key: f"{less}{unit}" if unit else less}}))
    assert step * sign >= -1e-9


# rule, handbook key, sign
SIGNS_OF_HANDBOOK = [
    (ground_cover, "retention.cover.k", -1),
    (ground_cover, "retention.cover.overwinter", -1),
    (ground_cover, "tillage.chisel_straight", -1),
    (soil_carbon, "retention.carbon.factor", +1),
    (soil_carbon, "retention.carbon.content", +1),
    (soil_carbon, "carbon.kept_20_years", +1),
    (soil_carbon, "carbon.stock_unknown", -1),
    (soil_carbon, "retention.carbon.continuous_corn.conservation", +1),
    (water_erosion, "retention.water.cover_effect", -1),
    (water_erosion, "retention.water.bare_tilled", +1),
    (water_erosion, "retention.water.erodibility_factor", +1),
    (water_erosion, "retention.cover.k", -1),
    (wind_erosion, "retention.wind.cover_effect", -1),
    (wind_erosion, "retention.wind.ratio_max", -1),
    (water_plus_wind, "retention.wind.cover_effect", -1),
    (water_plus_wind, "retention.water.cover_effect", -1),
    (nutrient_floor, "nutrients.k2o.content", +1),
]


@pytest.mark.parametrize(
    ("rule", "key", "sign"), SIGNS_OF_HANDBOOK, ids=[f"{r.title}: {k}" for r, k, _ in SIGNS_OF_HANDBOOK]
)
@settings(max_examples=examples(20))
@given(a=st.floats(0.5, 1.5), b=st.floats(0.5, 1.5))
def test_sign_of_the_handbook(rule, key, sign, a, b):
    usual = COEFFICIENTS.value(key)
    told = {"crop": None, "limits": {"potash_max": "40 lb/ac"}}
    if rule is water_plus_wind:
        told["crop"] = {"wind_loss": "10 ton/ac/yr"}
    less, more = (
        one(rule, options(**told, coefficients=COEFFICIENTS.with_plan({key: usual * f})), ls_factor=0.9)
        for f in sorted((a, b))
    )
    assert (more - less) * sign >= -1e-9


# ---- single rules ----------------------------------------------------------------------------------------------------


def test_where_no_amount_suffices_all_stays():
    assert one(water_erosion, ls_factor=30.0) >= 9.0
    assert one(water_erosion, ls_factor=30.0, stover_mg_ha=25.0) >= 25.0
    assert water_erosion.message(25.0, 25.0, options()).key == "water_erosion.all"


def test_steeper_ground_than_the_plan_allows_keeps_all():
    assert one(steep_ground, slope_pct=8.0) == 0
    assert one(steep_ground, slope_pct=8.01) == 9.0


def test_erodible_ground_is_what_the_screen_or_the_list_says():
    assert one(erodible_ground, erodible_class=np.nan, ls_factor=0.75) == 0  # 160 x .32 x .75 / 5 = 7.7
    assert one(erodible_ground, erodible_class=np.nan, ls_factor=0.80) == 9.0  # 8.2
    assert (
        one(erodible_ground, erodible_class=0.0, ls_factor=3.0) == 9.0
    )  # the list goes by map unit, the screen by cell
    assert one(erodible_ground, erodible_class=1.0, ls_factor=0.1) == one(erodible_ground, erodible_class=2.0) == 9.0
    assert not erodible_ground.in_force(options(limits={"take_erodible": True}))


def test_plan_floor_takes_the_strictest_of_its_three():
    told = options(limits={"retention_min": "2 Mg/ha", "removal_max": "4 Mg/ha"})
    assert one(plan_floor, told) == pytest.approx(5.0)
    assert one(plan_floor, told, stover_mg_ha=5.0) == pytest.approx(2.0)
    poor = options(limits={"harvest_from_bu_ac": 180})
    assert one(plan_floor, poor, grain_mg_ha=179 * MG_HA_DRY_PER_BU_ACRE) == 9.0
    assert one(plan_floor, poor, grain_mg_ha=181 * MG_HA_DRY_PER_BU_ACRE) == 0.0


def test_contour_rows_lower_water_erosion_only_within_their_length():
    contour = options({"contoured": True})
    assert one(water_erosion, contour) < one(water_erosion)
    long = {"upslope_area_m2": 5000.0}  # 500 m of 10 m wide ground: longer than any class allows
    assert one(water_erosion, contour, **long) == one(water_erosion, **long)
    unknown = ground().drop_vars("upslope_area_m2")
    assert float(water_erosion.keep(unknown, contour).values[0, 0]) == one(water_erosion)


def test_standing_stubble_helps_against_wind_and_not_as_cover():
    told = options({"tillage": ("planter_no_till",)})
    tall = told.with_method(WAYS["single_pass"])
    assert one(wind_erosion, tall) < one(ground_cover, tall)
    assert tall.stubble_ratio() < told.with_method(WAYS["rake_bale"]).stubble_ratio() < told.stubble_ratio() == 1
    assert one(ground_cover, tall) > one(ground_cover, told)
    shredded = told.with_method(WAYS["chop_and_rake"])
    assert shredded.standing() == 0
    assert one(ground_cover, shredded) == one(ground_cover, told)


def test_plowing_lays_the_stubble_and_asks_for_more_carbon():
    plowed = options({"tillage": ("moldboard", "planter")}).with_method(WAYS["single_pass"])
    assert plowed.standing() == 0
    assert soil_carbon.required(plowed) == 7.58
    assert soil_carbon.required(options()) == 5.25
    assert soil_carbon.required(options({"rotation": "corn-soybean"})) == 7.90


def test_ground_without_full_width_tillage_starts_from_less_loss():
    assert one(water_erosion, options({"tillage": ("planter_no_till",)})) < one(water_erosion)


@pytest.mark.parametrize(
    ("rule", "table", "key", "value"),
    [
        (plan_floor, "limits", "retention_min", "1 ton/ac"),
        (plan_floor, "limits", "removal_max", "1 ton/ac"),
        (plan_floor, "limits", "harvest_from_bu_ac", 150),
        (nutrient_floor, "limits", "potash_max", "40 lb/ac"),
        (nutrient_floor, "limits", "phosphate_max", "9 lb/ac"),
        (soil_conditioning, "crop", "soil_conditioning_index", 0.3),
        (water_plus_wind, "crop", "wind_loss", "4 ton/ac/yr"),
    ],
)
def test_rules_of_the_plan_are_in_force_only_when_the_plan_asks(rule, table, key, value):
    assert not rule.in_force(options())
    assert rule.in_force(options(**{table: {key: value}}))


def test_conditioning_index_below_nothing_forbids():
    assert one(soil_conditioning, options({"soil_conditioning_index": -0.1})) == 9.0
    assert one(soil_conditioning, options({"soil_conditioning_index": 0.0})) == 0.0


def test_what_the_plan_gives_prints_as_given():
    floors = {"potash_max": "60.5 lb/ac", "phosphate_max": "12 kg/ha"}
    said = nutrient_floor.message(1, 9, options(limits=floors))
    us, metric = (render(said, system) for system in ("us", "metric"))
    assert us == "The plan allows at most 60.5 lb/ac of potash and 11 lb/ac (12 kg/ha) of phosphate to leave."
    assert metric == "The plan allows at most 68 kg/ha (60.5 lb/ac) of potash and 12 kg/ha of phosphate to leave."
    own = {"retention_min": "1.25 ton/ac", "removal_max": "4.4 t/ha", "harvest_from_bu_ac": 120}
    said = plan_floor.message(1, 9, options(limits=own))
    assert render(said, "us") == (
        "The plan asks for at least 1.25 ton/ac to stay, at most 2.0 ton/ac (4.4 t/ha) to leave and all to stay where "
        "corn yields less than 120 bu/ac."
    )
    assert "2.8 t/ha (1.25 ton/ac) to stay" in render(said, "metric")
    assert "less than 6.4 t/ha (120 bu/ac)" in render(said, "metric")
    assert "12.5%" in render(steep_ground.message(1, 9, options(limits={"slope_max_pct": 12.5})), "us")
    assert "32.5%" in render(ground_cover.message(1, 9, options(limits={"cover_pct": 32.5})), "us")


@pytest.mark.parametrize(
    ("keep", "ground"),
    [(0.05, "a little of this ground"), (3.0, "about 33% of this ground"), (8.99, "all of this ground")],
)
def test_a_rule_that_forbids_says_on_how_much_ground(keep, ground):
    for rule in (concentrated_flow, erodible_ground, steep_ground):
        assert ground in render(rule.message(keep, 9.0, options()), "us").lower()
