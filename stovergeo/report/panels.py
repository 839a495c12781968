"""What opens one click down: the panel of a zone or a yard, as blocks."""

from __future__ import annotations

from functools import cache
from typing import Any, Final

from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, load_plugins
from stovergeo.core.schemas import KEPT_FREE_RULE, UNKNOWN
from stovergeo.report.blocks import (
    MONTHS,
    Block,
    Cell,
    bars,
    entry,
    facts,
    has_message,
    label,
    message,
    more,
    numbers,
    numbers_about,
    plain,
    rows_of,
    tables,
    text,
    texts,
)
from stovergeo.report.by_field import kept_free, titles_of_methods
from stovergeo.report.ledger import Ledger
from stovergeo.result import SeasonResult

_MAX_BARS: Final = 8
_WHOLE: Final = 0.995  # from here on prints as 100 %


def rule_titles(result: SeasonResult) -> dict[str, str]:
    """Return titles by name of retention rule, and what stands for the landowner's word where it keeps ground free."""
    titles = dict(result.residue.zone_limits.drop_duplicates("rule").set_index("rule")["title"].astype(str))
    return titles | ({KEPT_FREE_RULE: plain("page.zone.kept_free")} if kept_free(result.zones).any() else {})


def method_titles(result: SeasonResult) -> dict[str, str]:
    """Return titles by name of method, and what stands for ground that is not baled or not known."""
    return {
        **{name: capital(title) for name, title in titles_of_methods(result).items()},
        "leave": plain("page.zone.not_baled"),
        UNKNOWN: plain("page.zone.unknown"),
    }


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def class_titles(result: SeasonResult) -> dict[str, str]:
    """Return the title of every rule and criterion by its name, those of the result before those installed."""
    installed = {
        p.name: str(p.thing.title) for g in (RETENTION_RULES, SITE_CRITERIA) for p in load_plugins(g) if not p.broken
    }
    rated = result.siting.ratings.drop_duplicates("criterion").set_index("criterion")["title"]
    return {**installed, **dict(rated.astype(str)), **rule_titles(result)}


@cache
def sources_of(group: str) -> dict[str, str]:
    """Return the source each working rule or criterion names, by its name."""
    return {p.name: str(p.thing.source) for p in load_plugins(group) if not p.broken}


def _with_source(why: Any, source: str | None) -> Any:
    return (why, message("page.zone.source", source=source)) if source else why


def zone_panel(result: SeasonResult, ledger: Ledger, zone: Any) -> list[Block]:
    """Return the panel of one zone (a row of the zones table)."""
    of = f"zone {zone.zone_id}"
    blocks: list[Block] = [
        {"p": text(zone.reason)},
        facts("zone", _zone_numbers(result, ledger, zone)),
    ]
    if zone.method == UNKNOWN or zone.kept_free:
        return blocks
    blocks += [{"p": text(s.lever_message)} for s in _staying(result, zone.zone_id)]
    blocks += _asked(result, ledger, zone)
    if (of, "compliance_probability") in ledger:
        low, high = ledger[of, "removable_p10_rate"], ledger[of, "removable_p90_rate"]
        odds = message("page.zone.compliance_probability", odds=ledger[of, "compliance_probability"])
        blocks.append({"p": text((message("page.zone.odds", low=low, high=high), odds))})
    methods = [
        [
            capital(str(m.title)),
            *numbers(ledger, f"method {m.zone_id} {m.method}", "removal_rate", "ash", "passes"),
            text(message("page.zone.allowed" if m.allowed else "page.zone.refused", why=m.message)),
        ]
        for m in rows_of(result.residue.zone_methods, "zone_id", zone.zone_id)
    ]
    blocks += more("methods_compared", *tables("methods", "method would_leave ash passes verdict", methods))
    years = rows_of(result.residue.calendar, "zone_id", zone.zone_id)
    calendar = [[str(y.year), capital(str(y.crop)), text(y.message)] for y in years]
    blocks += more("years", *tables("calendar", "year crop stover", calendar))
    if (of, "nitrogen") in ledger:
        names = ("nitrogen", "phosphate", "potash", "sulfur", "nutrient_cost")
        nutrients = numbers_about(ledger, of, **{name: name for name in names})
        blocks += more("nutrients", facts("zone_nutrients", nutrients))
    return blocks


def _staying(result: SeasonResult, zone_id: str) -> list[Any]:
    """Return why a zone stays where a lever would let something leave; prices are the grower's to know."""
    found = list(rows_of(result.supply.staying, "zone_id", zone_id))
    return [s for s in found if s.lever and not s.lever.startswith("price ")]


def _zone_numbers(result: SeasonResult, ledger: Ledger, zone: Any) -> list[list[Cell]]:
    of = f"zone {zone.zone_id}"
    rows = numbers_about(ledger, of, area="area")
    if zone.method == UNKNOWN:
        return rows
    rows += numbers_about(ledger, of, grown="grown_rate")
    if zone.kept_free:
        return rows
    shown = {"must_stay": "retention_rate", "may_leave_cautious": "removable_rate", "would_leave": "removal_rate"}
    rows += numbers_about(ledger, of, **shown)
    rows.append([label("method"), method_titles(result).get(zone.method, zone.method)])
    if 0 < zone.gathered_fraction < _WHOLE:
        rows += numbers_about(ledger, of, gathered_fraction="gathered_fraction")
    if bales := int(ledger[of, "bales"]):
        made = message("page.zone.bales", bales=bales, each=ledger[of, "bale_as_is_mass"])
        rows.append([label("bales"), text(made)])
        rows += numbers_about(ledger, of, turns="turns") if ledger[of, "turns"] == ledger[of, "turns"] else []
    for h in rows_of(result.supply.hauls, "zone_id", zone.zone_id):
        distance = ledger[f"haul {h.zone_id} {h.yard_id}", "distance"]
        haul = message("page.zone.haul", bales=int(h.bales), distance=distance)
        rows.append([label("to_this_yard", yard=h.yard_id), text(haul)])
    return rows


def _asked(result: SeasonResult, ledger: Ledger, zone: Any) -> list[Block]:
    """Return what each rule asks to stay, as bars, and in words folded away."""
    asked, reasons = [], []
    for r in rows_of(result.residue.zone_limits, "zone_id", zone.zone_id):
        title, of = str(r.title), f"limit {r.zone_id} {r.rule}"
        asked.append((title, ledger[of, "retention_rate"]))
        binds = message("page.zone.rule", title=title, share=ledger[of, "binding_fraction"])
        source = getattr(r, "source", None) or sources_of(RETENTION_RULES).get(r.rule)
        reasons.append(_with_source((binds, r.message), source))
    if not asked:
        return []
    grown = (plain("page.ground.stover_mg_ha"), ledger[f"zone {zone.zone_id}", "grown_rate"])
    return [bars("rules", "rate", asked, grown), *more("rules_sources", {"ul": texts(reasons)})]


def yard_panel(result: SeasonResult, ledger: Ledger, yard: Any, number: int) -> list[Block]:
    """Return the panel of one yard (a row of the yards table, and its number in it)."""
    of = f"yard {yard.yard_id}"
    stacks = int((result.siting.stacks["yard_id"] == yard.yard_id).sum())
    room = message("page.yard.room", bales=int(ledger[of, "capacity"]), stacks=stacks)
    about = [
        *numbers_about(ledger, of, bales_planned="bales"),
        [label("room"), text(room)],
        *numbers_about(ledger, of, with_lanes="area"),
        [label("base"), text(yard.base_message)],
        *numbers_about(ledger, of, sun_fraction="sun_fraction", slope="slope", road_or_gate="road"),
    ]
    lane, apron = ledger.get(of, "lane_width"), ledger.get(of, "apron_side")
    drawn = [message("page.yard.rows")]
    drawn += [] if lane is None else [message("page.yard.lane", width=lane)]
    drawn += [] if apron is None else [message("page.yard.apron", side=apron)]
    blocks: list[Block] = [{"p": text(yard.reason)}, {"drawing": number}]
    blocks += [{"p": text(drawn)}] if len(drawn) > 1 else []
    blocks.append(facts("yard", about))
    sun = [
        (f"{MONTHS[m.month - 1]} {m.year}", ledger[f"sun {m.yard_id} {m.year} {m.month}", "sun_fraction"])
        for m in rows_of(result.siting.sun, "yard_id", yard.yard_id)
    ]
    if sun:
        blocks.append(bars("yard_sun", "fraction", sun, whole=1.0))
        if max(share for _, share in sun) > 1 / _WHOLE:
            blocks.append({"p": text(message("page.yard.sunny", whole=1.0))})
    blocks += _near(result, ledger, yard.yard_id)
    if text(yard.not_checked):
        blocks.append({"p": text(message("page.yard.not_checked", what=yard.not_checked))})
    return blocks + _rated(result, ledger, yard.yard_id)


def _rated(result: SeasonResult, ledger: Ledger, yard_id: str) -> list[Block]:
    """Return where a yard's ground is not the best, as bars, and every rating in words, folded away."""
    scores, reasons = [], []
    for r in rows_of(result.siting.ratings, "yard_id", yard_id):
        scores.append((str(r.title), ledger[f"rating {yard_id} {r.criterion}", "score"]))
        rating = message("page.yard.rating", title=str(r.title), why=r.message)
        reasons.append(_with_source(rating, sources_of(SITE_CRITERIA).get(r.criterion)))
    if not scores:
        return []
    weak = sorted((s for s in scores if s[1] < _WHOLE), key=lambda s: s[1])[:_MAX_BARS]
    best = message("page.yard.best", best=sum(s[1] >= _WHOLE for s in scores), all=len(scores), whole=1.0)
    return [
        *([bars("weak", "fraction", weak, whole=1.0)] if weak else []),
        {"p": text(best)},
        *more("ratings", {"ul": texts(reasons)}),
    ]


def _near(result: SeasonResult, ledger: Ledger, yard_id: str) -> list[Block]:
    """Return what stands nearest to a yard, and the routes from the zones to it, folded away."""
    near = [
        [layer_title(n.layer), str(n.name), entry(ledger, f"near {yard_id} {n.layer}", "distance")]
        for n in rows_of(result.siting.near, "yard_id", yard_id)
    ]
    routes = [
        [w.zone_id, entry(ledger, f"haul {w.zone_id} {yard_id}", "distance")]
        for w in rows_of(result.siting.routes, "yard_id", yard_id)
    ]
    return more("near_and_far", *tables("near", "what name how_far", near), *tables("routes", "zone how_far", routes))


def layer_title(layer: str) -> str:
    """Return the title of a layer of surroundings."""
    key = f"page.around.{layer}"
    return plain(key) if has_message(key) else capital(layer.replace("_", " "))
