"""Write ``docs/bales.md``: how bales, net, need and wrap are computed, with today's numbers.

Run ``python docs/write_bales.py`` after a change of these numbers; a test compares the page.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from stovergeo.bales import BaleSize, bale_of, break_even_table, need_table, net_length_m, storage_methods, wrap_table
from stovergeo.bales.storage import way_message
from stovergeo.core.bale_catalog import WRAPS
from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.units import KG_PER_LB, MG_PER_TON
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.need import MONTHS
from stovergeo.inputs.plan.plan import plan_from

PAGE = Path(__file__).with_name("bales.md")
SEASON = 2026
PRICE_PER_TON = 70.0
HOUSED = ["Oct", "Nov", "Dec", "Jan", "Feb", "Mar", "Apr"]
#: what stands on bedding, how it is bedded, at which rate (lb a head and day; None: the handbook's), in which months
HERDS = (
    ("deep-bedded barn, October to April", "deep_bedded_barn", None, HOUSED),
    ("open lot, all year, at the reported 3.2 lb", "open_lot", 3.2, list(MONTHS)),
    ("open lot, all year, at the handbook's rate", "open_lot", None, list(MONTHS)),
    ("deep-bedded barn, all year", "deep_bedded_barn", None, list(MONTHS)),
)


def plan_with(**sections) -> Plan:
    """Return a plan of nothing but these sections."""
    given = {"farm": {"name": "docs", "season": SEASON}, "layers": {}, "bale": {"size": "5x6"}, "wrap": {"kind": "net"}}
    return plan_from(given | sections, Path(), Report())


def herd_rows(coefficients: Handbook) -> list[str]:
    """Return a row for each herd of 1,600 head."""
    rows = []
    for title, housing, pounds, months in HERDS:
        herd: dict[str, object] = {"name": "herd", "head": 1600, "housing": housing, "months": months}
        if pounds:
            herd["kg_head_day"] = pounds * KG_PER_LB
        plan = plan_with(need={"herd": [herd]}, storage={"base": "ground"})
        bale = bale_of(plan.bale, None, coefficients)
        draw = need_table(plan.need, plan.storage, plan.wrap, bale, coefficients, SEASON)
        rate = pounds or coefficients.value(f"demand.bedding.{housing}") / KG_PER_LB
        baled_mg = (draw["dry_mg"] / (1 - draw["loss_pct"] / 100)).sum()
        loss = 100 * (1 - draw["dry_mg"].sum() / baled_mg)
        rows.append(f"| {title} | {rate:.1f} | {draw['days'].sum()} | {loss:.1f} | {draw['bales'].sum():,} |")
    return rows


def wrap_rows(table: pd.DataFrame, base: str) -> list[str]:
    """Return a row for each month of use: loss and cost of each wrap on one base, and the cheapest."""
    rows = []
    here = table[(table["base"] == base) & table["in_season"]]
    for (year, month), part in here.groupby(["year", "month"], sort=True):
        cells = [f"{p.loss_pct:.1f} %, ${p.cost_bale:.2f}" for p in part.itertuples()]
        cheapest = WRAPS[part.loc[part["cost_bale"].idxmin(), "wrap"]].title
        rows.append(f"| {MONTHS[month - 1]} {year} | {' | '.join(cells)} | {cheapest} |")
    return rows


def even_rows(table: pd.DataFrame, bale: BaleSize, ground: str) -> list[str]:
    """Return a row for each storage option with a dearer wrap than the cheapest, or a better base than bare ground."""
    rows = []
    for way in break_even_table(table, bale).itertuples():
        if way.base == ground or way.wrap == "net":
            first = f"{MONTHS[way.from_month - 1]} {way.from_year}" if way.from_month else "does not pay"
            price = "none" if way.price_mg == float("inf") else f"${way.price_mg * MG_PER_TON:.0f}"
            name = str(way_message(way.wrap, way.base))
            rows.append(f"| {name} | ${way.added_cost:.2f} | {way.saved_pct:.1f} | {first} | {price} |")
    return rows


def page() -> str:
    """Return the page as Markdown."""
    coefficients = load_handbook()
    plan = plan_with()
    bale = bale_of(plan.bale, None, coefficients)
    worth = {"value_per_mg": PRICE_PER_TON / MG_PER_TON}
    tables = {
        ground: wrap_table(
            plan.storage,
            plan.wrap,
            bale,
            coefficients,
            SEASON,
            among=storage_methods(plan.storage, bale, ground),
            **worth,
        )
        for ground in ("soil", "clay")
    }
    wraps = list(dict.fromkeys(tables["soil"]["wrap"]))
    head = f"| used in | {' | '.join(WRAPS[w].title for w in wraps)} | cheapest |\n|{'---|' * (len(wraps) + 2)}"
    turns, overlap = coefficients.value("wrap.turns"), coefficients.value("wrap.overlap")
    moisture = coefficients.value("bale.moisture_in_use")
    nl = "\n"
    return f"""# Bales, net, need and wrap

*Written by `docs/write_bales.py` with the handbook's defaults; a test keeps it current. Your plan's numbers replace
them. Prices are of 2024 and are judgment or from memory: `stovergeo handbook` names the source of each.*

## The bale

A round bale holds `pi / 4 * diameter^2 * width * density`, a square one `height * width * length * density`; density is
dry, so its as-is mass follows from its moisture: `dry / (1 - moisture)`. A 5x6 (5 ft wide, 6 ft across) holds
{bale.dry_kg:.0f} kg dry ({bale.dry_low_kg:.0f} to {bale.dry_high_kg:.0f}) and weighs {bale.as_is_kg:.0f} kg at
{bale.moisture_pct:g} %. Bales of a zone are whole and never hold more than is removed from it.

A baler makes `3600 / (m / q + t)` bales an hour: `m` dry mass, `q` what it takes in while it moves (less where thin
windrows hold it to its ground speed), `t` the time it stands to wrap.

## Net

{turns:g} turns in coarse stover, {coefficients.value("wrap.turns_long"):g} for a year or more outside or a long haul,
overlap of a foot or two: common practice, no source. University bulletins print 1.25 to 3 turns, for hay; they
are in the handbook beside `wrap.turns`. A 5x6 takes {net_length_m(bale.diameter_m, turns, overlap):.1f} m.

## The need

Bales to make = head x rate x days / ((1 - waste) x dry bale x (1 - loss)), month by month: a bale that waits longer has
lost more, so the same day's bedding takes more bales in August than in December. Rates are as weighed out, at
{moisture:g} % moisture.

A herd of 1,600 on bedding takes some 1,500 to 1,700 round bales a year (common practice, no source). 5x6 bales in net
on drained ground, baled on 5 November:

| housing | lb a head and day | days | lost before use, % | bales |
|---|---|---|---|---|
{nl.join(herd_rows(coefficients))}

The first two meet it, each with a published rate. The last two are shown because they do not: at the middle of the
published range a herd deep-bedded all year takes far more, and an open lot less. Housing and months decide, so state
yours.

## Which wrap pays

Loss, and cost a bale with the lost stover at ${PRICE_PER_TON:.0f} a dry ton: wrap, standing at the wrap, and
loss. Default climate, single rows, a 5x6. The loss is the middle of a band from half to twice (see
[the fit](storage-fit.md)).

On drained ground:

{head}
{nl.join(wrap_rows(tables["soil"], "soil"))}

On heavy clay or wet ground:

{head}
{nl.join(wrap_rows(tables["clay"], "clay"))}

Against net on the same bare ground: the added cost and the loss saved for the bales used last, from which month of use
a dearer wrap or base pays at ${PRICE_PER_TON:.0f}, and from which price of a dry ton it pays for the last bales:

| drained ground | more, $ a bale | saves, points | pays for bales used from | pays from |
|---|---|---|---|---|
{nl.join(even_rows(tables["soil"], bale, "soil"))}

| heavy clay or wet ground | more, $ a bale | saves, points | pays for bales used from | pays from |
|---|---|---|---|---|
{nl.join(even_rows(tables["clay"], bale, "clay"))}

Dry matter alone is counted. Visible spoilage is not, unless `storage.rim_rejected` says which share of it is thrown
away. All trials of rain-shedding covers on round bales were on hay or perennial grass, none on stover.
"""


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
