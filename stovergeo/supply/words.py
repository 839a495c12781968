"""The choice in plain sentences. Quantities are metric; the printers turn them into the reader's units."""

from __future__ import annotations

import calendar
from collections.abc import Mapping

import numpy as np
import pandas as pd

from stovergeo.supply.alternatives import NextBales, SecondBest
from stovergeo.supply.choice import Choice
from stovergeo.supply.problem import SupplyProblem

_STEPS = {
    "gather": "chopping, raking or merging",
    "bale": "baling",
    "set_up": "moving machines between fields",
    "nutrients": "nutrients to replace",
    "land": "the landowner",
    "haul": "carrying to the yards",
    "yard": "opening yards",
    "wrap": "wrap",
    "base": "ground under the bales",
    "deliver": "bringing them to their use",
}
_MONTHS = tuple(calendar.month_name)[1:]
WRAPS = {
    "twine": "twine",
    "net": "net",
    "full_cover": "full-cover wrap",
    "stretch_film": "stretch film",
    "tarp": "net under a tarp",
}


def title_of(method: str, titles: Mapping[str, str]) -> str:
    """Return a method's name as people say it."""
    return titles.get(method, method.replace("_", " "))


def joined(parts: list[str]) -> str:
    """Return "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def plan_words(problem: SupplyProblem, choice: Choice, titles: Mapping[str, str]) -> list[str]:
    """Say what is gathered, by which way, from where: no money, so that a landowner may read it."""
    taken = choice.zone_method[choice.zone_method["take_mg"] > 0]
    if not len(taken):
        if not (problem.need["dry_mg"] > 0).any():
            return ["Nothing is needed this season, so nothing is gathered."]
        return ["Nothing can be gathered for what is needed."]
    by = taken.groupby("method")["bales"].sum().sort_values(ascending=False, kind="stable")
    ways = joined([f"{count:,} by {title_of(m, titles).lower()}" for m, count in by.items()])
    said = [
        f"Bale {choice.baled_mg:.0f} Mg of dry stover, {int(taken['bales'].sum()):,} bales ({ways}), "
        f"from {len(taken)} of {len(problem.zones)} zones, into {_count(len(choice.yard_use), 'yard')}."
    ]
    part = taken[taken["share"] < 0.995]
    for row in part.itertuples(index=False):
        said.append(f"{row.zone_id}: {100 * row.share:.0f} % of the zone is enough; the rest stays whole.")
    return said


def cost_words(choice: Choice) -> list[str]:
    """Say what the season costs by step, and how good that is proved to be; nothing where nothing is gathered."""
    if not choice.drawn_mg > 0:
        return []
    per_mg = choice.cost / choice.drawn_mg
    steps = [f"{_STEPS[s]} {v:.2f} $/Mg" for s, v in per_mg.sort_values(ascending=False).items() if v >= 0.005]
    said = [
        f"The season costs ${choice.total_cost:,.0f}, {choice.cost_per_mg:.2f} $/Mg of dry stover that reaches its "
        f"use: {joined(steps)}."
    ]
    less = f"more than {100 * choice.gap:.2g} % less" if choice.gap >= 5e-5 else "less"
    if choice.status == "optimal":
        said.append(f"Proved: no plan inside these limits that meets as much costs {less}.")
    else:
        said.append(f"The time given ended the search: this is the best plan found, and no other can cost {less}.")
    return said


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def shortage_words(choice: Choice, conflict: list[str], reliefs: pd.DataFrame, bale_mg: float) -> list[str]:
    """Say what is lacking, when, what is in the way, and what each relief would bring."""
    short = choice.shortage
    if not len(short):
        return []
    said = [f"The need cannot be met: short by {choice.short_bales:,} bales ({short['dry_mg'].sum():.0f} Mg dry)."]
    for need, rows in short.groupby("need", sort=False):
        months = [_MONTHS[m - 1] for m in rows["month"]]
        when = f"in {months[0]}" if len(months) == 1 else f"from {months[0]} to {months[-1]}"
        said.append(f"{need} lacks {int(rows['bales'].sum()):,} bales {when}.")
    if conflict:
        said.append(f"These cannot all hold together: {joined(conflict)}.")
    for row in reliefs[reliefs["gained_mg"] > 0.5 * bale_mg].itertuples(index=False):
        gained = round(row.gained_mg / bale_mg)
        if row.limit == "soil":
            said.append(
                f"Only taking more than the ground can spare would bring {gained:,} more bales; this plan never does."
            )
        else:
            said.append(f"Without the limit of {row.words}, {gained:,} bales fewer would be lacking.")
    return said


def next_words(found: NextBales, titles: Mapping[str, str], price_each: float = np.nan) -> str:
    """Say what the next bales of a need would cost, where from, and whether the buyer's price covers it."""
    if not found.had:
        return f"No more bales can be had for {found.need} within these limits."
    where = joined([f"zone {z} by {title_of(m, titles).lower()}" for z, m in found.sources])
    few = "" if found.had == found.bales else f" (only {found.had} can be had)"
    said = f"Another {found.bales} bales for {found.need}{few} would cost ${found.cost_each:,.2f} each"
    said += f", most of them from {where}." if where else "."
    if np.isfinite(price_each):
        pays = price_each >= found.cost_each
        said += f" They bring ${price_each:,.2f} each delivered, so {'they pay' if pays else 'it does not pay'}."
    return said


def month_words(next_mg: pd.DataFrame) -> list[str]:
    """Say in which month the next ton of each need costs least and most, and what an hour more would save."""
    said = []
    for what, rows in next_mg.groupby("what", sort=False):
        if str(what).startswith("hours "):
            saved = float(rows["price"].iloc[0])
            if saved >= 1:
                said.append(f"One more hour of the {str(what)[6:]} would save ${saved:,.0f}.")
            continue
        first, last = rows.iloc[0], rows.iloc[-1]
        if len(rows) > 1 and last["price"] - first["price"] >= 1:
            said.append(
                f"A ton more for {what} costs {first['price']:.2f} $/Mg in {_MONTHS[int(first['month']) - 1]} and "
                f"{last['price']:.2f} $/Mg in {_MONTHS[int(last['month']) - 1]}: the difference is what keeping costs."
            )
    return said


def second_words(found: SecondBest) -> str:
    """Say what takes the place of a yard or a wrap, and by how much it is worse."""
    what = f"yard {found.name}" if found.kind == "yard" else WRAPS.get(found.name, found.name)
    names = [f"yard {n}" if found.kind == "yard" else WRAPS.get(n, n) for n in found.instead]
    instead = f"With {joined(names)} in its place" if names else f"Without {what}"
    if found.more_short:
        return f"Without {what}, {found.more_short:,} more bales would be lacking."
    if found.more_cost < 1:
        return f"{what[:1].upper()}{what[1:]} matters little. {instead} the season would cost the same."
    return (
        f"{what[:1].upper()}{what[1:]} is the cheapest. {instead} the season would cost ${found.more_cost:,.0f} more."
    )


def method_words(problem: SupplyProblem, costs: pd.DataFrame, titles: Mapping[str, str]) -> dict[str, str]:
    """Say for each gathered zone why its method was chosen: its cost against the next allowed one.

    Parameters
    ----------
    problem : SupplyProblem
    costs : DataFrame
        zone_id, method, edge_cost_mg, chosen.
    titles : mapping
    """
    said = {}
    for zone_id, rows in costs.groupby("zone_id", sort=False):
        mine = rows[rows["chosen"]]
        if not len(mine):
            continue
        own = mine.iloc[0]
        title = title_of(own["method"], titles)
        words = f"{title[:1].upper()}{title[1:]} costs {own['edge_cost_mg']:.2f} $/Mg dry at the field's edge"
        rest = rows[~rows["chosen"]].sort_values("edge_cost_mg", kind="stable")
        if len(rest):
            other = rest.iloc[0]
            words += f"; {title_of(other['method'], titles).lower()} would be {other['edge_cost_mg']:.2f} $/Mg"
            if other["edge_cost_mg"] < own["edge_cost_mg"]:
                words += " but gives too little or does not fit the need"
        else:
            words += "; no other way stays within what this ground can spare"
        said[str(zone_id)] = words + "."
    return said


def yield_words(choice: Choice, fallen: Choice, change: float) -> str:
    """Say what a poorer crop would change."""
    said = f"If corn stover comes in {100 * -change:.0f} % lighter, "
    more = fallen.short_bales - choice.short_bales
    if more > 0:
        return said + f"{more:,} bales more would be lacking."
    dearer = fallen.cost_per_mg - choice.cost_per_mg
    if not np.isfinite(dearer):
        return said + "nothing could be gathered."
    met = "the need is still met" if not choice.short_bales else "no more is lacking"
    if dearer < 0.005:
        return f"{said}{met} at the same cost."
    return f"{said}{met}, {dearer:.2f} $/Mg dearer."


def other_words(table: pd.DataFrame) -> list[str]:
    """Say what the alternatives offer and cost."""
    said = []
    first = table.iloc[0]
    for row in table.iloc[1:].itertuples(index=False):
        costs = f"{100 * row.more_cost:.1f} % dearer" if row.more_cost >= 0.0005 else "at the same cost"
        if row.aim == "soil":
            if not row.near_limit < first["near_limit"] - 0.03:
                continue
            said.append(
                f"Gentler on the soil: {costs}, takes lie at {100 * row.near_limit:.0f} % of what the ground can spare "
                f"instead of {100 * first['near_limit']:.0f} %."
            )
        elif row.aim == "yards":
            if row.yards < first["yards"]:
                said.append(f"Fewer yards: {_count(row.yards, 'yard')} instead of {first['yards']}, {costs}.")
        elif row.aim == "habit":
            said.append(f"Nearest to today's habit: {100 * row.habit_share:.0f} % gathered as today, {costs}.")
    return said
