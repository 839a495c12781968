"""From what the steps of a season made to its result: the tables of all clusters as one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd

from stovergeo import bales, residue, siting, supply
from stovergeo.core.errors import Report
from stovergeo.core.messages import Message
from stovergeo.result import (
    BaleTables,
    Cluster,
    ResidueTables,
    SeasonResult,
    SupplyTables,
    YardTables,
    YieldTables,
)
from stovergeo.workflow import baling_window, story
from stovergeo.workflow.carbon import soil_messages, soil_table
from stovergeo.workflow.checks import report_idle_numbers
from stovergeo.workflow.compared import uncompared
from stovergeo.workflow.grain import basis_messages
from stovergeo.workflow.levers import price_levers
from stovergeo.workflow.not_known import unknown_messages, unknown_zones, with_unknown
from stovergeo.workflow.staying import lever_messages, staying, with_bars
from stovergeo.workflow.steps import Season, around
from stovergeo.workflow.tables import joined, with_reasons, yard_routes


def season_result(season: Season, report: Report) -> SeasonResult:
    """Put together the result; zones of unknown yield say so in every table."""
    ready, grounds, chosen, counts = season.ready, season.grounds, season.chosen, season.counts
    worked, places = chosen.worked, season.sites.places
    no_yield = {field: why for g in grounds for field, why in g.yields.no_yield.items()}
    unknown = joined(
        [unknown_zones(_own(worked, g.offers.zones), g.offers.labels, p.stack) for g, p in season.both()]
    ).set_axis(worked.index)
    zones = with_unknown(with_reasons(worked, chosen.choice, "zone"), unknown, no_yield)
    yards = joined([place.found.yards for place in places], ready.farm.crs)
    stacks = [place.stack for place in places]
    dark = frozenset(worked.loc[unknown, "zone_id"])
    stays, gains = staying(season, dark)
    tables = _residue_tables(season, dark)
    result = SeasonResult(
        plan=ready.plan,
        crs=ready.farm.crs,
        clusters=tuple(
            Cluster(str(number), tuple(ground.cluster.fields["field_id"]), place.stack)
            for number, (ground, place) in enumerate(season.both(), start=1)
        ),
        fields=ready.fields,
        zones=story.with_carbon(with_bars(zones, stays), tables.zone_carbon),
        yards=with_reasons(yards, chosen.choice, "yard"),
        soils=ready.farm.soils,
        surroundings=around(ready.farm),
        yields=_yield_tables(season),
        residue=tables,
        siting=_yard_tables(season),
        bales=_bale_tables(season),
        supply=replace(_supply_tables(season), staying=stays, levers=gains),
        not_checked=_not_checked(season),
        totals={
            **story.totals(stacks, worked, counts.made, counts.nutrients, chosen.need),
            **story.cost_totals(chosen.choice),
            "unknown_ha": float(worked.loc[unknown, "area_ha"].sum()),
        },
        words={
            **_messages(season, unknown_messages(zones, ready.fields, no_yield)),
            "carbon": soil_messages(ready, tables.carbon),
            "lever": lever_messages(season, stays, gains),
        },
        coefficients=ready.coefficients.used(),
    )
    report_idle_numbers(ready.plan, ready.coefficients, report)  # every number of the result has been looked up
    return replace(result, problems=report.by_severity())


def _own(table: pd.DataFrame, zones: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the zones of one cluster."""
    return table[table["zone_id"].isin(zones["zone_id"])].reset_index(drop=True)


def _not_checked(season: Season) -> dict[str, Message | str]:
    """Return what could not be checked, of the layers, the ground and the yards."""
    found: dict[str, Message | str] = {}
    for ground, place in season.both():
        known, ratings = ground.terrain.not_checked, place.ratings
        of_yards = {ratings.titles[name]: why for name, why in ratings.not_checked.items()}
        found = (known | of_yards | known) | found  # the ground first, and its reasons win
    unknown = story.carbon_unknown_ha([g.removable.stack for g in season.grounds])
    if unknown > 0:
        taken = season.ready.coefficients["carbon.stock_unknown"]
        said = story.message("not_checked.carbon", area=unknown, low=taken.low, taken=taken.value, high=taken.high)
        found["Soil carbon"] = said
    return found | baling_window.not_checked(season)


def _yield_tables(season: Season) -> YieldTables:
    """Return the records and how they were cleaned; figures of the surface are means over the clusters' records."""
    grains = [ground.yields.grain for ground in season.grounds]
    points = [grain.points for grain in grains if grain.points is not None]
    cleaning = [grain.cleaning for grain in grains if grain.cleaning is not None]
    return YieldTables(
        points=joined(points, season.ready.farm.crs) if points else None,
        cleaning=story.cleaning_of_all(cleaning) if cleaning else None,
        report=story.surface_of_all([grain.report for grain in grains]),
    )


def _residue_tables(season: Season, unknown: frozenset[str]) -> ResidueTables:
    """Return the tables of what must stay and what may leave, without the zones of which nothing is known."""
    plan, chosen, grounds = season.ready.plan, season.chosen, season.grounds
    options = grounds[0].removable.options

    def known(tables: list[pd.DataFrame]) -> pd.DataFrame:
        table = joined(tables)
        return table[~table["zone_id"].isin(unknown)] if len(table) else table

    limits = [
        residue.zone_limits(place.stack, _own(chosen.worked, ground.offers.zones), ground.offers.labels, options)
        for ground, place in season.both()
    ]
    allowed, drawn = joined([g.offers.allowed for g in grounds]), [g.offers.drawn for g in grounds]
    carbon = [
        residue.zone_carbon(
            g.removable.stack, g.offers.zones, g.offers.labels, options, g.offers.drawn.carbon, chosen.methods
        )
        for g in grounds
    ]
    return ResidueTables(
        zone_limits=story.with_carbon_messages(known(limits), joined(carbon)),
        limit_totals=residue.limit_totals([place.stack for place in season.sites.places], options),
        zone_methods=known([allowed]),
        zone_nutrients=known([season.counts.nutrients]),
        odds=known([residue.odds_table(d, plan.odds.cautious_pct, chosen.methods) for d in drawn]),
        sensitivity=joined([residue.sensitivity(d) for d in drawn]),
        zone_carbon=known(carbon),
        carbon=soil_table(season.ready, grounds),
        calendar=known([residue.harvest_calendar(allowed, chosen.methods, plan.crop, plan.farm.season)]),
    )


def _yard_tables(season: Season) -> YardTables:
    """Return the tables and shapes of the yards and the routes to them."""
    crs, sites, chosen = season.ready.farm.crs, season.sites, season.chosen
    found = [place.found for place in sites.places]
    sun = [
        siting.sun_months(place.found.cells, ground.terrain.sun)
        for ground, place in season.both()
        if ground.terrain.sun is not None
    ]
    kept_free = frozenset().union(*(g.offers.kept_free for g in season.grounds))
    setbacks = joined([siting.setback_areas(place.ratings) for place in sites.places], crs)
    return YardTables(
        stacks=joined([f.stacks for f in found], crs),
        ratings=joined([f.ratings for f in found]),
        apron=joined([f.apron for f in found], crs),
        lanes=joined([f.lanes for f in found], crs),
        setback_areas=_one_a_criterion(setbacks) if len(found) > 1 else setbacks,
        near=joined([f.near for f in found]),
        routes=yard_routes(sites.yards, chosen.worked, chosen.distance_m, kept_free),
        sun=joined(sun) if sun else pd.DataFrame(),
    )


def _one_a_criterion(areas: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return areas.dissolve("criterion", sort=False, as_index=False)[list(areas.columns)] if len(areas) else areas


def _bale_tables(season: Season) -> BaleTables:
    """Return the tables of bales as they are made and wrapped."""
    ready, counts, use = season.ready, season.counts, season.chosen.choice.wrap_use
    wraps = use.groupby("wrap")["bales"].sum().round().astype(int).to_dict()
    methods = season.grounds[0].removable.methods
    return BaleTables(
        made=counts.made,
        wrap_table=counts.losses,
        crew=bales.crew_notes(season.chosen.worked, methods, ready.plan, ready.coefficients, wraps or None),
    )


def _supply_tables(season: Season) -> SupplyTables:
    """Return the tables of the choice: bales hauled, stored and used, and what else was looked at."""
    chosen, choice = season.chosen, season.chosen.choice
    whole = choice.whole
    return SupplyTables(
        hauls=season.counts.hauls,
        need=chosen.need,
        wrap_use=choice.wrap_use,
        stored=pd.DataFrame() if whole is None else whole.stored,
        withdrawals=pd.DataFrame() if whole is None else whole.withdrawals,
        contracts=chosen.contracts,
        inventory=chosen.inventory,
        alternatives=choice.alternatives,
        trade_off=supply.trade_off(chosen.problem, choice) if len(choice.flows) else choice.alternatives.iloc[:0],
    )


def _of_grain(season: Season) -> list[Message]:
    """Return what weighed totals say of the grain maps, and what could not be checked, each once."""
    said: list[Message] = []
    for ground in season.grounds:
        said += [one for one in ground.yields.grain.said if one not in said]
    compared = [ground.yields.grain.compared for ground in season.grounds]
    return [*said, *uncompared([one for one in compared if one is not None])]


def _field_states(season: Season) -> dict[str, residue.State]:
    """Return by field how it stands as highly erodible land, as far as the soil survey tells."""
    found: dict[str, residue.State] = {}
    for ground, place in season.both():
        cluster = ground.cluster
        found |= residue.field_states(
            place.stack, cluster.farm.soils, cluster.fields, cluster.plan.crop, season.ready.coefficients
        )
    return found


def _messages(season: Season, unknown: list[Message]) -> dict[str, list[Any]]:
    """Return what the season has to say, by topic."""
    ready, sites, counts, choice = season.ready, season.sites, season.counts, season.chosen.choice
    plan, coefficients = ready.plan, ready.coefficients
    rejected_max = coefficients["storage.rim_rejected"].high
    break_even = None
    if counts.made["bales"].sum():
        break_even = bales.break_even_table(counts.losses, sites.bale, rejected_max=rejected_max)
    basis = {name: one for ground in season.grounds for name, one in ground.yields.basis.items()}
    cells = story.cells_of([place.stack for place in sites.places])
    return {
        "unknown": [*unknown, *ready.climate.unknown, *basis_messages(basis, len(ready.fields)), *_of_grain(season)],
        "choice": choice.messages,
        "grower": [
            *supply.contract_messages(season.chosen.contracts),
            *price_levers(season.chosen.contracts, season.chosen.problem).values(),
            *choice.grower_messages,
            *choice.reasons.loc[choice.reasons["kind"] == "wrap", "message"],
            *([] if break_even is None else bales.break_even_messages(break_even)),
        ],
        "baling": bales.baling_messages(counts.made, plan, coefficients, replayed=ready.autumns is not None),
        "window": baling_window.season_messages(season),
        "storage": [
            *ready.climate.source,
            *bales.storage_messages(
                counts.losses, season.chosen.need, bales.storage_span(plan.storage, plan.farm.season)[1]
            ),
        ],
        "soil": [
            *story.soil_messages(cells, coefficients),
            *residue.erodible_land_messages(_field_states(season), coefficients),
            *story.year_messages(cells),
            *story.terrain_messages(cells),
        ],
        "yards": [line for place in sites.places for line in place.found.messages],
    }
