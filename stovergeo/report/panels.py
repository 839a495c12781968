"""What opens one click down: the panel of a zone or a yard.

A panel is a list of blocks, each a dict with one key that names its kind: ``p`` (a text),
``ul`` (texts), ``table``, ``bars``, ``curves``, ``drawing``, ``more`` (blocks folded away).
The page lays them out; all words are chosen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any, Final

from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, load_plugins
from stovergeo.core.schemas import KEPT_FREE_RULE, UNKNOWN
from stovergeo.report.first_screen import names_given, without_keys, without_prices
from stovergeo.report.say import NOT_KNOWN, Parts, as_text, parts_of, quantity
from stovergeo.report.terminal import kept_free
from stovergeo.result import SeasonResult

Block = dict[str, Any]
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MOST_BARS: Final = 8
_AS_GOOD_AS_BEST: Final = 0.995  # prints as 100 %


def rule_titles(result: SeasonResult) -> dict[str, str]:
    """Return title in words by name of retention rule, and of the landowner's word where it keeps ground free."""
    titles = dict(result.zone_limits.drop_duplicates("rule").set_index("rule")["title"].astype(str))
    return titles | ({KEPT_FREE_RULE: "Kept free: the landowner said so"} if kept_free(result.zones).any() else {})


def method_titles(result: SeasonResult) -> dict[str, str]:
    """Return title in words by name of method."""
    titles = dict(result.zone_methods.drop_duplicates("method").set_index("method")["title"].astype(str))
    return {
        **{name: capital(title) for name, title in titles.items()},
        "leave": "Leave: no baling",
        UNKNOWN: capital(NOT_KNOWN),
    }


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def class_titles(result: SeasonResult) -> dict[str, str]:
    """Return title in words by name of every rule and criterion, those of the result before those installed."""
    installed = {
        p.name: str(p.thing.title) for g in (RETENTION_RULES, SITE_CRITERIA) for p in load_plugins(g) if not p.broken
    }
    rated = result.yard_ratings.drop_duplicates("criterion").set_index("criterion")["title"]
    return {**installed, **dict(rated.astype(str)), **rule_titles(result)}


@cache
def sources_of(group: str) -> dict[str, str]:
    """Return the source each working rule or criterion names, by its name."""
    return {p.name: str(p.thing.source) for p in load_plugins(group) if not p.broken}


def amount(kind: str, value: float) -> Parts:
    """Return a quantity as a whole text."""
    return [quantity(kind, value)]


def table_of(caption: str, head: list[str], rows: Sequence[Sequence[Parts]]) -> Block:
    """Return a block that is a table."""
    return {"table": {"caption": caption, "head": head, "rows": rows}}


def zone_panel(result: SeasonResult, zone: Any) -> list[Block]:
    """Return the panel of one zone (a row of the zones table)."""
    names = names_given(result)
    limits = result.zone_limits[result.zone_limits["zone_id"] == zone.zone_id]
    methods = result.zone_methods[result.zone_methods["zone_id"] == zone.zone_id]
    bales = result.bale_plan[(result.bale_plan["zone_id"] == zone.zone_id) & (result.bale_plan["bales"] > 0)]
    titles = method_titles(result)
    blocks: list[Block] = [{"p": parts_of(without_prices(as_text(zone.reason)), names)}]
    if zone.method == UNKNOWN:
        return [
            *blocks,
            table_of("This zone in numbers", ["What", "How much"], [[["Area"], amount("area", zone.area_ha)]]),
        ]
    if getattr(zone, "kept_free", False):
        rows: list[Sequence[Parts]] = [
            [["Area"], amount("area", zone.area_ha)],
            [["Stover grown, dry"], amount("rate", zone.stover_mg_ha)],
        ]
        return [*blocks, table_of("This zone in numbers", ["What", "How much"], rows)]
    facts: list[Sequence[Parts]] = [
        [["Area"], amount("area", zone.area_ha)],
        [["Stover grown, dry"], amount("rate", zone.stover_mg_ha)],
        [["Must stay"], amount("rate", zone.keep_mg_ha)],
        [["May leave, cautious"], amount("rate", zone.removable_mg_ha)],
        [["Would leave"], amount("rate", zone.take_mg_ha)],
        [["Gathered by"], [titles.get(zone.method, str(zone.method))]],
    ]
    if 0 < getattr(zone, "gathered_share", 1.0) < 0.995:
        facts.append([["Share of the zone that is baled"], amount("share", zone.gathered_share)])
    for b in bales.itertuples():
        facts.append([["Bales"], [f"{b.bales:,.0f}, each ", quantity("kg", b.bale_as_is_kg), " as it stands"]])
        facts.append([["Turns of net"], [f"{b.turns:g}" if b.turns == b.turns else "–"]])
    for h in result.hauls[result.hauls["zone_id"] == zone.zone_id].itertuples():
        facts.append(
            [[f"To yard {h.yard_id}"], [f"{h.bales:,.0f} bales, ", quantity("length", h.distance_m), " one way"]]
        )
    blocks.append(table_of("This zone in numbers", ["What", "How much"], facts))
    if len(limits):
        blocks.append(
            {
                "bars": {
                    "caption": "What each rule asks to keep, against what grew",
                    "kind": "rate",
                    "rows": [[str(r.title), float(r.keep_mg_ha)] for r in limits.itertuples()],
                    "line": ["Stover grown", float(zone.stover_mg_ha)],
                }
            }
        )
        said_by = sources_of(RETENTION_RULES)
        reasons = [
            [
                f"{r.title} ",
                "(sets the limit on ",
                quantity("share", r.binds_share),
                " of the zone): ",
                *parts_of(str(r.words), names),
                *_source(getattr(r, "source", None) or said_by.get(r.rule)),
            ]
            for r in limits.itertuples()
        ]
        blocks.append({"more": {"title": "Each rule in words, with its source", "blocks": [{"ul": reasons}]}})
    odds = result.odds[result.odds["zone_id"] == zone.zone_id]
    for o in odds.itertuples():
        blocks.append(
            {
                "p": [
                    "How sure: between ",
                    quantity("rate", o.p10_mg_ha),
                    " and ",
                    quantity("rate", o.p90_mg_ha),
                    " may leave in eight of ten cases; the chance that every rule is kept is ",
                    quantity("share", o.odds_kept),
                    ".",
                ]
            }
        )
    if len(methods):
        rows = [
            [
                [capital(str(m.title))],
                amount("rate", m.take_mg_ha),
                amount("pct1", m.ash_pct),
                [f"{m.passes:g}"],
                ["✓ " if m.allowed else "✗ ", *parts_of(str(m.words), names)],
            ]
            for m in methods.itertuples()
        ]
        table = table_of("Ways to gather", ["Way", "Takes", "Soil in the bale (ash)", "Passes", "Verdict"], rows)
        blocks.append({"more": {"title": "Ways to gather, compared", "blocks": [table]}})
    years = result.calendar[result.calendar["zone_id"] == zone.zone_id] if len(result.calendar) else result.calendar
    if len(years):
        rows = [[[str(y.year)], [capital(str(y.crop))], parts_of(str(y.words), names)] for y in years.itertuples()]
        table = table_of("If yields stay as they are", ["Year", "Crop", "Stover"], rows)
        blocks.append({"more": {"title": "The years to come", "blocks": [table]}})
    food = result.zone_nutrients[result.zone_nutrients["zone_id"] == zone.zone_id]
    for n in food.itertuples():
        rows = [
            [["Nitrogen"], amount("kg", n.n_kg)],
            [["Phosphate"], amount("kg", n.p2o5_kg)],
            [["Potash"], amount("kg", n.k2o_kg)],
            [["Sulfur"], amount("kg", n.s_kg)],
            [["Cost of replacing them"], amount("money", n.cost)],
        ]
        blocks.append(
            {
                "more": {
                    "title": "Plant food that leaves",
                    "blocks": [table_of("From this zone", ["What", "How much"], rows)],
                }
            }
        )
    return blocks


def _source(source: str | None) -> Parts:
    return [f" Source: {source}."] if source else []


def yard_panel(result: SeasonResult, yard: Any, number: int) -> list[Block]:
    """Return the panel of one yard (a row of the yards table, and its number in it)."""
    names = names_given(result)
    planned = int(result.hauls.loc[result.hauls["yard_id"] == yard.yard_id, "bales"].sum())
    stacks = int((result.stacks["yard_id"] == yard.yard_id).sum())
    ratings = result.yard_ratings[result.yard_ratings["yard_id"] == yard.yard_id]
    said_by = sources_of(SITE_CRITERIA)
    base = {"none": "bare ground", "gravel": "gravel", "tires": "tires or pallets"}.get(str(yard.base), str(yard.base))
    facts: list[Sequence[Parts]] = [
        [["Bales planned here"], [f"{planned:,}"]],
        [["Room for"], [f"{yard.capacity_bales:,.0f} bales in {stacks} stacks"]],
        [["Ground taken, with lanes"], amount("area", yard.area_ha)],
        [["Bales stand on"], [base]],
        [["Sun, share of open ground"], amount("share", yard.sun_share)],
        [["Slope"], amount("pct1", yard.slope_pct)],
        [["Way to road or gate"], amount("length", yard.road_m)],
    ]
    blocks: list[Block] = [
        {"p": parts_of(without_prices(str(yard.reason)), names)},
        {"drawing": number},
        *_drawn(result, yard.yard_id),
        table_of("This yard in numbers", ["What", "How much"], facts),
    ]
    sun = result.yard_sun[result.yard_sun["yard_id"] == yard.yard_id] if len(result.yard_sun) else result.yard_sun
    if len(sun):
        bars = {
            "caption": "Sun by month, share of open flat ground",
            "kind": "share",
            "rows": [[f"{MONTHS[int(m.month) - 1]} {m.year:.0f}", float(m.sun_share)] for m in sun.itertuples()],
            "line": None,
        }
        blocks.append({"bars": bars})
        if float(sun["sun_share"].max()) > 1 / _AS_GOOD_AS_BEST:
            blocks.append({"p": ["Over 100%: this ground leans towards the sun and gets more than flat ground."]})
    blocks += _around(result, yard.yard_id)
    if yard.not_checked:
        blocks.append({"p": [f"Not checked here: {without_keys(str(yard.not_checked))}"]})
    if len(ratings):
        worst = ratings[ratings["score"] < _AS_GOOD_AS_BEST].sort_values("score", kind="stable").head(_MOST_BARS)
        best = f"{(ratings['score'] >= _AS_GOOD_AS_BEST).sum()} of {len(ratings)} points rate 100 %."
        bars = {
            "caption": "Where this ground is not the best",
            "kind": "share",
            "rows": [[str(r.title), float(r.score)] for r in worst.itertuples()],
            "line": None,
        }
        blocks += [{"bars": bars}, {"p": [best]}] if len(worst) else [{"p": [best]}]
        reasons = [
            [f"{r.title}: ", *parts_of(without_prices(str(r.words)), names), *_source(said_by.get(r.criterion))]
            for r in ratings.itertuples()
        ]
        blocks.append({"more": {"title": "Each rating in words, with its source", "blocks": [{"ul": reasons}]}})
    return blocks


def _drawn(result: SeasonResult, yard_id: str) -> list[Block]:
    """Say what the drawing of a yard shows beside its rows."""
    lanes = result.lanes[result.lanes["yard_id"] == yard_id] if len(result.lanes) else result.lanes
    apron = result.apron[result.apron["yard_id"] == yard_id] if len(result.apron) else result.apron
    words: list[Parts] = [["Brown: rows of bales. "]]
    words += [["Pale: a lane ", quantity("length", w), " wide. "] for w in lanes.get("width_m", ())]
    square = "Dashed square: where trucks load and turn, "
    words += [[square, quantity("length", s), " each way."] for s in apron.get("side_m", ())]
    return [{"p": [part for line in words for part in line]}] if len(words) > 1 else []


def _around(result: SeasonResult, yard_id: str) -> list[Block]:
    """Return what stands nearest to a yard, and the ways from the zones to it, folded."""
    folded: list[Block] = []
    near = result.yard_near[result.yard_near["yard_id"] == yard_id] if len(result.yard_near) else result.yard_near
    if len(near):
        rows = [
            [[capital(str(n.layer).replace("_", " "))], [str(n.name)], amount("length", n.distance_m)]
            for n in near.drop(columns="geometry", errors="ignore").itertuples(index=False)
        ]
        folded.append(table_of("Nearest of each kind", ["What", "Name", "How far"], rows))
    ways = result.yard_ways[result.yard_ways["yard_id"] == yard_id] if len(result.yard_ways) else result.yard_ways
    if len(ways):
        rows = [[[str(w.zone_id)], amount("length", w.distance_m)] for w in ways.itertuples(index=False)]
        folded.append(table_of("Way over the ground from each zone", ["Zone", "How far"], rows))
    return [{"more": {"title": "What is near, and how far from the zones", "blocks": folded}}] if folded else []
