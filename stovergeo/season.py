"""One season of one farm, from plan file to result: the only module that knows the whole way.

`run_season` is a pure function of the plan file and its layers. Words are asked for in metric
units everywhere; the printers turn the quantities in them into the reader's units.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from pyproj import Transformer

from stovergeo import bales, layers, residue, story, supply, terrain, yards, yieldmap, zones
from stovergeo.errors import ContractError, Report
from stovergeo.handbook import Handbook, load_handbook
from stovergeo.handbook.book import UnknownCoefficientError
from stovergeo.layers import FarmLayers
from stovergeo.plan_file import Plan, read_plan
from stovergeo.result import SeasonResult
from stovergeo.share import add_answer, plan_key, read_answer
from stovergeo.stack import grid_of, new_stack, put

Step = Callable[[str], None]
_BARE_MONTHS: Final = (11, 12, 1, 2, 3, 4)  # deciduous trees of the corn lands stand without leaves


def quiet(what: str) -> None:
    """Take note of no step: the default for callers that show no progress."""


def sample_plan_path() -> Path:
    """Return the plan file of the sample farm, from the installed package or from a checkout."""
    shipped = Path(str(files("stovergeo"))) / "sample_layers" / "plan.toml"
    return shipped if shipped.is_file() else Path(__file__).parents[1] / "sample_layers" / "plan.toml"


def check_season(plan_path: Path, report: Report) -> list[layers.Proposal]:
    """Read the plan and every layer, compute nothing, list all problems; return proposals for column roles."""
    plan = read_plan(plan_path, report)
    _book_of(plan, report)
    layers.read_layers(plan, report)
    return layers.propose_roles(plan, report)


def run_season(plan: Plan | Path, report: Report, step: Step = quiet) -> SeasonResult:
    """Plan one season.

    Parameters
    ----------
    plan : Plan or Path
        A plan, or the path of a plan file.
    report : Report
        Collects every problem met on the way.
    step : callable, optional
        Told what is being done, for a progress line.

    Raises
    ------
    InputError
        When what was brought cannot be used; carries every problem found up to there.
    """
    step("Reading the plan and its layers")
    plan = plan if isinstance(plan, Plan) else read_plan(plan, report)
    book = _book_of(plan, report)
    farm = layers.read_layers(plan, report)
    report.stop_if_refused()
    not_checked = dict(farm.not_checked)

    step("Making the grain map")
    fields = farm.fields if farm.fields is not None else yieldmap.boundary_from_points(farm.points)
    ground = farm.surroundings.get("property")
    grid = layers.farm_grid(fields, ground, farm.crs, plan.farm.cell_m, plan.farm.margin_m)
    stack = layers.put_layers(new_stack(grid), farm, fields)
    grain = _grain(stack, farm, fields, book, report)
    stack = grain.stack

    step("Slope, water and the season's sun")
    stack, sun = _with_terrain(stack, plan, farm, book, not_checked)

    step("What must stay on the ground")
    options = residue.RuleOptions(plan.crop, plan.limits, book)
    stack = residue.limits(stack, options, report)
    all_ways = residue.methods(book, plan.gather.methods, plan.crop.cut_height_m)
    ways = bales.storable_methods(all_ways, plan, book, report)
    report.stop_if_refused()

    step("Drawing zones, and the odds that each limit holds")
    drawn_zones = zones.make_zones(
        stack,
        fields,
        working_width_m=plan.gather.working_width_m,
        smallest_zone_ha=plan.gather.smallest_zone_ha,
        options=zones.zone_options(book),
        units="metric",
    )
    labels = zones.zone_numbers(drawn_zones, grid)
    draws = residue.draw_limits(stack, drawn_zones, labels, options, plan.odds, all_ways)
    offers = residue.zone_methods(
        stack, drawn_zones, labels, options, all_ways, drawn=draws, cautious_pct=plan.odds.cautious_pct, units="metric"
    )

    step("Finding stack yards")
    offers = _without_unstorable(offers, bales.why_not_storable(all_ways, plan, book))
    usual = residue.recommended(offers)
    bale = bales.bale_of(plan.bale, ways[_most_used(usual, ways)], book)
    value = plan.money.stover_value_per_mg
    season = plan.farm.season
    need = bales.need_table(plan.need, plan.storage, plan.wrap, bale, book, season, value_per_mg=value)
    around = farm.surroundings if farm.no_go is None else {**farm.surroundings, "no_go": farm.no_go}
    stack, ratings = yards.rate_ground(stack, around, plan.yards, bale, book, report, pattern=plan.storage.pattern)
    all_gathered = zones.assign_methods(drawn_zones, offers, usual, units="metric")
    offered = int(bales.bale_plan(all_gathered, ways, plan, book)["bales"].sum())
    wanted = min(offered, int(need["bales"].sum())) if len(need) else offered
    found = yards.find_yards(stack, ratings, wanted, plan.yards, bale, book, units="metric")
    for words in ratings.not_checked.values():
        what, _, why = words.partition(": ")
        not_checked.setdefault(what, why or words)

    step("Choosing zones, methods, yards and wraps together")
    hauling = supply.haul_ground(stack, farm.surroundings, supply.haul_options(book), fields, farm.no_go)
    distance = supply.haul_distances(drawn_zones, found.yards, hauling)
    problem = supply.supply_problem(plan, book, drawn_zones, offers, ways, found.yards, distance, need, stack=stack)
    titles = {name: way.title for name, way in ways.items()}
    choice = supply.choose(problem, titles=titles)
    chosen = choice.methods if len(need) else usual
    worked = _worked_zones(drawn_zones, offers, choice, chosen, bool(len(need)))

    step("Counting bales, net and plant food")
    hauls = supply.haul_lines(choice.flows, worked, found.yards, hauling)
    wraps = choice.wrap_use.groupby("wrap")["bales"].sum().round().astype(int).to_dict()
    made = bales.bale_plan(worked, ways, plan, book)
    ground = _ground_of(found.yards, hauls, stack, book)
    losses = bales.wrap_table(
        plan.storage, plan.wrap, bale, book, season,
        ground=ground, value_per_mg=value, road_haul_km=plan.need.longest_haul_km,
    )  # fmt: skip
    nutrients = residue.nutrients(worked, ways, book, plan.money, plan.crop.nutrient_basis)
    sums = story.totals(stack, worked, made, nutrients, need)
    sums |= {
        "cost": choice.total_cost,
        "cost_per_mg": choice.cost_per_mg,
        "drawn_mg": choice.drawn_mg,
        "short_bales": float(choice.short_bales),
        "yards_used": float(len(choice.yard_use)),
        **{f"cost_{name}": float(cost) for name, cost in choice.cost.items()},
    }
    return SeasonResult(
        plan=plan,
        crs=farm.crs,
        stack=stack,
        fields=fields,
        zones=_with_reasons(worked, choice, "zone"),
        yards=_with_reasons(found.yards, choice, "yard"),
        stacks=found.stacks,
        hauls=hauls,
        soils=farm.soils,
        surroundings=around,
        not_checked=not_checked,
        points=grain.points,
        cleaning=grain.cleaning,
        surface_report=grain.report,
        zone_limits=residue.zone_limits(stack, worked, labels, options, units="metric"),
        yard_near=found.near,
        yard_ways=_yard_ways(found.yards, drawn_zones, distance),
        limit_totals=residue.limit_totals(stack, options, units="metric"),
        zone_methods=offers,
        zone_nutrients=nutrients,
        odds=residue.odds_table(draws, plan.odds.cautious_pct, chosen),
        sensitivity=residue.sensitivity(draws),
        calendar=residue.harvest_calendar(offers, chosen, plan.crop, season),
        yard_ratings=found.ratings,
        bale_plan=made,
        need=need,
        wrap_table=losses,
        wrap_use=choice.wrap_use,
        alternatives=choice.alternatives,
        yard_sun=_yard_sun(found.yards, sun, stack),
        crew=bales.crew_notes(worked, ways, plan, book, wraps or None),
        totals=sums,
        words={
            "choice": choice.words,
            "wrap": list(choice.reasons.loc[choice.reasons["kind"] == "wrap", "words"]),
            "baling": bales.baling_words(made, plan, book),
            "storage": bales.storage_words(losses, bales.break_even_table(losses, bale), need),
            "soil": story.soil_words(stack, book) + story.terrain_words(stack),
            "yards": found.words,
        },
        problems=report.by_severity(),
        coefficients=book.used(),
    )


def replan_with_answer(
    plan_path: Path, answer_path: Path, report: Report, out: Path, step: Step = quiet
) -> SeasonResult:
    """Plan again with the landowner's answer; the result's words say what changed.

    What the landowner refuses is written as a layer beside the results, and the plan used names it.

    Raises
    ------
    InputError
        When the plan, its layers or the answer file cannot be used.
    """
    before = run_season(plan_path, report, step)
    step("Reading the landowner's answer")
    answer = read_answer(answer_path, report, near=before.fields, plan_key=plan_key(before))
    out.mkdir(parents=True, exist_ok=True)
    plan = add_answer(before.plan, answer, out / "no_go.geojson", report)
    after = run_season(plan, Report(), step)
    after.words["changed"] = story.changed_words(before, after)
    after.words["answer"] = answer.words()
    if len(answer.pins):
        after.surroundings["pins"] = answer.pins.rename(columns={"note": "name"}).to_crs(after.crs)
    return after


def _without_unstorable(offers: pd.DataFrame, reasons: dict[str, str]) -> pd.DataFrame:
    """Return the offers with those refused whose bales could not be kept, and the best of the rest recommended."""
    refused = offers["method"].isin(list(reasons))
    words = [
        f"Refused: {reasons[m]}" if m in reasons else w for m, w in zip(offers["method"], offers["words"], strict=True)
    ]
    offers = offers.assign(allowed=offers["allowed"] & ~refused, words=words)
    most = offers[offers["allowed"]].groupby("zone_id")["take_mg_ha"].idxmax()
    return offers.assign(recommended=offers.index.isin(most))


def _worked_zones(
    drawn: gpd.GeoDataFrame, offers: pd.DataFrame, choice: supply.Choice, chosen: dict[str, str], by_need: bool
) -> gpd.GeoDataFrame:
    """Return the zones as they will be worked; where the need asks for less, only a share of a zone is gathered."""
    worked = zones.assign_methods(drawn, offers, chosen, units="metric")
    if not by_need:
        return worked.assign(gathered_share=(worked["method"] != "leave").astype(float))
    share = worked["zone_id"].map(choice.zone_method.set_index("zone_id")["share"]).fillna(0.0)
    return worked.assign(gathered_share=share, take_mg=worked["take_mg"] * share)


def _with_reasons(table: gpd.GeoDataFrame, choice: supply.Choice, kind: str) -> gpd.GeoDataFrame:
    """Return zones or yards with the choice's reason behind their own."""
    of_kind = choice.reasons[choice.reasons["kind"] == kind]
    said = dict(zip(of_kind["id"], of_kind["words"], strict=True))
    both = [f"{own} {said.get(i, '')}".strip() for i, own in zip(table[f"{kind}_id"], table["reason"], strict=True)]
    return table.assign(reason=pd.array(both, dtype="str"))


def _yard_ways(found: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, distance_m: np.ndarray) -> pd.DataFrame:
    """Return the way from every zone to every yard that can be reached, nearest first in each yard."""
    ways = pd.DataFrame(distance_m, index=drawn["zone_id"], columns=found["yard_id"]).rename_axis(columns="yard_id")
    table = ways.stack().rename("distance_m").reset_index()[["yard_id", "zone_id", "distance_m"]]
    table = table[np.isfinite(table["distance_m"])]
    return table.sort_values(["yard_id", "distance_m"], kind="stable").reset_index(drop=True)


def _ground_of(found: gpd.GeoDataFrame, hauls: pd.DataFrame, stack: xr.Dataset, book: Handbook) -> str:
    """Return what bare ground is in the yard that takes most bales: "soil" or "clay"."""
    if not len(found):
        return "soil"
    carried = hauls.groupby("yard_id")["bales"].sum()
    most = carried.idxmax() if len(carried) else found["yard_id"].iloc[0]
    return supply.yard_grounds(found[found["yard_id"] == most], stack, book)[0]


def _book_of(plan: Plan, report: Report) -> Handbook:
    """Return the handbook with the plan's own numbers; an unknown key is a problem of the plan file."""
    try:
        return load_handbook(plan.handbook)
    except UnknownCoefficientError as error:
        raise report.refuse("plan.unknown_key", "plan file, handbook", f"{error}.") from None


@dataclass(frozen=True, slots=True)
class _Grain:
    """What the yield map made."""

    stack: xr.Dataset
    points: gpd.GeoDataFrame | None = None
    cleaning: pd.DataFrame | None = None
    report: dict[str, float | str] = field(default_factory=dict)


def _named(dataset: xr.Dataset) -> dict[str, xr.DataArray]:
    """Return a dataset's variables by name, for `stack.put`."""
    return {str(name): values for name, values in dataset.data_vars.items()}


def _grain(stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame, book: Handbook, report: Report) -> _Grain:
    """Put the grain map into the stack: from raw points, or from a finished map."""
    if farm.points is None:
        assert farm.yield_raster is not None  # the layers room refuses a farm with neither points nor a map
        grain = layers.onto_grid(farm.yield_raster, grid_of(stack))
        inside = stack["field_number"].notnull().to_numpy()
        return _Grain(
            put(stack, grain_mg_ha=np.where(inside, grain, np.nan)), report={"method": "the yield map as given"}
        )
    cleaned = yieldmap.clean_points(farm.points, book, report)
    surface = yieldmap.grain_surface(cleaned.points, fields, stack, book, removed=cleaned.removed)
    kept = cleaned.points.assign(removed_because="")
    points = pd.concat([kept, cleaned.removed]).sort_index()
    raw = {f"raw_{name}": number for name, number in yieldmap.raw_summary(farm.points).items()}
    clean = {f"cleaned_{name}": number for name, number in yieldmap.raw_summary(cleaned.points).items()}
    return _Grain(
        put(stack, grain_mg_ha=surface.grain, grain_error_mg_ha=surface.error),
        points,
        cleaned.counts,
        {**surface.report, **raw, **clean},
    )


def _with_terrain(
    stack: xr.Dataset, plan: Plan, farm: FarmLayers, book: Handbook, not_checked: dict[str, str]
) -> tuple[xr.Dataset, xr.Dataset | None]:
    """Put slope, water and sun into the stack; say what ground too coarse for it leaves unchecked.

    Returns the stack, and the sun month by month where the ground is known.
    """
    if "elevation_m" in stack:
        stack = put(stack, **_named(terrain.slope_aspect(stack["elevation_m"])))
        drainage = layers.cells_touched(stack, farm.surroundings.get("water"))
        barriers = layers.cells_touched(stack, farm.surroundings.get("roads"))
        culverts = farm.surroundings.get("culverts")
        water = terrain.water(
            stack["elevation_m"],
            drainage=drainage,
            breaches=None if culverts is None else list(culverts.geometry),
            barriers=barriers,
            book=book,
        )
        stack = put(stack, **_named(water))
    elif farm.points is not None and "height_m" in farm.points:
        ground = yieldmap.ground_from_points(farm.points, stack, book)
        stack = layers.put_surface(put(stack, elevation_m=ground.elevation), farm)
        stack = put(stack, **_named(terrain.slope_aspect(stack["elevation_m"])))
        stack = put(stack, ls_factor=terrain.ls_by_class(stack["slope_pct"], book))
        not_checked["ponding and flow paths"] = (
            f"No elevation layer was given. Heights came from the combine's GPS ({ground.words}), too coarse to show "
            f"where water stands or runs; slope was taken over {ground.least_scale_m:.0f} m and more."
        )
    else:
        not_checked["slope, ponding, flow paths and sun"] = (
            "No elevation layer was given and the yield points carry no heights: the ground's shape is not known."
        )
        return stack, None
    start, end = bales.storage_span(plan.storage, plan.farm.season)
    to_lonlat = Transformer.from_crs(farm.crs, 4326, always_xy=True)
    longitude, latitude = to_lonlat.transform(float(stack.x.mean()), float(stack.y.mean()))
    months = terrain.sun_by_month(
        stack["surface_m"],
        stack["elevation_m"],
        start,
        end,
        latitude=latitude,
        longitude=longitude,
        altitude_m=float(stack["elevation_m"].mean()),
        book=book,
        **_sky(stack, plan, farm, latitude),
    )
    season = months["sun_kwh_m2"].sum("month", skipna=False)
    return put(stack, sun_kwh_m2=season, sun_share=season / months.attrs["open_flat_kwh_m2"]), months


def _sky(stack: xr.Dataset, plan: Plan, farm: FarmLayers, latitude: float) -> dict[str, Any]:
    """Return what the plan says of clouds and of bare trees, as options of the sun."""
    options: dict[str, Any] = {}
    if plan.storage.sunshine_h is not None:
        hours = dict(enumerate(plan.storage.sunshine_h, start=1))
        try:
            options["cloud"] = terrain.cloud_from_sunshine(hours, latitude)
        except ContractError as error:
            where = "plan file, storage.sunshine_h"
            raise Report().refuse("plan.bad_value", where, f"{error}.") from None
    trees = plan.layers.trees
    if trees is not None and trees.bare_light_pct is not None:
        options["through_trees"] = dict.fromkeys(_BARE_MONTHS, trees.bare_light_pct / 100)
        options["without_trees"] = stack["elevation_m"].copy(data=layers.raised_by(stack, farm, "buildings"))
    return options


def _yard_sun(found: gpd.GeoDataFrame, months: xr.Dataset | None, stack: xr.Dataset) -> pd.DataFrame:
    """Return the mean sun of each yard's ground, month by month."""
    if months is None or not len(found):
        return pd.DataFrame()
    labels = zones.zone_numbers(found, grid_of(stack)).to_numpy()
    rows = []
    for number, yard in enumerate(found["yard_id"]):
        own = labels == number
        if own.any():
            for month, energy, share in zip(
                months["month"].to_numpy(),
                months["sun_kwh_m2"].to_numpy()[:, own].mean(axis=1),
                months["sun_share"].to_numpy()[:, own].mean(axis=1),
                strict=True,
            ):
                year, calendar_month = (int(part) for part in str(month).split("-"))
                rows.append((yard, year, calendar_month, float(energy), float(share)))
    return pd.DataFrame(rows, columns=["yard_id", "year", "month", "sun_kwh_m2", "sun_share"])


def _most_used(usual: dict[str, str], ways: dict[str, residue.Method]) -> str:
    """Return the method most zones would use, the gentlest where none is: yards are laid out for its bale."""
    used = [m for m in usual.values() if m in ways]
    return max(ways, key=used.count)
