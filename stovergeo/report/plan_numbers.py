"""Every number of a plan that is printed anywhere, entered once into a `Ledger`.

A key says whose the number is, then what it is: ``("zone F1-a", "removal")``. Whose:

================================  ==============================================================================
``farm``                          the whole farm
``field F1``, ``zone F1-a``       a field, a zone
``rule R``, ``limit Z R``         a retention rule on the farm; what it asks for in a zone
``soil S``                        a soil, and what models of its carbon ask to stay
``method Z M``                    a baling method offered to a zone
``inventory Z M``                 what a method could take from a zone, whatever is needed
``staying Z``                     why a zone stays, and what would lift it
``lever L Z``                     what one change of the plan would let leave from a zone
``calendar Z YEAR``               a zone in a year to come
``cause F RANK``                  what the limit of a field hangs on
``yard Y``, ``stack S``           a yard; a stack drawn in it
``rating Y C``, ``setback C``     a site criterion in a yard; the distance it asks for
``near Y LAYER``                  the nearest of a layer to a yard's stacks
``near F LAYER NUMBER``           what stands near a field, the nearest first
``load Z Y S``                    bales from a zone that go into a stack of a yard
``sun Y YEAR MONTH``              a month of a yard
``yard_before Y``                 a yard of the plan that was answered
``haul Z Y``                      the route from a zone to a yard, and what is carried on it
``yard Y YEAR MONTH``             what is withdrawn from a yard in a month
``yard Y WRAP BASE``              what is stored in a yard in a wrap on a base; ``wrap WRAP`` on the whole farm
``withdrawal Y WRAP BASE N Y M``  bales that a need draws from a yard in a month
``storage WRAP BASE Y M``         what a bale loses and costs until a month, as ``2027 1``
``need N``, ``need N Y M``        a need, and a month of it; ``stored N Y M WRAP BASE`` what is drawn for it
``step S``                        a step of the season's cost
``alternative AIM``               another plan; ``budget N`` one of the plans that spare the soil for more money
``records R``                     yield records by the reason why they were left out
``raster V``                      least and greatest value of a variable of the field stack
================================  ==============================================================================

What: a bare name is an amount of the whole (``area``, ``grown``, ``removal``, ``bales``), ``_rate`` per hectare,
``_fraction`` a share of one. ``removal`` is the dry stover that is baled, ``removal_rate`` that where it is baled;
``removable`` what the cautious limit spares; ``retention_rate`` what must stay. Amounts of zones add up to those of
their field, fields to the farm, steps to the cost, months to their need and needs to the farm; in print too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.core.stack import summary
from stovergeo.report.field_work import load_rows, near_field
from stovergeo.report.ledger import Ledger
from stovergeo.report.plan_tables import AMOUNTS, SEASON, TABLES, TOTALS
from stovergeo.result import SeasonResult

FULL_SCORE: Final = 0.995  # from here on prints as 100 %
_LOAD: Final = {"bales": "count"}
#: totals of the farm that are no sums of parts, and their kinds
_LONE_TOTALS: Final = {
    "grain_mg": "mass",
    "stover_known_mg": "mass",
    "removable_known_mg": "mass",
    "cost_per_mg": "per_mass",
    "short_bales": "count",
    "yards_used": "count",
}
#: ending of the names of the grain surface's figures and of the stack's variables -> kind
_BY_ENDING: Final = {
    "_mg_ha": "rate",
    "_mg": "mass",
    "_ha": "area",
    "_pct": "percent1",
    "_fraction": "fraction",
    "_m": "length1",
    "_bu_ac": "number1",
    "": "number2",
}


def ledger_of(result: SeasonResult) -> Ledger:
    """Return the ledger of a plan; which keys it holds stands at the head of this module."""
    ledger = Ledger()
    _farm(ledger, result)
    _zones(ledger, result)
    _bales(ledger, result)
    _inventory(ledger, result)
    _needs(ledger, result)
    _costs(ledger, result)
    _pay(ledger, result)
    _nutrients(ledger, result)
    tables = result.tables()
    for read in TABLES:
        table = tables.get(read.name)
        if table is not None and len(table):
            _rows(ledger, table, read.of, read.keys, read.columns)
    for yard_id, own in result.siting.ratings.groupby("yard_id") if len(result.siting.ratings) else ():
        ledger.add(f"yard {yard_id}", "criteria", "count", len(own))
        ledger.add(f"yard {yard_id}", "criteria_full", "count", int((own["score"] >= FULL_SCORE).sum()))
    _field_work(ledger, result)
    if len(result.supply.trade_off):
        budgets = result.supply.trade_off.reset_index(drop=True).reset_index(names="number")
        _rows(ledger, budgets, "budget", ["number"], SEASON)
    for name, (_, low, high) in summary(*(cluster.stack for cluster in result.clusters)).items():
        ledger.add(f"raster {name}", "least", _kind_of(name), low)
        ledger.add(f"raster {name}", "greatest", _kind_of(name), high)
    return ledger


def _rows(
    ledger: Ledger, table: pd.DataFrame, of: str, keys: Sequence[str], columns: Mapping[str, tuple[str, str]]
) -> None:
    """Enter those of the columns that a table has."""
    found = {column: new for column, new in columns.items() if column in table}
    kinds = dict(found.values())
    renamed = table[[*keys, *found]].rename(columns={column: what for column, (what, _) in found.items()})
    ledger.add_table(renamed, of, list(keys), kinds)


def _kind_of(name: str) -> str:
    if name.startswith("grain_") or name in ("cv_rmse_mg_ha", "record_noise_mg_ha"):
        return "grain"
    return next(kind for ending, kind in _BY_ENDING.items() if name.endswith(ending))


def _farm(ledger: Ledger, result: SeasonResult) -> None:
    """Enter the totals that no parts stand beside, and the figures of the grain map."""
    for key, kind in _LONE_TOTALS.items():
        ledger.add("farm", TOTALS[key], kind, result.totals[key])
    for name, figure in result.yields.report.items():
        if not isinstance(figure, str):
            ledger.add("farm", name, _kind_of(name), figure)


def _tree(
    ledger: Ledger,
    result: SeasonResult,
    what: str,
    kind: str,
    zones: pd.Series,
    *,
    fields: pd.Series | None = None,
    farm: float | None = None,
) -> None:
    """Enter an amount of the farm, its fields and its zones.

    Parameters
    ----------
    zones : Series
        By zone_id; NaN where not known, and where a field has nothing known its own is not known.
    fields : Series, optional
        By field_id; left out: the sums of the zones.
    farm : float, optional
        Left out: the sum of the fields.
    """
    field_of = result.zones.set_index("zone_id")["field_id"]
    grouped = zones.groupby(field_of.reindex(zones.index))
    if fields is None:
        fields = grouped.sum(min_count=1).reindex(result.fields["field_id"])
        nothing = ~result.fields["field_id"].isin(field_of.reindex(zones.index)).to_numpy()
        fields = fields.mask(nothing & ~_unknown_fields(result), 0.0)
    ledger.add_parts(what, kind, "farm", {f"field {f}": v for f, v in fields.items()}, farm)
    for field_id, own in grouped:
        ledger.add_parts(what, kind, f"field {field_id}", {f"zone {z}": v for z, v in own.items()})


def _unknown_fields(result: SeasonResult) -> pd.Series:
    """Return by row of the fields on which of them no yield is known."""
    dark = (result.zones["method"] == UNKNOWN).groupby(result.zones["field_id"]).all()
    return dark.reindex(result.fields["field_id"], fill_value=False).to_numpy()


def _zones(ledger: Ledger, result: SeasonResult) -> None:
    zones = result.zones.set_index("zone_id")
    area = zones["area_ha"]
    grown, removal = zones["stover_mg_ha"] * area, zones["removal_mg"]
    field_area = result.fields.set_index("field_id")["area_ha"]
    _tree(ledger, result, "area", "area", area, fields=field_area, farm=result.totals["fields_ha"])
    _tree(ledger, result, "gathered_area", "area", (area * zones["gathered_fraction"]).where(removal.notna()))
    _tree(ledger, result, "grown", "mass", grown)
    _tree(ledger, result, "removable", "mass", zones["removable_mg_ha"] * area)
    _tree(ledger, result, "removal", "mass", removal)
    for what, part in (
        ("kept_free_area", zones["kept_free"].astype(bool)),
        ("unknown_area", zones["method"] == UNKNOWN),
    ):
        own = area.where(part, 0.0).groupby(zones["field_id"]).sum()
        ledger.add_parts(what, "area", "farm", {f"field {f}": v for f, v in own.items()})
    stays = float((grown - removal).sum())
    known_ha = float(area[removal.notna()].sum())
    ledger.add("farm", "stays", "mass", stays)
    ledger.add("farm", "stays_fraction", "fraction", stays / float(grown.sum()) if grown.sum() > 0 else float("nan"))
    ledger.add("farm", "stays_rate", "rate", stays / known_ha if known_ha > 0 else float("nan"))
    baled = result.residue.odds[result.residue.odds["zone_id"].isin(removal.index[removal > 0])]
    if len(baled):
        ledger.add("farm", "compliance_probability", "fraction", float(baled["compliance_probability"].min()))
    ledger.add("farm", "zones", "count", len(zones))
    ledger.add("farm", "zones_gathered", "count", int((removal > 0).sum()))


def _bales(ledger: Ledger, result: SeasonResult) -> None:
    """Enter what is whole already and adds up by itself."""
    zones = result.zones.set_index("zone_id")
    bales = result.bales.made.set_index("zone_id")["bales"].reindex(zones.index, fill_value=0).astype(float)
    bales = bales.mask(zones["method"] == UNKNOWN)
    _tree(ledger, result, "bales", "count", bales)
    net = result.bales.made.set_index("zone_id")["net_m"].reindex(zones.index, fill_value=0).astype(float)
    _tree(ledger, result, "net", "length", net.mask(bales.isna()))
    planned = result.supply.hauls.groupby("yard_id")["bales"].sum()
    for yard_id in result.yards["yard_id"]:
        ledger.add(f"yard {yard_id}", "bales", "count", int(planned.get(yard_id, 0)))
    for keys, of in ((["yard_id", "year", "month"], "yard"), (["wrap"], "wrap"), (["wrap", "base"], "wrap")):
        _sums(ledger, result.supply.withdrawals, keys, of)
    _sums(ledger, result.supply.stored, ["yard_id", "wrap", "base"], "yard")
    _sums(ledger, result.supply.stored, ["zone_id", "yard_id", "wrap", "base"], "haul")


def _sums(ledger: Ledger, table: pd.DataFrame, keys: list[str], of: str) -> None:
    if len(table):
        sums = table.groupby(keys, as_index=False, sort=False)["bales"].sum()
        ledger.add_table(sums, of, keys, {"bales": "count"})


def _inventory(ledger: Ledger, result: SeasonResult) -> None:
    """Enter what could leave; where a zone is worked just so, its mass prints as the zone's."""
    for row in result.supply.inventory.itertuples():
        zone, of = f"zone {row.zone_id}", f"inventory {row.zone_id} {row.method}"
        own = ledger.get(zone, "removal")
        if own is not None and abs(own - row.dry_mg) <= 1e-9 * row.dry_mg:
            ledger.add_parts("removal", "mass", zone, {of: float(own)})
        else:
            ledger.add(of, "removal", "mass", row.dry_mg)


def _needs(ledger: Ledger, result: SeasonResult) -> None:
    """Enter what is needed, what is baled for it, what reaches its use and what is short, by need and month."""
    need, used = result.supply.need, result.supply.wrap_use
    keys = ["need", "year", "month"]
    months = pd.MultiIndex.from_frame(need[keys]) if len(need) else pd.MultiIndex.from_arrays([[], [], []], names=keys)
    sums = used.groupby(keys)[["dry_mg", "withdrawn_mg", "bales"]].sum() if len(used) else None
    wanted = need.set_index(keys) if len(need) else None

    def of(table: pd.DataFrame | None, column: str) -> pd.Series:
        return pd.Series(0.0, months) if table is None else table[column].reindex(months, fill_value=0.0)

    made = of(sums, "bales")
    amounts: tuple[tuple[str, str, pd.Series], ...] = (
        ("need", "mass", of(wanted, "dry_mg")),
        ("baled", "mass", of(sums, "dry_mg")),
        ("withdrawn", "mass", of(sums, "withdrawn_mg")),
        ("need_bales", "count", of(wanted, "bales")),
        ("made_bales", "count", made),
        ("short_bales", "count", of(wanted, "bales") - made),
    )
    for what, kind, amount in amounts:
        whole = amount.groupby(level="need", sort=False).sum()
        ledger.add_parts(what, kind, "farm", {f"need {n}": v for n, v in whole.items()})
        for name, part in amount.groupby(level="need", sort=False):
            ledger.add_parts(what, kind, f"need {name}", {f"need {n} {y} {m}": v for (n, y, m), v in part.items()})
    # a month whose bales come from several wraps: its mass is shared among them
    for what, kind, column in (("baled", "mass", "dry_mg"), ("withdrawn", "mass", "withdrawn_mg")):
        for (name, year, month), part in used.groupby(keys, sort=False) if len(used) else ():
            leaves = {
                f"stored {name} {year} {month} {wrap} {base}": mass
                for wrap, base, mass in zip(part["wrap"], part["base"], part[column], strict=True)
            }
            ledger.add_parts(what, kind, f"need {name} {year} {month}", leaves)
    ledger.add("farm", "storage_loss", "mass", float(ledger["farm", "baled"]) - float(ledger["farm", "withdrawn"]))


def _costs(ledger: Ledger, result: SeasonResult) -> None:
    """Enter what the season costs, in all and for each Mg that reaches its use, by step; hauling by haul."""
    totals = result.totals
    steps = {k.removeprefix("cost_"): v for k, v in totals.items() if k.startswith("cost_") and k != "cost_per_mg"}
    ledger.add_parts("cost", "money", "farm", {f"step {s}": v for s, v in steps.items()}, totals["cost"])
    hauls = {f"haul {h.zone_id} {h.yard_id}": h.cost for h in result.supply.hauls.itertuples()}
    ledger.add_parts("cost", "money", "step haul", hauls)
    mass = totals["withdrawn_mg"]
    each = {f"step {s}": v / mass if mass > 0 else float("nan") for s, v in steps.items()}
    ledger.add_parts("cost_per_mass", "per_mass", "farm", each)


def _pay(ledger: Ledger, result: SeasonResult) -> None:
    """Enter what the landowner is offered, by mass and by area, down to the zones."""
    owner, zones = result.plan.landowner, result.zones.set_index("zone_id")
    by_mass = zones["removal_mg"] * (owner.price_per_mg or 0.0)
    by_area = zones["area_ha"] * zones["gathered_fraction"] * (owner.price_per_ha or 0.0)
    if owner.price_per_mg is not None:
        ledger.add("farm", "price_per_mass", "per_mass", owner.price_per_mg)
    if owner.price_per_ha is not None:
        ledger.add("farm", "price_per_area", "per_area", owner.price_per_ha)
    _same_as_step(ledger, "land", "pay", float((by_mass + by_area).sum()))
    _tree(ledger, result, "pay", "money", by_mass + by_area)
    if owner.price_per_mg is not None and owner.price_per_ha is not None:
        _tree(ledger, result, "pay_by_mass", "money", by_mass)
        _tree(ledger, result, "pay_by_area", "money", by_area)
    gathered = ledger["farm", "gathered_area"]
    each = ledger["farm", "pay"] / gathered if gathered > 0 else float("nan")
    ledger.add("farm", "pay_per_area", "per_area", each)


def _nutrients(ledger: Ledger, result: SeasonResult) -> None:
    """Enter the nutrients that leave, and what replacing them costs."""
    table = result.residue.zone_nutrients
    if not len(table):
        return
    table = table.set_index("zone_id")
    _same_as_step(ledger, "nutrients", AMOUNTS["cost"], float(table["cost"].sum()))
    for column in table.columns.intersection(list(AMOUNTS)):
        kind = "money" if column.startswith("cost") else "bale_mass"
        _tree(ledger, result, AMOUNTS[column], kind, table[column])


def _same_as_step(ledger: Ledger, step: str, what: str, amount: float) -> None:
    """Enter an amount that is a step of the cost too, where it is, so that both print alike."""
    cost = ledger[f"step {step}", "cost"]
    if abs(cost - amount) < 1e-6 * max(abs(amount), 1.0):
        ledger.add("farm", what, "money", cost)


def _field_work(ledger: Ledger, result: SeasonResult) -> None:
    """Enter which stack takes which bales, and how far from a field a gate or a hazard is."""
    ledger.add_table(
        load_rows(result.supply.hauls, result.siting.stacks), "load", ["zone_id", "yard_id", "stack_id"], _LOAD
    )
    for field in result.fields.itertuples():
        for near in near_field(result, field.geometry):
            ledger.add(f"near {field.field_id} {near.layer} {near.number}", "distance", "length", near.distance_m)
