"""The whole way, step by step.

`run_season` is a pure function of the plan file and its layers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import geopandas as gpd
import pandas as pd

from stovergeo import bales, residue, siting, supply, zones
from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Message
from stovergeo.core.stack import new_stack
from stovergeo.inputs.grid import put_layers
from stovergeo.inputs.plan import Plan, read_plan
from stovergeo.inputs.roles import Proposal, propose_roles
from stovergeo.report import ANSWER_NAMES, NO_GO_NAME, add_answer, plan_key, read_answer, refuse_existing
from stovergeo.result import SeasonResult
from stovergeo.workflow import story
from stovergeo.workflow.checks import get_ready
from stovergeo.workflow.ground import grain_map, with_earlier_years, with_terrain
from stovergeo.workflow.not_known import unknown_messages, unknown_zones, why_unknown, with_unknown
from stovergeo.workflow.run_size import ReportSize, no_progress
from stovergeo.workflow.tables import (
    ground_of,
    in_whole_bales,
    kept_free_ground,
    most_used,
    with_reasons,
    without_kept_free,
    without_unstorable,
    worked_zones,
    yard_routes,
)

Step = Callable[[str], None]


def quiet(what: str) -> None:
    """Take note of no step: the default for callers that show no progress."""


def sample_plan_path() -> Path:
    """Return the plan file of the sample farm, from the installed package or from a checkout.

    Returns
    -------
    Path

    Examples
    --------
    >>> from stovergeo import sample_plan_path
    >>> sample_plan_path().name
    'plan.toml'
    """
    shipped = Path(str(files("stovergeo"))) / "sample_layers" / "plan.toml"
    return shipped if shipped.is_file() else Path(__file__).parents[2] / "sample_layers" / "plan.toml"


def check_season(plan_path: Path, report: Report, tell: ReportSize = no_progress) -> list[Proposal]:
    """Read the plan and every layer, compute nothing, list all problems; `tell` is called with what a run will need.

    Returns
    -------
    list of Proposal
        What each column of the yield points may mean.

    Raises
    ------
    InputError
        When the plan file cannot be read; the report holds every problem met.
    """
    plan = read_plan(plan_path, report)
    with suppress(InputError):  # what forbids a season stands in the report
        get_ready(plan, report, tell)
    return propose_roles(plan, Report())  # what is wrong with the points stands in the report already


def run_season(
    plan: Plan | Path,
    report: Report,
    step: Step = quiet,
    tell: ReportSize = no_progress,
    *,
    yards_before: gpd.GeoDataFrame | None = None,
) -> SeasonResult:
    """Plan one season.

    Parameters
    ----------
    plan : Plan or Path
        A plan, or the path of a plan file.
    report : Report
        Collects every problem met on the way.
    step : callable, optional
        Told what is being done, for a progress line.
    tell : callable, optional
        Told what the run will need, before any raster is read.
    yards_before : GeoDataFrame, optional
        Yards of the plan before, in the same working CRS: a place keeps its name, a new one gets a new name.

    Returns
    -------
    SeasonResult
        The field stack and the tables of every package; nothing is written.

    Raises
    ------
    InputError
        When what was brought cannot be used; carries every problem found up to there.

    Examples
    --------
    The sample farm, whole:

    >>> from stovergeo import Report, run_season, sample_plan_path
    >>> report = Report()
    >>> result = run_season(sample_plan_path(), report)
    >>> result.stack["removable_mg_ha"].attrs["units"]
    'Mg/ha'
    >>> len(result.zones) > 0, len(result.yards) > 0, report.refused
    (True, True, [])
    """
    step("Reading the plan and its layers")
    ready = get_ready(plan if isinstance(plan, Plan) else read_plan(plan, report), report, tell)
    plan, coefficients, farm, fields, grid = ready.plan, ready.coefficients, ready.farm, ready.fields, ready.grid
    not_checked: dict[str, Message | str] = dict(farm.not_checked)

    step("Making the grain map")
    stack = put_layers(new_stack(grid), farm, fields)
    grain = grain_map(stack, farm, fields, coefficients, report)
    no_yield = why_unknown(grain.stack, fields, grain.left_out, report)
    stack = with_earlier_years(grain.stack, plan, farm, fields, coefficients, report)

    step("Slope, water and the season's sun")
    stack, sun = with_terrain(stack, plan, farm, coefficients, not_checked)

    step("What must stay on the ground")
    options = residue.RuleOptions(plan.crop, plan.limits, coefficients)
    stack = residue.limits(stack, options, report)
    all_ways = residue.methods(coefficients, plan.gather.methods, plan.crop.cut_height_m)
    ways = bales.storable_methods(all_ways, plan, coefficients, report)
    report.stop_if_refused()

    step("Drawing zones, and the odds that each limit holds")
    drawn_zones = zones.make_zones(
        stack,
        fields,
        working_width_m=plan.gather.working_width_m,
        min_zone_ha=plan.gather.min_zone_ha,
        options=zones.zone_options(coefficients),
        refused=kept_free_ground(farm.no_go),
    )
    labels = zones.zone_numbers(drawn_zones, grid)
    samples = residue.sample_limits(stack, drawn_zones, labels, options, plan.odds, all_ways)
    offers = residue.zone_methods(
        stack, drawn_zones, labels, options, all_ways, drawn=samples, cautious_pct=plan.odds.cautious_pct
    )

    step("Finding stack yards")
    storable = without_unstorable(offers, bales.rejected_methods(all_ways, plan, coefficients))
    kept_free = frozenset(drawn_zones.loc[drawn_zones["kept_free"], "zone_id"])
    offers = without_kept_free(storable, drawn_zones)
    usual = residue.recommended(offers)
    bale = bales.bale_of(plan.bale, ways[most_used(usual, ways)], coefficients)
    value = plan.money.stover_value_per_mg
    season = plan.farm.season
    need = bales.need_table(plan.need, plan.storage, plan.wrap, bale, coefficients, season, value_per_mg=value)
    around = farm.surroundings if farm.no_go is None else {**farm.surroundings, "no_go": farm.no_go}
    stack, ratings = siting.rate_ground(
        stack, around, plan.yards, bale, coefficients, report, pattern=plan.storage.pattern
    )
    all_gathered = zones.assign_methods(drawn_zones, offers, usual)
    offered = int(bales.bale_plan(all_gathered, ways, plan, coefficients)["bales"].sum())
    wanted = min(offered, int(need["bales"].sum())) if len(need) else offered
    found = siting.find_yards(stack, ratings, wanted, plan.yards, bale, coefficients, before=yards_before)
    for name, why in ratings.not_checked.items():
        not_checked.setdefault(ratings.titles[name], why)

    step("Choosing zones, methods, yards and wraps together")
    hauling = supply.haul_ground(stack, farm.surroundings, supply.haul_options(coefficients), fields, farm.no_go)
    distance = supply.haul_distances(drawn_zones, found.yards, hauling)
    grounded = found.yards.assign(ground=supply.yard_grounds(found.yards, stack, coefficients))
    problem = supply.supply_problem(plan, coefficients, drawn_zones, storable, ways, grounded, distance, need)
    problem = replace(problem, no_go_zones=kept_free)
    titles = {name: way.title for name, way in ways.items()}
    choice = supply.choose(problem, titles=titles)
    chosen = choice.methods if len(need) else usual
    worked = worked_zones(drawn_zones, offers, choice, chosen, bool(len(need)))
    need = in_whole_bales(need, choice)

    step("Counting bales, net and nutrients")
    hauls = supply.haul_lines(choice.flows, worked, found.yards, hauling)
    wraps = choice.wrap_use.groupby("wrap")["bales"].sum().round().astype(int).to_dict()
    made = bales.bale_plan(worked, ways, plan, coefficients)
    ground = ground_of(found.yards, hauls, stack, coefficients)
    losses = bales.wrap_table(
        plan.storage, plan.wrap, bale, coefficients, season,
        among=bales.storage_methods(plan.storage, bale, ground), value_per_mg=value,
        road_haul_km=plan.need.longest_haul_km,
    )  # fmt: skip
    nutrients = residue.nutrients(worked, ways, coefficients, plan.money, plan.crop.nutrient_basis)
    sums = story.totals(stack, worked, made, nutrients, need)
    sums |= {
        "cost": choice.total_cost,
        "cost_per_mg": choice.cost_per_mg,
        "withdrawn_mg": choice.withdrawn_mg,
        "short_bales": float(choice.short_bales),
        "yards_used": float(len(choice.yard_use)),
        **{f"cost_{name}": float(cost) for name, cost in choice.cost.items()},
    }
    unknown = unknown_zones(worked, labels, stack)
    said_zones = with_unknown(with_reasons(worked, choice, "zone"), unknown, no_yield)
    sums["unknown_ha"] = float(worked.loc[unknown, "area_ha"].sum())

    def known(table: pd.DataFrame) -> pd.DataFrame:
        """Return a table without the zones of which nothing is known."""
        return table[~table["zone_id"].isin(worked.loc[unknown, "zone_id"])] if len(table) else table

    return SeasonResult(
        plan=plan,
        crs=farm.crs,
        stack=stack,
        fields=fields,
        zones=said_zones,
        yards=with_reasons(found.yards, choice, "yard"),
        stacks=found.stacks,
        apron=found.apron,
        lanes=found.lanes,
        setback_areas=siting.setback_areas(ratings),
        hauls=hauls,
        soils=farm.soils,
        surroundings=around,
        not_checked=not_checked,
        points=grain.points,
        cleaning=grain.cleaning,
        surface_report=grain.report,
        zone_limits=known(residue.zone_limits(stack, worked, labels, options)),
        yard_near=found.near,
        yard_routes=yard_routes(found.yards, drawn_zones, distance, kept_free),
        limit_totals=residue.limit_totals(stack, options),
        zone_methods=known(offers),
        zone_nutrients=known(nutrients),
        odds=known(residue.odds_table(samples, plan.odds.cautious_pct, chosen)),
        sensitivity=residue.sensitivity(samples),
        calendar=known(residue.harvest_calendar(offers, chosen, plan.crop, season)),
        yard_ratings=found.ratings,
        bale_plan=made,
        need=need,
        wrap_table=losses,
        wrap_use=choice.wrap_use,
        stored=pd.DataFrame() if choice.whole is None else choice.whole.stored,
        withdrawals=pd.DataFrame() if choice.whole is None else choice.whole.withdrawals,
        alternatives=choice.alternatives,
        trade_off=supply.trade_off(problem, choice) if len(choice.flows) else choice.alternatives.iloc[:0],
        yard_sun=pd.DataFrame() if sun is None else siting.sun_months(found.cells, sun),
        crew=bales.crew_notes(worked, ways, plan, coefficients, wraps or None),
        totals=sums,
        words={
            "unknown": unknown_messages(said_zones, fields, no_yield),
            "choice": choice.messages,
            "grower": [
                *choice.grower_messages,
                *choice.reasons.loc[choice.reasons["kind"] == "wrap", "message"],
                *(bales.break_even_messages(bales.break_even_table(losses, bale)) if made["bales"].sum() else []),
            ],
            "baling": bales.baling_messages(made, plan, coefficients),
            "storage": bales.storage_messages(losses, need, bales.storage_span(plan.storage, season)[1]),
            "soil": story.soil_messages(stack, coefficients)
            + story.year_messages(stack)
            + story.terrain_messages(stack),
            "yards": found.messages,
        },
        problems=report.by_severity(),
        coefficients=coefficients.used(),
    )


def replan_with_answer(
    plan_path: Path,
    answer_path: Path,
    report: Report,
    out: Path,
    step: Step = quiet,
    tell: ReportSize = no_progress,
    *,
    overwrite: bool = False,
) -> SeasonResult:
    """Plan again with the landowner's answer; the result's words say what changed.

    What the landowner refuses is written as a layer beside the results, and the plan used names it.

    Parameters
    ----------
    plan_path, answer_path : Path
        The plan file the map was made from; the answer file (GeoJSON).
    report : Report
    out : Path
        Folder that gains ``no_go.geojson``; made where it is missing.
    step : callable, optional
        Told what is being done.
    tell : callable, optional
        Told what each run will need, before any raster is read.
    overwrite : bool
        Whether a layer and results that stand in `out` may be replaced.

    Returns
    -------
    SeasonResult
        Of the second plan; nothing else is written.

    Raises
    ------
    InputError
        When the plan, its layers or the answer file cannot be used; ``out.exists`` before any work.
    """
    refuse_existing(out, overwrite, report, ANSWER_NAMES)
    before = run_season(plan_path, report, step, tell)
    step("Reading the landowner's answer")
    answer = read_answer(answer_path, report, near=before.fields, plan_key=plan_key(before))
    layer = out / NO_GO_NAME
    with _put_back_if_it_fails(layer):
        out.mkdir(parents=True, exist_ok=True)
        plan = add_answer(before.plan, answer, layer, report)
        after = run_season(plan, Report(), step, yards_before=before.yards)
    after.words["changed"] = story.changed_messages(before, after)
    after.words["grower"] = [*story.changed_cost_messages(before, after), *after.words["grower"]]
    after.words["answer"] = answer.messages()
    if len(answer.pins):
        after.surroundings["pins"] = answer.pins.rename(columns={"note": "name"}).to_crs(after.crs)
    return replace(after, yards_before=story.yards_before(before, after, answer.yards))


@contextmanager
def _put_back_if_it_fails(path: Path) -> Iterator[None]:
    """Leave a file, and the folder made for it, as they were where the plan that needs it fails or is stopped."""
    stood = path.read_bytes() if path.is_file() else None
    made = not path.parent.exists()
    try:
        yield
    except BaseException:  # Ctrl-C too
        if stood is None:
            path.unlink(missing_ok=True)
        else:
            path.write_bytes(stood)
        if made:
            with suppress(OSError):
                path.parent.rmdir()
        raise
