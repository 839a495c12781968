"""What stands folded away below the map: the choice, how stover keeps, all that the map shows as tables, sources."""

from __future__ import annotations

from typing import Final

from stovergeo.report.blocks import MONTHS, Block, Cell, entry, table, text, texts
from stovergeo.report.by_field import field_rows
from stovergeo.report.ledger import Ledger
from stovergeo.report.page_yards import yard_tables
from stovergeo.report.panels import capital, layer_title, method_titles
from stovergeo.report.tables import asked_rows
from stovergeo.result import SeasonResult

_MAX_CURVES: Final = 8  # as many as the page has line styles
_MAX_CAUSES: Final = 3
_MAX_NAMES: Final = 200  # of one layer


def storage_blocks(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return chart and table of what storage costs in stover, by wrap and month, as far as worked out."""
    said = _said(result, "storage", "baling")
    wraps = result.wrap_table
    if wraps.empty:
        return said
    months = wraps.drop_duplicates("months_stored").sort_values("months_stored")
    cheapest = wraps.groupby("title")["cost_bale"].mean().sort_values(kind="stable").index
    best = wraps[wraps["best"].astype(bool)].sort_values("months_stored")
    winners = wraps.loc[wraps["best"].astype(bool), "title"].unique()
    series = []
    for title in [*winners, *(t for t in cheapest if t not in winners)][:_MAX_CURVES]:
        part = wraps[wraps["title"] == title].drop_duplicates("months_stored").set_index("months_stored")
        losses = part["loss_pct"].reindex(months["months_stored"])
        series.append({"label": str(title), "mid": [None if v != v else round(float(v), 2) for v in losses]})
    curves = {
        "caption": "Dry stover lost in storage, by month of use",
        "x": [MONTHS[int(m) - 1] for m in months["month"]],
        "series": series,
    }
    rows = [
        [MONTHS[int(r.month) - 1], str(r.title), entry(ledger, f"storage {r.wrap} {r.base} {r.year} {r.month}", "loss")]
        for r in best.itertuples()
    ]
    least = table("What costs least, by month of use", ["Used in", "Wrap and ground", "Lost"], rows)
    return [{"curves": curves}, least, *said]


def _said(result: SeasonResult, *topics: str) -> list[Block]:
    """Return what is said of some topics as a list."""
    said = [one for topic in topics for one in result.words.get(topic, [])]
    return [{"ul": texts(said)}] if said else []


def choice_blocks(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return what was chosen and what its limit hangs on; costs and second choices are the grower's (`terminal`)."""
    names = result.fields.set_index("field_id")["name"].astype(str)
    causes = result.sensitivity
    rows = [
        [
            names.get(s.field_id, s.field_id),
            capital(str(s.meaning)),
            entry(ledger, f"cause {s.field_id} {s.rank}", "fraction"),
        ]
        for s in (causes[causes["rank"] <= _MAX_CAUSES].itertuples() if len(causes) else ())
    ]
    hangs = table("What the limit depends on most", ["Field", "What is uncertain", "Its part"], rows)
    return [*_said(result, "summary", "choice", "yards"), *([hangs] if rows else [])]


def all_tables(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return everything that the map shows, as tables."""
    methods = method_titles(result)
    names = result.fields.set_index("field_id")["name"].astype(str)

    def columns(of: str, *what: str) -> list[Cell]:
        return [entry(ledger, of, one) for one in what]

    blocks = [
        table(
            "Fields",
            ["Field", "Area", "May leave, dry", "Would leave, dry", "Bales", "Baled by", "Yards"],
            [
                [f["name"], *columns(f"field {f['field_id']}", "area", "removable", "removal", "bales"),
                 f["methods"], f["yards"]]
                for f in field_rows(result)
            ],
        ),
        table(
            "Zones",
            ["Zone", "Field", "Area", "Must stay", "Would leave", "Bales", "Baled by", "Why"],
            [
                [z.zone_id, names.get(z.field_id, ""),
                 *columns(f"zone {z.zone_id}", "area", "retention_rate", "removal_rate", "bales"),
                 methods.get(z.method, z.method), text(z.reason)]
                for z in result.zones.itertuples()
            ],
        ),
        table(
            "Yards",
            ["Yard", "Room for, bales", "Slope", "Sun", "Route to road", "Why", "Not checked"],
            [
                [y.yard_id, *columns(f"yard {y.yard_id}", "capacity", "slope", "sun_fraction", "road"),
                 text(y.reason), text(y.not_checked)]
                for y in result.yards.itertuples()
            ],
        ),
        table(
            "Hauls",
            ["From zone", "To yard", "Bales", "Route"],
            [
                [h.zone_id, h.yard_id, *columns(f"haul {h.zone_id} {h.yard_id}", "bales", "distance")]
                for h in result.hauls.itertuples()
            ],
        ),
        *yard_tables(result, ledger),
        table(
            "Around the fields",
            ["What", "Name"],
            [
                [layer_title(layer), name if isinstance(name, str) else ""]
                for layer, things in result.surroundings.items()
                for name in (things["name"] if "name" in things else [""] * len(things))[:_MAX_NAMES]
            ],
        ),
    ]  # fmt: skip
    return [b for b in blocks if b["table"]["rows"]]


def source_blocks(result: SeasonResult) -> list[Block]:
    """Return the coefficients used, with sources and standing, and the problems met; the grower's own are left out.

    His are the prices he pays, and what is wrong with his plan file.
    """
    numbers = [
        [
            c.meaning,
            f"{c.value:g} ({c.low:g} to {c.high:g}) {'' if c.unit == '1' else c.unit}",
            str(c.standing),
            c.source,
        ]
        for c in result.coefficients
        if "$" not in c.unit or c.key.startswith("nutrients.")
    ]
    asked = [[title, kind, source] for _, _, title, source, kind in asked_rows(result)]
    problems = [[p.where, text(p.what), p.why] for p in result.problems if not p.code.startswith("plan.")]
    blocks = [
        table("Numbers used", ["What", "Value (low to high)", "Standing", "Source"], numbers),
        table("Rules and criteria asked", ["What", "Kind", "Source"], asked),
        table("Found in the layers and dealt with", ["Where", "What", "Why it matters"], problems),
    ]
    return [b for b in blocks if b["table"]["rows"]]
