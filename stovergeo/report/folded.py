"""What stands folded away below the map: the choice, how stover keeps, all that the map shows as tables, sources."""

from __future__ import annotations

from typing import Final

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.first_screen import names_given, without_keys, without_prices
from stovergeo.report.page_yards import yard_tables
from stovergeo.report.panels import MONTHS, Block, amount, capital, method_titles, table_of
from stovergeo.report.say import Parts, as_text, parts_of
from stovergeo.report.tables import asked_rows
from stovergeo.report.terminal import field_rows
from stovergeo.result import SeasonResult

_MOST_CURVES: Final = 8  # as many as the page has line styles
_MOST_CAUSES: Final = 3


def storage_blocks(result: SeasonResult) -> list[Block]:
    """Return chart and table of what storage costs in stover, by wrap and month, as far as worked out."""
    blocks = _told(result, ("storage", "baling"))
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
    labels = [MONTHS[int(m) - 1] for m in months["month"]]
    rows = [
        [[MONTHS[int(r.month) - 1]], [str(r.title)], amount("pct1", r.loss_pct)]
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
        table_of("What costs least, by month of use", ["Used in", "Wrap and ground", "Lost"], rows),
        *blocks,
    ]


def _told(result: SeasonResult, topics: tuple[str, ...]) -> list[Block]:
    """Return the words of some topics as a list, as far as they are for the landowner."""
    words = [without_prices(str(w)) for topic in topics for w in result.words.get(topic, [])]
    said = [parts_of(w, names_given(result)) for w in words if w]
    return [{"ul": said}] if said else []


def choice_blocks(result: SeasonResult) -> list[Block]:
    """Return what was chosen and what its limit hangs on; costs and second choices are the grower's (`terminal`)."""
    blocks = _told(result, ("summary", "choice", "yards"))
    field_names = dict(result.fields.set_index("field_id")["name"].astype(str))
    if len(result.sensitivity):
        rows = [
            [[field_names.get(s.field_id, str(s.field_id))], [capital(str(s.meaning))], amount("share", s.share)]
            for s in result.sensitivity[result.sensitivity["rank"] <= _MOST_CAUSES].itertuples()
        ]
        blocks.append(table_of("What the limit hangs on most", ["Field", "What is uncertain", "Its part"], rows))
    return blocks


def all_tables(result: SeasonResult) -> list[Block]:
    """Return everything that the map shows, as tables."""
    titles = method_titles(result)
    bales = result.bale_plan.set_index("zone_id")["bales"]
    field_names = dict(result.fields.set_index("field_id")["name"].astype(str))
    blocks = [
        table_of(
            "Fields",
            ["Field", "Area", "May leave, dry", "Would leave, dry", "Gathered by", "Bales", "Yards"],
            [
                [
                    [f["name"]],
                    amount("area", f["area_ha"]),
                    amount("mass", f["removable_mg"]),
                    amount("mass", f["take_mg"]),
                    [f["methods"]],
                    amount("count", f["bales"]),
                    [f["yards"]],
                ]
                for f in field_rows(result)
            ],
        ),
        table_of(
            "Zones",
            ["Zone", "Field", "Area", "Must stay", "Would leave", "Gathered by", "Bales", "Why"],
            [
                [
                    [z.zone_id],
                    [field_names.get(z.field_id, "")],
                    amount("area", z.area_ha),
                    amount("rate", z.keep_mg_ha),
                    amount("rate", z.take_mg_ha),
                    [titles.get(z.method, str(z.method))],
                    amount("count", float("nan") if z.method == UNKNOWN else bales.get(z.zone_id, 0)),
                    parts_of(without_prices(as_text(z.reason)), names_given(result)),
                ]
                for z in result.zones.itertuples()
            ],
        ),
        table_of(
            "Yards",
            ["Yard", "Room for, bales", "Slope", "Sun", "Way to road", "Why", "Not checked"],
            [
                [
                    [y.yard_id],
                    [f"{y.capacity_bales:,.0f}"],
                    amount("pct1", y.slope_pct),
                    amount("share", y.sun_share),
                    amount("length", y.road_m),
                    parts_of(without_prices(str(y.reason)), names_given(result)),
                    [without_keys(str(y.not_checked))],
                ]
                for y in result.yards.itertuples()
            ],
        ),
        table_of(
            "Hauls",
            ["From zone", "To yard", "Bales", "Way"],
            [
                [[h.zone_id], [h.yard_id], [f"{h.bales:,.0f}"], amount("length", h.distance_m)]
                for h in result.hauls.itertuples()
            ],
        ),
        *yard_tables(result),
        table_of("Around the fields", ["What", "Name"], _around(result)),
    ]
    return [b for b in blocks if b["table"]["rows"]]


def _around(result: SeasonResult) -> list[list[Parts]]:
    rows: list[list[Parts]] = []
    for layer, things in result.surroundings.items():
        names = things["name"] if "name" in things else pd.Series("", index=things.index)
        rows += [[[layer.replace("_", " ")], [str(n) if isinstance(n, str) else ""]] for n in names.head(200)]
    return rows


def source_blocks(result: SeasonResult) -> list[Block]:
    """Return the coefficients used, with sources and standing, and the problems met; the grower's prices left out."""
    blocks: list[Block] = []
    if result.coefficients:
        blocks.append(
            table_of(
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
                    if "$" not in c.unit or c.key.startswith("nutrients.")
                ],
            )
        )
    asked = [[[title], [kind], [source]] for _, _, title, source, kind in asked_rows(result)]
    if asked:
        blocks.append(table_of("Rules and criteria asked", ["What", "Kind", "Source"], asked))
    if result.problems:
        blocks.append(
            table_of(
                "Found in the layers and dealt with",
                ["Where", "What", "Why it matters"],
                [
                    [[p.where], [what], [p.why]]
                    for p in result.problems
                    if (what := without_prices(p.what_in(result.plan.farm.units)))
                ],
            )
        )
    return blocks
