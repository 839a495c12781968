"""An own handbook number of 0 is either a problem with place and cure, or it can be computed with."""

from __future__ import annotations

import warnings
from functools import cache
from pathlib import Path

import geopandas as gpd
import made_field
import numpy as np
import pandas as pd
import pytest
import shapely
import xarray as xr
from affine import Affine
from frozen_farms import CHANGES, CONTRACT, merged
from long_run import first_short
from made_weather import as_autumns, made_days
from odc.geo.geobox import GeoBox
from small_farm import CRS, SOUTH, WEST, add_surroundings, write_small_farm

from stovergeo import bales, residue, siting, supply, terrain, window, yieldmap, zones
from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.stack import new_stack, put
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.residue.carbon_stock import goal, tier2
from stovergeo.residue.carbon_stock import inputs as carbon_inputs
from stovergeo.residue.carbon_stock.needs import Site, carbon_needs
from stovergeo.residue.carbon_stock.opinion import opinion
from stovergeo.workflow import run_season
from stovergeo.workflow.checks import own_handbook

HANDBOOK = load_handbook()
KEYS = sorted(HANDBOOK)
SIDE = 120.0
OUTLINE = shapely.box(WEST, SOUTH, WEST + SIDE, SOUTH + SIDE)
FIELD = gpd.GeoDataFrame({"field_id": ["F1"], "name": ["home"], "area_ha": [1.44]}, geometry=[OUTLINE], crs=CRS)
NEED = {"herd": [{"name": "cows", "head": 6, "months": ["Nov", "Dec"]}], "contract": [CONTRACT | {"dry_mass": "3 ton"}]}


def plan_of(**sections: object) -> Plan:
    """Return a plan whose layers are never read."""
    crop = {
        "rotation": "continuous corn",
        "tillage": ["planter_no_till"],
        "cut_height": "14 in",
        "wind_loss": "8 ton/ac/yr",
    }
    limits = {"potash_max": "60 lb/ac", "phosphate_max": "12 lb/ac", "cover_pct": 30}
    layers = {"fields": {"path": "f.gpkg"}, "yield_raster": {"path": "y.tif", "unit": "bu/ac at 15.5 %"}}
    farm = {"name": "small", "season": 2026}
    plan = {"farm": farm, "layers": layers, "crop": crop, "limits": limits, "odds": {"samples": 3}, "need": NEED}
    return plan_from(plan | sections, Path(), Report())


def ground() -> xr.Dataset:
    """Return twelve by twelve cells of a rolling field, with all that rules and site criteria read."""
    y, x = np.mgrid[0:12, 0:12].astype(float)
    grid = GeoBox((12, 12), Affine(10, 0, WEST, 0, -10, SOUTH + SIDE), CRS)
    same = {"field_number": 0, "grain_error_mg_ha": 0.5, "aspect_deg": 180, "ponding_m": 0, "wetness": 6, "hydric": 0}
    same |= {"drainage_height_m": 5, "concentrated_flow": 0, "sun_fraction": 1, "inside_property": 1, "clay_pct": 20}
    same |= {"drainage_class": 3, "water_table_cm": 200, "flooding_class": 0, "ponding_class": 0, "erodible_class": 0}
    same |= {"soil_loss_tolerance": 11, "upslope_area_m2": 400}
    unknown = np.where(x < 2, np.nan, 1.0)
    stack = put(new_stack(grid), **{name: np.full(x.shape, float(value)) for name, value in same.items()})
    return put(
        stack,
        elevation_m=300 + np.sin(x) + np.cos(y),
        surface_m=300 + np.sin(x) + np.cos(y),
        grain_mg_ha=9 + np.sin(y),
        slope_pct=1 + x / 3,
        ls_factor=0.2 + x / 20,
        soil_erodibility=0.04 * unknown,
        wind_erodibility=190 * unknown,
    )


GROUND = ground()
TABLE = pd.DataFrame({"zone_id": ["F1-a"], "field_id": ["F1"], "method": ["rake_bale"]})
TABLE = TABLE.assign(removal_mg=3.0, removal_mg_ha=2.0)


def gather(plan: Plan, coefficients: Handbook) -> None:
    """What must stay with every tillage pass in the plan, what each method takes, and the nutrients in it."""
    crop = plan.crop.model_copy(update={"tillage": tuple(HANDBOOK.group("tillage"))})
    options = residue.RuleOptions(crop, plan.limits, coefficients)
    stack = residue.limits(GROUND, options, Report())
    ways = residue.methods(coefficients, None, crop.cut_height_m)
    residue.zone_methods(stack, TABLE, np.zeros(GROUND["slope_pct"].shape), options, {"rake_bale": ways["rake_bale"]})
    residue.nutrients(TABLE, ways, coefficients)


def bale(plan: Plan, coefficients: Handbook) -> None:
    """Bales of every shape, setting and condition: made, wrapped, kept, needed, hauled and paid for."""
    ways = residue.methods(coefficients)
    for form in ({"size": "5x6"}, {"size": "5x6", "setting": "tight", "condition": "spring"}, {"size": "3x4x8"}):
        own = plan_of(bale=form, storage={"place": "tarped rows"} if form["size"] == "3x4x8" else {})
        one = bales.bale_of(own.bale, ways["rake_bale"], coefficients)
        bales.wrap_table(own.storage, own.wrap, one, coefficients, 2026)
        bales.need_table(own.need, own.storage, own.wrap, one, coefficients, 2026)
        bales.bale_plan(TABLE, ways, own, coefficients)
        bales.crew_notes(TABLE, ways, own, coefficients)
        supply.inputs.capacity_of(own, dict.fromkeys(ways, one), coefficients)
        supply.inputs.truck_load(one, coefficients)
    yard = gpd.GeoDataFrame({"yard_id": ["Y1"]}, geometry=[shapely.box(WEST, SOUTH, WEST + 20, SOUTH + 20)], crs=CRS)
    hauling = supply.haul_ground(GROUND, {}, supply.haul_options(coefficients), FIELD)
    supply.haul_distances(FIELD.assign(zone_id="F1-a"), yard, hauling)


def lie(plan: Plan, coefficients: Handbook) -> None:
    """Water, sun and LS."""
    height = GROUND["elevation_m"]
    terrain.water(height, coefficients=coefficients)
    terrain.ls_by_class(GROUND["slope_pct"], coefficients)
    place = terrain.SunOptions(latitude=42.0, longitude=-93.0, altitude_m=300.0, sectors=16)
    terrain.season_sun(height + 2, height, "2026-11-01", "2026-11-03", place, coefficients=coefficients)


@cache
def points_of_a_field() -> gpd.GeoDataFrame:
    """Return the records of two machines, with a delay and heights."""
    points = made_field.harvest(made_field.patchy, width_m=100.0, height_m=120.0, machines=(1.0, 0.9), delay_s=4.0)
    return points.assign(height_m=300 + 0.01 * points.geometry.x)


def records(plan: Plan, coefficients: Handbook) -> None:
    """The grain map, the ground from heights, and the comparison of years, of a small field."""
    points = points_of_a_field()
    cleaned = yieldmap.clean_points(points, coefficients, Report())
    outline = shapely.box(*points.total_bounds)
    field = gpd.GeoDataFrame({"field_id": ["F1"], "name": ["a"], "area_ha": [1.0]}, geometry=[outline], crs=points.crs)
    stack = new_stack(GeoBox.from_bbox(outline.bounds, crs=points.crs.to_wkt(), resolution=10))
    surface = yieldmap.grain_surface(cleaned.points, field, stack, coefficients, removed=cleaned.removed)
    one_field = xr.zeros_like(surface.grain).assign_attrs(units="1")
    yieldmap.compare_years({"a": surface.grain, "b": surface.grain}, one_field, coefficients)
    yieldmap.ground_from_points(points, stack, coefficients)


def divide(plan: Plan, coefficients: Handbook) -> None:
    """Zones of a field."""
    spare = np.where(GROUND["slope_pct"] > 3, 3.0, 0.5)
    stack = put(GROUND, stover_mg_ha=9 + 0 * spare, retention_mg_ha=9 - spare, removable_mg_ha=spare)
    zones.make_zones(stack, FIELD, working_width_m=9.0, min_zone_ha=0.3, options=zones.zone_options(coefficients))


def yards(plan: Plan, coefficients: Handbook) -> None:
    """Places for stacks, with every criterion in use."""
    own = plan_of(yards={"most": 1, "min_bales": 5, "accept_base": True, "weights": {"visibility": 1, "neighbors": 1}})
    house = gpd.GeoDataFrame(
        {"name": ["a"]}, geometry=[shapely.box(WEST + 60, SOUTH + 60, WEST + 66, SOUTH + 66)], crs=CRS
    )
    around = {"dwellings": house, "trees": house.assign(height_m=8.0), "roads": FIELD.boundary.to_frame("geometry")}
    stack = put(GROUND, stover_mg_ha=np.full((12, 12), 9.0), removable_mg_ha=np.full((12, 12), 3.0))
    one = bales.bale_of(own.bale, None, HANDBOOK)
    stack, ratings = siting.rate_ground(stack, around, own.yards, one, coefficients, Report(), pattern="single row")
    siting.find_yards(stack, ratings, 20, own.yards, one, coefficients)


def hold_carbon(plan: Plan, coefficients: Handbook) -> None:
    """The carbon a soil needs, what crops bring, and what harvest costs."""
    of = {key: coefficients.value(f"carbon.{key}") for key in coefficients.group("carbon")}
    year = np.linspace(5, 20, 12)
    site = Site(year, np.full(12, 11.0), 5 * year, 42.0, year > 12, 25.0, 20.0)
    stock = of["stock_unknown"] * of["stock_factor"]
    for tillage in ("full", "reduced", "no_till", "unknown"):
        carbon_needs(site, stock, tier2.tier2_parameters(coefficients, tillage), month=10)
    carbon_inputs.below_ground(of["grain_content"], of["soybean_content"], of["below_ground.corn"])
    carbon_inputs.residue_of_grain(of["below_ground.soybean"], of["soybean_harvest_index"])
    kept = goal.lognormal(np.array([0.1, 0.9]), of["kept_20_years"], 0.7)
    goal.removal_for_goal(0.05, stock, 1.0, 0.0, kept, content=0.445)
    goal.goal_probability(goal.cost_mg_ha(3.0, 1.0, 0.0, kept, 0.445), stock, 0.05)
    opinion(2.0, 3.0, 5.25, 0.35, outside=False)


def bale_window(plan: Plan, coefficients: Handbook) -> None:
    """Three autumns of one field as each method leaves it, the balers wanted, and what a week's wait costs."""
    past = as_autumns(made_days(2018, 2020))
    for method in ("combined", "shredded", "windrowed"):
        one = window.FieldToBale("home", area_ha=10, bales=80, bale_dry_kg=480, method=method, combined=20)
        for shape in ("round", "square"):
            crew = window.Crew(shape=shape, balers=1, limit_pct=20.0, windrow_m=6.1)
            found = window.replay(past, [one], crew, coefficients, draws=4)
            assert np.isfinite(found.middle.made).all()
            assert 0 <= window.chance(found, 100).value <= 1
            window.fit_days(window.setting(past, [one], crew, coefficients))
            window.balers_needed(past, [one], crew, coefficients, 100, (1, 2), 2)
        window.daily_moisture(past, 47.0, method, 20, coefficients)


BY_TOPIC = {
    "window": bale_window,
    "carbon": hold_carbon,
    **dict.fromkeys(("bale", "wrap", "cost", "demand", "haul", "machine", "storage"), bale),
    **dict.fromkeys(("methods", "residue", "retention", "tillage", "flattening", "nutrients"), gather),
    **dict.fromkeys(("yards", "setbacks"), yards),
    "terrain": lie,
    "yieldmap": records,
    "yields": lambda plan, coefficients: None,  # spreads, added to others; the long walk plans with them
    "zones": divide,
}


@pytest.mark.parametrize("topic", first_short(sorted({key.split(".")[0] for key in KEYS}), 3))
def test_a_zero_is_refused_or_computed_with(topic: str) -> None:
    wrong = []
    for key in [k for k in KEYS if k.startswith(f"{topic}.")]:
        report = Report()
        coefficients = own_handbook(plan_of(handbook={key: 0}), report)
        if report.refused:
            (problem,) = report.refused
            assert (problem.code, problem.where) == ("plan.bad_value", f"plan file, handbook.{key}")
            assert problem.cure
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                BY_TOPIC[topic](plan_of(), coefficients)
        except (InputError, bales.OutsideGroundError):
            pass  # a plan in which nothing can be kept or sited is a problem with a code of its own
        except Exception as error:
            wrong.append(f"{key}: {type(error).__name__}: {error}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.long
@pytest.mark.parametrize("part", range(2))
def test_a_season_is_refused_or_planned_with_a_zero(tmp_path: Path, part: int) -> None:
    """Forty keys of those that a season uses, other ones each time; what was tried is named where one fails."""
    base = add_surroundings(tmp_path, write_small_farm(tmp_path, side_m=240.0, cell_m=20.0), 1, side_m=240.0)
    own = {k: CHANGES["own_numbers"][k] for k in ("crop", "limits", "bale", "money", "landowner")}
    base = merged(base, own | {"need": NEED, "yards": {"most": 1, "min_bales": 5}, "odds": {"samples": 6}})
    used = {c.key for c in run_season(plan_from(base, tmp_path, Report()), Report()).coefficients}
    wrong = []
    for key in np.random.default_rng().choice(sorted(used)[part::2], 20, replace=False):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                run_season(plan_from(merged(base, {"handbook": {key: 0}}), tmp_path, Report()), Report())
        except InputError:
            pass
        except Exception as error:
            wrong.append(f"{key}: {type(error).__name__}: {error}")
    assert not wrong, "\n".join(wrong)
