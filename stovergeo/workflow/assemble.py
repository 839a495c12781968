"""From what the steps of a season made to its result."""

from __future__ import annotations

from typing import Any

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
from stovergeo.workflow import story
from stovergeo.workflow.not_known import unknown_messages, unknown_zones, with_unknown
from stovergeo.workflow.steps import Season
from stovergeo.workflow.tables import with_reasons, yard_routes


def season_result(season: Season, report: Report) -> SeasonResult:
    """Put together the result; zones of unknown yield say so in every table."""
    ready, offers, sites, chosen, counts = season.ready, season.offers, season.sites, season.chosen, season.counts
    choice, found = chosen.choice, sites.found
    unknown = unknown_zones(chosen.worked, offers.labels, sites.stack)
    zones = with_unknown(with_reasons(chosen.worked, choice, "zone"), unknown, season.yields.no_yield)
    grain = season.yields.grain
    return SeasonResult(
        plan=ready.plan,
        crs=ready.farm.crs,
        clusters=(Cluster("1", tuple(ready.fields["field_id"]), sites.stack),),
        fields=ready.fields,
        zones=zones,
        yards=with_reasons(found.yards, choice, "yard"),
        soils=ready.farm.soils,
        surroundings=sites.around,
        yields=YieldTables(grain.points, grain.cleaning, grain.report),
        residue=_residue_tables(season, frozenset(chosen.worked.loc[unknown, "zone_id"])),
        siting=_yard_tables(season),
        bales=_bale_tables(season),
        supply=_supply_tables(season),
        not_checked=_not_checked(season),
        totals={
            **story.totals(sites.stack, chosen.worked, counts.made, counts.nutrients, chosen.need),
            **story.cost_totals(choice),
            "unknown_ha": float(chosen.worked.loc[unknown, "area_ha"].sum()),
        },
        words=_messages(season, unknown_messages(zones, ready.fields, season.yields.no_yield)),
        problems=report.by_severity(),
        coefficients=ready.coefficients.used(),
    )


def _not_checked(season: Season) -> dict[str, Message | str]:
    """Return what could not be checked, of the layers, the ground and the yards."""
    known, ratings = season.terrain.not_checked, season.sites.ratings
    of_yards = {ratings.titles[name]: why for name, why in ratings.not_checked.items()}
    return known | of_yards | known  # the ground first, and its reasons win


def _residue_tables(season: Season, unknown: frozenset[str]) -> ResidueTables:
    """Return the tables of what must stay and what may leave, without the zones of which nothing is known."""
    ready, offers, chosen, options = season.ready, season.offers, season.chosen, season.removable.options
    plan, stack = ready.plan, season.sites.stack

    def known(table: pd.DataFrame) -> pd.DataFrame:
        return table[~table["zone_id"].isin(unknown)] if len(table) else table

    return ResidueTables(
        zone_limits=known(residue.zone_limits(stack, chosen.worked, offers.labels, options)),
        limit_totals=residue.limit_totals(stack, options),
        zone_methods=known(offers.allowed),
        zone_nutrients=known(season.counts.nutrients),
        odds=known(residue.odds_table(offers.drawn, plan.odds.cautious_pct, chosen.methods)),
        sensitivity=residue.sensitivity(offers.drawn),
        calendar=known(residue.harvest_calendar(offers.allowed, chosen.methods, plan.crop, plan.farm.season)),
    )


def _yard_tables(season: Season) -> YardTables:
    """Return the tables and shapes of the yards and the routes to them."""
    found, chosen, sun = season.sites.found, season.chosen, season.terrain.sun
    return YardTables(
        stacks=found.stacks,
        ratings=found.ratings,
        apron=found.apron,
        lanes=found.lanes,
        setback_areas=siting.setback_areas(season.sites.ratings),
        near=found.near,
        routes=yard_routes(found.yards, season.offers.zones, chosen.distance_m, season.offers.kept_free),
        sun=pd.DataFrame() if sun is None else siting.sun_months(found.cells, sun),
    )


def _bale_tables(season: Season) -> BaleTables:
    """Return the tables of bales as they are made and wrapped."""
    ready, counts, use = season.ready, season.counts, season.chosen.choice.wrap_use
    wraps = use.groupby("wrap")["bales"].sum().round().astype(int).to_dict()
    return BaleTables(
        made=counts.made,
        wrap_table=counts.losses,
        crew=bales.crew_notes(
            season.chosen.worked, season.removable.methods, ready.plan, ready.coefficients, wraps or None
        ),
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
        alternatives=choice.alternatives,
        trade_off=supply.trade_off(chosen.problem, choice) if len(choice.flows) else choice.alternatives.iloc[:0],
    )


def _messages(season: Season, unknown: list[Message]) -> dict[str, list[Any]]:
    """Return what the season has to say, by topic."""
    ready, sites, counts, choice = season.ready, season.sites, season.counts, season.chosen.choice
    plan, coefficients = ready.plan, ready.coefficients
    break_even = bales.break_even_table(counts.losses, sites.bale) if counts.made["bales"].sum() else None
    return {
        "unknown": [*unknown, *season.yields.basis.values()],
        "choice": choice.messages,
        "grower": [
            *choice.grower_messages,
            *choice.reasons.loc[choice.reasons["kind"] == "wrap", "message"],
            *([] if break_even is None else bales.break_even_messages(break_even)),
        ],
        "baling": bales.baling_messages(counts.made, plan, coefficients),
        "storage": bales.storage_messages(
            counts.losses, season.chosen.need, bales.storage_span(plan.storage, plan.farm.season)[1]
        ),
        "soil": story.soil_messages(sites.stack, coefficients)
        + story.year_messages(sites.stack)
        + story.terrain_messages(sites.stack),
        "yards": sites.found.messages,
    }
