"""What opens one click down: the panel of a zone or a yard, and the tables of all that the map shows.

A panel is a list of blocks, each a dict with one key that names its kind: ``p`` (a text),
``ul`` (texts), ``table``, ``bars``, ``curves``, ``drawing``, ``more`` (blocks folded away).
The page lays them out; all words are chosen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import pandas as pd

from stovergeo.doors import RETENTION_RULES, SITE_CRITERIA, through_door
from stovergeo.result import SeasonResult
from stovergeo.share.first_screen import names_given, without_keys
from stovergeo.share.say import Parts, parts_of, quantity
from stovergeo.share.terminal import field_rows

Block = dict[str, Any]


def rule_titles(result: SeasonResult) -> dict[str, str]:
    """Return title in words by name of retention rule."""
    return dict(result.zone_limits.drop_duplicates("rule").set_index("rule")["title"].astype(str))


def method_titles(result: SeasonResult) -> dict[str, str]:
    """Return title in words by name of method."""
    titles = dict(result.zone_methods.drop_duplicates("method").set_index("method")["title"].astype(str))
    return {**{name: _capital(title) for name, title in titles.items()}, "leave": "Leave: no baling"}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


@cache
def sources_of(group: str) -> dict[str, str]:
    """Return the source each working rule or criterion names, by its name."""
    return {p.name: str(p.thing.source) for p in through_door(group) if not p.broken}


def _q(kind: str, value: float) -> Parts:
    return [quantity(kind, value)]


def _table(caption: str, head: list[str], rows: Sequence[Sequence[Parts]]) -> Block:
    return {"table": {"caption": caption, "head": head, "rows": rows}}


def zone_panel(result: SeasonResult, zone: Any) -> list[Block]:
    """Return the panel of one zone (a row of the zones table)."""
    names = names_given(result)
    limits = result.zone_limits[result.zone_limits["zone_id"] == zone.zone_id]
    methods = result.zone_methods[result.zone_methods["zone_id"] == zone.zone_id]
    bales = result.bale_plan[(result.bale_plan["zone_id"] == zone.zone_id) & (result.bale_plan["bales"] > 0)]
    titles = method_titles(result)
    blocks: list[Block] = [{"p": parts_of(str(zone.reason), names)}]
    facts: list[Sequence[Parts]] = [
        [["Area"], _q("area", zone.area_ha)],
        [["Stover grown, dry"], _q("rate", zone.stover_mg_ha)],
        [["Must stay"], _q("rate", zone.keep_mg_ha)],
        [["May leave, cautious"], _q("rate", zone.removable_mg_ha)],
        [["Would leave"], _q("rate", zone.take_mg_ha)],
        [["Gathered by"], [titles.get(zone.method, str(zone.method))]],
    ]
    if 0 < getattr(zone, "gathered_share", 1.0) < 0.995:
        facts.append([["Share of the zone that is baled"], _q("share", zone.gathered_share)])
    for b in bales.itertuples():
        facts.append([["Bales"], [f"{b.bales:,.0f}, each ", quantity("kg", b.bale_as_is_kg), " as it stands"]])
        facts.append([["Turns of net"], [f"{b.turns:g}" if b.turns == b.turns else "–"]])
    for h in result.hauls[result.hauls["zone_id"] == zone.zone_id].itertuples():
        facts.append(
            [[f"To yard {h.yard_id}"], [f"{h.bales:,.0f} bales, ", quantity("length", h.distance_m), " one way"]]
        )
    blocks.append(_table("This zone in numbers", ["What", "How much"], facts))
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
                [_capital(str(m.title))],
                _q("rate", m.take_mg_ha),
                _q("pct1", m.ash_pct),
                [f"{m.passes:g}"],
                ["✓ " if m.allowed else "✗ ", *parts_of(str(m.words), names)],
            ]
            for m in methods.itertuples()
        ]
        table = _table("Ways to gather", ["Way", "Takes", "Soil in the bale (ash)", "Passes", "Verdict"], rows)
        blocks.append({"more": {"title": "Ways to gather, compared", "blocks": [table]}})
    years = result.calendar[result.calendar["zone_id"] == zone.zone_id] if len(result.calendar) else result.calendar
    if len(years):
        rows = [[[str(y.year)], [_capital(str(y.crop))], parts_of(str(y.words), names)] for y in years.itertuples()]
        table = _table("If yields stay as they are", ["Year", "Crop", "Stover"], rows)
        blocks.append({"more": {"title": "The years to come", "blocks": [table]}})
    food = result.zone_nutrients[result.zone_nutrients["zone_id"] == zone.zone_id]
    for n in food.itertuples():
        rows = [
            [["Nitrogen"], _q("kg", n.n_kg)],
            [["Phosphate"], _q("kg", n.p2o5_kg)],
            [["Potash"], _q("kg", n.k2o_kg)],
            [["Sulfur"], _q("kg", n.s_kg)],
            [["Cost of replacing them"], _q("money", n.cost)],
        ]
        blocks.append(
            {
                "more": {
                    "title": "Plant food that leaves",
                    "blocks": [_table("From this zone", ["What", "How much"], rows)],
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
        [["Ground taken, with lanes"], _q("area", yard.area_ha)],
        [["Bales stand on"], [base]],
        [["Cost of that"], _q("money", yard.base_cost)],
        [["Sun, share of open ground"], _q("share", yard.sun_share)],
        [["Slope"], _q("pct1", yard.slope_pct)],
        [["Way to road or gate"], _q("length", yard.road_m)],
    ]
    blocks: list[Block] = [
        {"p": parts_of(str(yard.reason), names)},
        {"drawing": number},
        _table("This yard in numbers", ["What", "How much"], facts),
    ]
    sun = result.yard_sun[result.yard_sun["yard_id"] == yard.yard_id] if len(result.yard_sun) else result.yard_sun
    if len(sun):
        bars = {
            "caption": "Sun by month, share of open flat ground",
            "kind": "share",
            "rows": [[f"{_MONTHS[int(m.month) - 1]} {m.year:.0f}", float(m.sun_share)] for m in sun.itertuples()],
            "line": None,
        }
        blocks.append({"bars": bars})
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
            [f"{r.title}: ", *parts_of(str(r.words), names), *_source(said_by.get(r.criterion))]
            for r in ratings.itertuples()
        ]
        blocks.append({"more": {"title": "Each rating in words, with its source", "blocks": [{"ul": reasons}]}})
    return blocks


def storage_blocks(result: SeasonResult) -> list[Block]:
    """Return chart and table of what storage costs in stover, by wrap and month, as far as worked out."""
    names = names_given(result)
    said = [parts_of(w, names) for topic in ("storage", "wrap", "baling") for w in result.words.get(topic, [])]
    blocks: list[Block] = [{"ul": said}] if said else []
    table = result.wrap_table
    if table.empty:
        return blocks
    if "title" not in table:
        title = [f"{w} on {b}".replace("_", " ") for w, b in zip(table["wrap"], table["base"], strict=True)]
        table = table.assign(title=title)
    months = table.drop_duplicates("months_stored").sort_values("months_stored")
    cheapest = table.groupby("title")["cost_bale"].mean().sort_values(kind="stable").index
    winners = table.loc[table["best"].astype(bool), "title"].unique()
    shown = [*winners, *(t for t in cheapest if t not in winners)][:_MOST_CURVES]
    series = []
    for title in shown:
        part = table[table["title"] == title].drop_duplicates("months_stored").set_index("months_stored")
        losses = part["loss_pct"].reindex(months["months_stored"])
        series.append({"label": str(title), "mid": [None if v != v else round(float(v), 2) for v in losses]})
    labels = [_MONTHS[int(m) - 1] for m in months["month"]]
    rows = [
        [[_MONTHS[int(r.month) - 1]], [str(r.title)], _q("pct1", r.loss_pct), _q("money2", r.cost_bale)]
        for r in table[table["best"].astype(bool)].sort_values("months_stored").itertuples()
    ]
    return [
        {
            "curves": {
                "caption": "Dry stover lost in storage, by month of use",
                "unit": "%",
                "x": labels,
                "series": series,
            }
        },
        _table("What costs least, by month of use", ["Used in", "Wrap and ground", "Lost", "Cost of a bale"], rows),
        *blocks,
    ]


def choice_blocks(result: SeasonResult) -> list[Block]:
    """Return why this plan was chosen, what else was looked at, what it hangs on and the years to come."""
    names = names_given(result)
    said = [parts_of(w, names) for topic in ("summary", "choice", "yards") for w in result.words.get(topic, [])]
    blocks: list[Block] = [{"ul": said}] if said else []
    field_names = dict(result.fields.set_index("field_id")["name"].astype(str))
    if len(result.sensitivity):
        rows = [
            [[field_names.get(s.field_id, str(s.field_id))], [_capital(str(s.meaning))], _q("share", s.share)]
            for s in result.sensitivity[result.sensitivity["rank"] <= _MOST_CAUSES].itertuples()
        ]
        blocks.append(_table("What the limit hangs on most", ["Field", "What is uncertain", "Its part"], rows))
    return blocks


_MOST_BARS = 8
_AS_GOOD_AS_BEST = 0.995  # prints as 100 %
_MOST_CURVES = 8  # as many as the page has line styles
_MOST_CAUSES = 3
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def all_tables(result: SeasonResult) -> list[Block]:
    """Return everything that the map shows, as tables."""
    titles = method_titles(result)
    bales = result.bale_plan.set_index("zone_id")["bales"]
    field_names = dict(result.fields.set_index("field_id")["name"].astype(str))
    blocks = [
        _table(
            "Fields",
            ["Field", "Area", "May leave, dry", "Would leave, dry", "Gathered by", "Bales", "Yards"],
            [
                [
                    [f["name"]],
                    _q("area", f["area_ha"]),
                    _q("mass", f["removable_mg"]),
                    _q("mass", f["take_mg"]),
                    [f["methods"]],
                    [f"{f['bales']:,}"],
                    [f["yards"]],
                ]
                for f in field_rows(result)
            ],
        ),
        _table(
            "Zones",
            ["Zone", "Field", "Area", "Must stay", "Would leave", "Gathered by", "Bales", "Why"],
            [
                [
                    [z.zone_id],
                    [field_names.get(z.field_id, "")],
                    _q("area", z.area_ha),
                    _q("rate", z.keep_mg_ha),
                    _q("rate", z.take_mg_ha),
                    [titles.get(z.method, str(z.method))],
                    [f"{bales.get(z.zone_id, 0):,.0f}"],
                    parts_of(str(z.reason), names_given(result)),
                ]
                for z in result.zones.itertuples()
            ],
        ),
        _table(
            "Yards",
            ["Yard", "Room for, bales", "Slope", "Sun", "Way to road", "Why", "Not checked"],
            [
                [
                    [y.yard_id],
                    [f"{y.capacity_bales:,.0f}"],
                    _q("pct1", y.slope_pct),
                    _q("share", y.sun_share),
                    _q("length", y.road_m),
                    parts_of(str(y.reason), names_given(result)),
                    [without_keys(str(y.not_checked))],
                ]
                for y in result.yards.itertuples()
            ],
        ),
        _table(
            "Hauls",
            ["From zone", "To yard", "Bales", "Way", "Cost"],
            [
                [[h.zone_id], [h.yard_id], [f"{h.bales:,.0f}"], _q("length", h.distance_m), _q("money", h.cost)]
                for h in result.hauls.itertuples()
            ],
        ),
        _table("Around the fields", ["What", "Name"], _around(result)),
    ]
    return [b for b in blocks if b["table"]["rows"]]


def _around(result: SeasonResult) -> list[list[Parts]]:
    rows: list[list[Parts]] = []
    for layer, things in result.surroundings.items():
        names = things["name"] if "name" in things else pd.Series("", index=things.index)
        rows += [[[layer.replace("_", " ")], [str(n) if isinstance(n, str) else ""]] for n in names.head(200)]
    return rows


def source_blocks(result: SeasonResult) -> list[Block]:
    """Return the coefficients used, with sources and standing, and the problems met."""
    blocks: list[Block] = []
    if result.coefficients:
        blocks.append(
            _table(
                "Numbers used",
                ["What", "Value (low to high)", "Standing", "Source"],
                [
                    [
                        [c.meaning],
                        [f"{c.value:g} ({c.low:g} to {c.high:g}) {'' if c.unit == '1' else c.unit}"],
                        [str(c.standing)],
                        [c.source],
                    ]
                    for c in result.coefficients
                ],
            )
        )
    if result.problems:
        blocks.append(
            _table(
                "Found in the layers and dealt with",
                ["Where", "What", "Why it matters"],
                [[[p.where], [p.what], [p.why]] for p in result.problems],
            )
        )
    return blocks
