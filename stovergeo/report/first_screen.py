"""What the landowner reads first, in plain words: each section is a heading and a few sentences."""

from __future__ import annotations

from typing import Any

import pandas as pd

from stovergeo.core.bale_catalog import SHAPES
from stovergeo.core.messages import Message
from stovergeo.core.schemas import UNKNOWN
from stovergeo.inputs.plan.layers import Layers
from stovergeo.report.blocks import has_message, message, plain, texts
from stovergeo.report.by_field import kept_free
from stovergeo.report.cautions import LEASE
from stovergeo.report.ledger import Ledger
from stovergeo.result import SeasonResult

_YARD_REASONS = 3  #: sentences on why a yard is where it is; the others stand in its panel


def first_screen(result: SeasonResult, ledger: Ledger) -> list[dict[str, Any]]:
    """Return the sections of the first screen: id, title, lines."""
    sections = {
        "proposed": _proposed(result, ledger),
        "unknown": result.words.get("unknown", []),
        "bales": _bales(result, ledger),
        "yards": _yards(result, ledger),
        "time": _time(result),
        "soil": result.words.get("soil", []),
        "stays": _stays(result, ledger),
        "offer": _offer(result, ledger),
        "short": _short(result, ledger),
        "unchecked": _unchecked(result),
        "ask": [result.plan.farm.ask or message("page.rest.ask")],
    }
    return [
        {"id": name, "title": plain(f"page.title.{name}"), "lines": texts(lines)}
        for name, lines in sections.items()
        if lines
    ]


def _baled(result: SeasonResult) -> pd.DataFrame:
    return result.zones[result.zones["removal_mg"] > 0]


def _unknown(result: SeasonResult) -> pd.Series:
    """Return which zones are those of which no yield is known."""
    return result.zones["method"] == UNKNOWN


def _proposed(result: SeasonResult, ledger: Ledger) -> list[Any]:
    farm = {"season": str(result.plan.farm.season), "farm": result.plan.farm.name}
    kept = kept_free(result.zones)
    if len(_baled(result)):
        area = {"gathered": ledger["farm", "gathered_area"], "fields": ledger["farm", "area"]}
        key = "some" if result.plan.need.given else "inventory"
        lines: list[Any] = [(message(f"page.proposed.{key}", **farm, **area), message("page.proposed.answer"))]
    else:
        all_kept, unknown = len(kept) and kept.all(), _unknown(result).any()
        none = "none_kept_free" if all_kept else "none_where_known" if unknown else "none"
        lines = [message(f"page.proposed.{none}", **farm), *result.words.get("lever", [])]
    return lines + ([message("page.proposed.kept_free", area=ledger["farm", "kept_free_area"])] if kept.any() else [])


def _bales(result: SeasonResult, ledger: Ledger) -> list[Any]:
    if _baled(result).empty:
        return []
    shape = SHAPES[result.plan.bale.shape].title
    made = {"bales": int(ledger["farm", "bales"]), "mass": ledger["farm", "removal"]}
    lines: list[Any] = [message(f"page.bales.{'farm' if result.plan.need.given else 'inventory'}", shape=shape, **made)]
    kept, unknown = kept_free(result.zones), _unknown(result)
    for field in result.fields.itertuples():
        mine = result.zones["field_id"] == field.field_id
        name, of = str(field.name), f"field {field.field_id}"
        if mine.any() and kept[mine].all():
            lines.append(message("page.bales.kept_free", field=name))
        elif unknown[mine].all():
            lines.append(message("page.bales.unknown", field=name))
        else:
            bales = int(ledger[of, "bales"])
            some = message("page.bales.field", field=name, bales=bales)
            line = [some if bales else message("page.bales.none", field=name)]
            if unknown[mine].any():
                line.append(message("page.bales.part_unknown"))
            if kept[mine].any():
                line.append(message("page.bales.part_kept_free", area=ledger[of, "kept_free_area"]))
            lines.append(line)
    return lines


def _yards(result: SeasonResult, ledger: Ledger) -> list[Any]:
    if result.yards.empty:
        return result.words.get("yards", [])
    lines: list[Any] = []
    for yard in result.yards.itertuples():
        if bales := int(ledger[f"yard {yard.yard_id}", "bales"]):
            stacks = int((result.siting.stacks["yard_id"] == yard.yard_id).sum())
            begin = message("page.yards.bales", yard=yard.yard_id, bales=bales, stacks=stacks)
            lines.append([begin, *sentences(yard.reason)[:_YARD_REASONS]])
    spare = [y for y in result.yards["yard_id"] if not ledger[f"yard {y}", "bales"]]
    return [*lines, *([message("page.yards.spare", yards=spare)] if spare else []), message("page.yards.touch")]


def sentences(cell: Any) -> list[Any]:
    """Return what a cell of a table says, sentence by sentence."""
    if isinstance(cell, Message):
        return list(cell.values.get("sentences", [cell]))
    return [cell] if isinstance(cell, str) else list(cell)


def _time(result: SeasonResult) -> list[Message]:
    if result.supply.hauls.empty:
        return []
    start, end = result.plan.storage.span(result.plan.farm.season)
    return [message("page.yards.time", start=start, end=end)]


def _stays(result: SeasonResult, ledger: Ledger) -> list[Any]:
    if not ledger["farm", "grown"] > 0:
        return []
    known = "share_where_known" if _unknown(result).any() else "share"
    stays = {"share": ledger["farm", "stays_fraction"], "rate": ledger["farm", "stays_rate"]}
    lines = [message(f"page.stays.{known}", **stays), *_binding(result)]
    odds = ledger.get("farm", "compliance_probability")
    if odds is not None and odds == odds:
        lines.append((message("page.stays.vary"), message("page.stays.odds", odds=odds)))
    return lines


def _binding(result: SeasonResult) -> list[Any]:
    """Say which rules were looked at, and why the one that asks for most on most ground does."""
    asked = result.zones[~kept_free(result.zones)]
    limits = result.residue.zone_limits.merge(asked[["zone_id", "field_id", "area_ha"]], on="zone_id")
    if limits.empty:
        return []
    limits["binds_ha"] = limits["binds_fraction"].fillna(0) * limits["area_ha"]
    order = limits.groupby(["rule", "title"], sort=False)["binds_ha"].sum().sort_values(ascending=False, kind="stable")
    rules = tuple(message("page.stays.rule", title=title) for _, title in order.index)
    rule, title = order.index[0]
    most = limits.loc[limits.loc[limits["rule"] == rule, "binds_ha"].idxmax()]
    guards = f"page.guards.{rule}"
    field = result.fields.set_index("field_id").at[most["field_id"], "name"]
    example = message("page.stays.example", zone=most["zone_id"], field=str(field), why=sentences(most["message"])[0])
    return [
        message("page.stays.rules", rules=rules),
        [message("page.stays.most", title=title), *([message(guards)] if has_message(guards) else [])],
        example,
    ]


def _offer(result: SeasonResult, ledger: Ledger) -> list[Any]:
    owner = result.plan.landowner
    if _baled(result).empty:
        return []
    lines: list[Any] = []
    for by, price in (("mass", owner.price_per_mg), ("area", owner.price_per_ha)):
        if price is not None:
            pay = ledger["farm", f"pay_by_{by}" if ("farm", f"pay_by_{by}") in ledger else "pay"]
            lines.append(message(f"page.offer.by_{by}", price=price, money=pay))
    lines = lines or [message("page.offer.no_price")]
    if len(result.residue.zone_nutrients):
        leaves = {n: ledger["farm", n] for n in ("nitrogen", "phosphate", "potash", "sulfur")}
        replacing = message("page.offer.replacing", cost=ledger["farm", "nutrient_cost"])
        lines.append([message("page.offer.leaves", **leaves), replacing, message("page.offer.agree")])
    return [*lines, LEASE]


def _short(result: SeasonResult, ledger: Ledger) -> list[Any]:
    short = int(ledger["farm", "short_bales"])
    lines = [message("page.rest.short", bales=short)] if short else []
    lever = [] if _baled(result).empty else result.words.get("lever", [])
    return [*lines, *lever, *result.words.get("shortage", [])]


def _unchecked(result: SeasonResult) -> list[Any]:
    """Say what was not checked; of a criterion that only lacks layers, those layers are listed already."""
    lines: list[Any] = []
    for what, why in result.not_checked.items():
        layers = why.values.get("layers", ()) if isinstance(why, Message) else ()
        if layers and all(layer.key.rpartition(".")[2] in result.not_checked for layer in layers):
            continue
        # the sentence on a layer names it
        lines.append(why if what in Layers.model_fields else message("page.rest.not_checked", what=what, why=why))
    return lines
