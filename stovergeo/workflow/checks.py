"""Everything that can be wrong with a plan and its layers, found before any number is computed.

`stovergeo check` and a season begin alike, with `get_ready`: what one refuses the other refuses too.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from odc.geo.geobox import GeoBox
from pyproj import Transformer

from stovergeo import bales, residue, siting, terrain, yieldmap
from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.contracts import STEPS
from stovergeo.core.errors import ContractError, Report
from stovergeo.core.messages import Catalog
from stovergeo.core.nearest import unknown_value
from stovergeo.inputs.farm_layers import FarmLayers, FarmSize
from stovergeo.inputs.grid import farm_grid
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.read import read_layers
from stovergeo.workflow.climate import PlacedClimate, place_climate
from stovergeo.workflow.plausible_layers import check_layers
from stovergeo.workflow.plausible_plan import check_baling_day, check_ranges
from stovergeo.workflow.run_size import ReportSize, fits, need_of
from stovergeo.workflow.weather import PastAutumns, past_autumns
from stovergeo.workflow.weighed import check_weighed

message = Catalog("stovergeo.workflow")
#: an own number so many times outside the handbook's spread is reported: it may be in another unit (judgment)
FAR_OFF: Final = 3.0


@dataclass(frozen=True, slots=True)
class ReadyCluster:
    """What the season of a cluster of fields is made from."""

    plan: Plan
    coefficients: Handbook  #: with the plan's own numbers
    farm: FarmLayers  #: of this cluster, in its own CRS
    fields: gpd.GeoDataFrame  #: as given, or drawn from the yield points
    grid: GeoBox


@dataclass(frozen=True, slots=True)
class Ready:
    """What a season is made from, nothing wrong with it."""

    plan: Plan
    coefficients: Handbook
    farm: FarmLayers  #: of all clusters, in the farm's CRS
    fields: gpd.GeoDataFrame
    clusters: tuple[ReadyCluster, ...]
    climate: PlacedClimate
    autumns: PastAutumns | None  #: None without a weather layer


def get_ready(plan: Plan, report: Report, tell: ReportSize) -> Ready:
    """Check the plan, read its layers and check the two against each other.

    Raises
    ------
    InputError
        With every problem found, when the season cannot be planned.
    """
    coefficients = own_handbook(plan, report)
    rules = check_plan(plan, coefficients, report)
    farm = read_layers(plan, report, _sized(plan, report, tell))
    check_rules_have_data(rules, farm, report)
    fields = farm.fields if farm.fields is not None else _drawn_fields(farm, report)
    if fields is None:
        report.stop_if_refused()
    assert fields is not None
    clusters = []
    for part in farm.clusters:
        mine = fields if part.fields is None else part.fields
        owned = None if farm.parts else part.surroundings.get("property")  # far apart, it may hold all of them
        grid = farm_grid(mine, owned, part.crs, plan.farm.cell_m, plan.farm.margin_m)
        clusters.append(ReadyCluster(plan, coefficients, part, mine, grid))
        check_sunshine(plan, grid, report)
        check_baling_day(plan, _latitude(grid), report)
        check_layers(plan, part, mine, _latitude(grid), report)
        check_cells(mine, grid, report)
    check_names(fields, report)
    check_stated_yields(plan, fields, report)
    check_zone_size(plan, fields, report)
    check_own_numbers(plan, fields, report)
    residue.check_counts(plan.crop, fields["name"], coefficients, report)
    climate = place_climate(plan, [lonlat(one.grid) for one in clusters], coefficients, report)
    place = (*lonlat(clusters[0].grid), _height_m(farm))
    autumns = past_autumns(climate.plan, fields, place, coefficients, report)
    check_weighed(plan, fields, [part.points for part in farm.clusters if part.points is not None], report)
    report.stop_if_refused()
    return Ready(
        climate.plan,
        coefficients,
        farm,
        fields,
        tuple(replace(one, plan=climate.plan) for one in clusters),
        climate,
        autumns,
    )


def _height_m(farm: FarmLayers) -> float:
    """Return the mean height of the farm's ground, m; NaN where it is not known."""
    known = [float(part.elevation.mean()) for part in farm.clusters if part.elevation is not None]
    return sum(known) / len(known) if known else math.nan


def check_plan(plan: Plan, coefficients: Handbook, report: Report) -> list[residue.NamedRule]:
    """Report everything wrong with a plan that can be seen without its layers; return the retention rules in force.

    Parameters
    ----------
    plan : Plan
    coefficients : Handbook
        With the plan's own numbers.
    report : Report
    """
    rules = residue.check_rules(residue.RuleOptions(plan.crop, plan.limits, coefficients), report)
    bales.storable_methods(
        residue.methods(coefficients, plan.gather.methods, plan.crop.cut_height_m), plan, coefficients, report
    )
    siting.check_yards(plan.yards, coefficients, report)
    check_ranges(plan, report)
    if plan.farm.currency != "$":
        said = message("money.dollars", currency=plan.farm.currency)
        report.add("money.dollars", "plan file, farm.currency", said)
    return rules


def check_rules_have_data(rules: list[residue.NamedRule], farm: FarmLayers, report: Report) -> None:
    """Report that no retention rule in force has the data it reads."""
    unknown = set.intersection(*(_unknown_variables(part) for part in farm.clusters))
    if rules and all(unknown & set(named.rule.reads) for named in rules):
        report.add("residue.no_rule", "plan file, limits.rules", "No retention rule could be checked.")


def _unknown_variables(farm: FarmLayers) -> set[str]:
    """Return the variables that no stack of these layers can hold."""
    made = {step.name: set(step.makes) for step in STEPS}
    unknown: set[str] = set()
    if not farm.earlier:
        unknown |= made["yieldmap.compare_years"]
    if farm.elevation is None:
        unknown |= made["terrain.water"] - made["terrain.ls_by_class"]
        if farm.points is None or "height_m" not in farm.points:
            unknown |= made["terrain.slope_aspect"] | made["terrain.ls_by_class"] | made["terrain.season_sun"]
            unknown |= {"elevation_m", "surface_m"}
    return unknown


def check_sunshine(plan: Plan, grid: GeoBox, report: Report) -> None:
    """Report hours of sunshine that the days of this farm do not have."""
    if plan.storage.sunshine_h is None:
        return
    try:
        terrain.cloud_from_sunshine(dict(enumerate(plan.storage.sunshine_h, start=1)), _latitude(grid))
    except ContractError as error:
        report.add("plan.bad_value", "plan file, storage.sunshine_h", f"{error}.")


def lonlat(grid: GeoBox) -> tuple[float, float]:
    """Return longitude and latitude of a grid's middle, degrees."""
    x, y = grid.boundingbox.polygon.geom.centroid.coords[0]
    longitude, latitude = Transformer.from_crs(grid.crs, 4326, always_xy=True).transform(x, y)
    return float(longitude), float(latitude)


def _latitude(grid: GeoBox) -> float:
    return lonlat(grid)[1]


def check_names(fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report names that several fields have, be it in other letters or with other blanks."""
    plain = fields["name"].map(lambda name: " ".join(str(name).split()).casefold())
    for _, alike in fields["name"].groupby(plain, sort=False):
        if len(alike) > 1:
            said = message("hint.same_name", count=len(alike), names=tuple(dict.fromkeys(f"{n!r}" for n in alike)))
            report.add("fields.same_name", "fields", said)


def check_stated_yields(plan: Plan, fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report stated yields that no field has the name for."""
    names = [str(name) for name in fields["name"]]
    for name in plan.yields.by_field:
        if name not in names:
            report.add("yield.no_such_field", f"plan file, yields.by_field.{name}", unknown_value(name, names))


def check_zone_size(plan: Plan, fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report a smallest zone that is larger than every field: no field is divided then."""
    least, largest = plan.gather.min_zone_ha, float(fields["area_ha"].max())
    if "min_zone_ha" in plan.gather.model_fields_set and least > largest:
        said = message("hint.min_zone", given=least, largest=largest)
        report.add("plan.unusual", "plan file, gather.min_zone", said)


def check_cells(fields: gpd.GeoDataFrame, grid: GeoBox, report: Report) -> None:
    """Report fields in which the middle of no cell lies: nothing can be said of them."""
    columns, rows = (grid.coordinates[name].values for name in ("x", "y"))
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        west, south, east, north = shape.bounds
        x, y = np.meshgrid(columns[(columns >= west) & (columns <= east)], rows[(rows >= south) & (rows <= north)])
        if not shapely.contains_xy(shape, x.ravel(), y.ravel()).any():
            said = message("unknown.no_cell", cell=abs(float(grid.resolution.x)))
            report.add("fields.no_cell", f"fields, {str(name)!r}", said)


def check_own_numbers(plan: Plan, fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report soil tests and manure of fields that no field has the name for."""
    names = [str(name) for name in fields["name"]]
    given = {"soil_test.by_field": plan.soil_test.by_field, "crop.manure_c_by_field": plan.crop.manure_c_by_field}
    for key, by_field in given.items():
        for name in set(by_field) - set(names):
            report.add("fields.no_such_field", f"plan file, {key}.{name}", unknown_value(name, names))


def own_handbook(plan: Plan, report: Report) -> Handbook:
    """Return the handbook with the plan's own numbers; unknown keys and numbers far off are reported, not used."""
    given = load_handbook()
    own = {}
    for key, number in plan.handbook.items():
        where = f"plan file, handbook.{key}"
        if key not in given:
            report.add("plan.unknown_key", where, unknown_value(key, given))
            continue
        known = given[key]
        said = f"It says {number:g} {known.unit}; the handbook {known.low:g} to {known.high:g}."
        if not known.is_possible(number):
            cure = "Give a number above 0" if known.positive else "Correct the number, its sign at least"
            report.add("plan.bad_value", where, said, f"{cure}; or take it out.")
            continue
        if not known.low / FAR_OFF <= abs(number) <= known.high * FAR_OFF and known.low > 0:
            report.add("plan.far_from_handbook", where, said)
        own[key] = number
    return load_handbook(own | plan.window.own_numbers)


def report_idle_numbers(plan: Plan, coefficients: Handbook, report: Report) -> None:
    """Report own numbers that a run, now at its end, has not looked up for any of its results."""
    for key in plan.handbook:
        if key in coefficients and not coefficients.was_asked(key):
            said = f"{plan.handbook[key]:g} in place of the handbook's number changes nothing in this plan."
            report.add("plan.idle_number", f"plan file, handbook.{key}", said)


def _drawn_fields(farm: FarmLayers, report: Report) -> gpd.GeoDataFrame | None:
    if farm.points is None:
        return None  # its refusal stands in the report
    try:
        return yieldmap.boundary_from_points(farm.points)
    except ContractError as error:
        report.add("fields.not_drawn", "yield_points", f"{str(error).capitalize()}.")
        return None


def _sized(plan: Plan, report: Report, tell: ReportSize) -> Callable[[FarmSize], bool]:
    def judge(size: FarmSize) -> bool:
        need = need_of(size, plan.farm.cell_m)
        tell(need)
        return fits(need, plan, report)

    return judge
