"""What the landowner reads first, in plain words: each section is a heading and a few sentences."""

from __future__ import annotations

import re
from datetime import date
from typing import Any, Final

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.cautions import LEASE
from stovergeo.report.say import NOT_KNOWN, Parts, parts_of, quantity
from stovergeo.report.terminal import field_rows, kept_free
from stovergeo.result import SeasonResult

_MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905
)


def first_screen(result: SeasonResult) -> list[dict[str, Any]]:
    """Return the sections of the first screen: id, title, lines (each a list of parts)."""
    sections = [
        ("proposed", "What is proposed", _proposed(result)),
        ("unknown", "What is not known", _words(result, "unknown")),
        ("bales", "How many bales, and from where", _bales(result)),
        ("yards", "Where the bales would sit", _yards(result)),
        ("time", "For how long", _time(result)),
        ("soil", "The soil here", _words(result, "soil")),
        ("stays", "What stays on the ground, and why that is enough", _stays(result)),
        ("offer", "What you are offered, and what leaves with the bales", _offer(result)),
        ("short", "What falls short", _short(result)),
        ("unchecked", "What was not checked", _unchecked(result)),
        ("ask", "Whom to ask", _ask(result)),
    ]
    return [{"id": i, "title": title, "lines": lines} for i, title, lines in sections if lines]


def names_given(result: SeasonResult) -> list[str]:
    """Return names the user gave, in which numbers are not quantities."""
    return [result.plan.farm.name, result.plan.landowner.name, *result.fields["name"].astype(str)]


#: what each built-in soil rule is there for, as one would say it over a fence
_GUARDS: Final = {
    "soil_carbon": "Stover that rots in the field feeds the soil; this much keeps the soil from growing poorer.",
    "ground_cover": "Stover that still lies there after planting breaks the rain and holds the ground.",
    "water_erosion": "This much cover keeps running water from carrying off more soil than forms again.",
    "wind_erosion": "This much standing and lying stover keeps the wind from carrying soil away.",
    "water_plus_wind": "This much stover keeps water and wind together from carrying off more soil than forms again.",
    "concentrated_flow": "Where water gathers and runs, all stover stays to hold the channel.",
    "highly_erodible": "Ground that washes easily keeps its stover unless its conservation plan says otherwise.",
    "steep_ground": "Steep ground keeps its stover.",
    "nutrient_floor": "What stays returns its plant food to the field.",
    "soil_conditioning": "The conservation office's index for this field asks for it.",
    "plan_floor": "The grower has set this floor by hand.",
}


def first_sentences(words: str, most: int) -> str:
    """Return the first few sentences of a text."""
    return " ".join(re.split(r"(?<=[.!?])\s+(?=[A-Z])", words)[:most])


def without_keys(words: str) -> str:
    """Return words without keys of the plan file, in brackets or as a sentence: those are the grower's to set.

    The name of a layer stays, as plain words: what was not given must be told.
    """
    words = re.sub(r"\s*\(`[\w.\[\]]+`\)", "", words)
    words = re.sub(r"\s*[A-Z][^.`]*`\w+\.[\w.\[\]]+`[^.`]*\.", "", words)
    return re.sub(r"`(\w+)`", lambda name: name[1].replace("_", " "), words)


_MONEY: Final = re.compile(r"\$\s?\d|\d\s?\$")


def without_prices(words: str) -> str:
    """Return words without sentences that hold an amount of money: what the season costs is the grower's to know."""
    if not _MONEY.search(words):
        return words
    return " ".join(s for s in re.split(r"(?<=[.!?])\s+(?=[A-Z])", words) if not _MONEY.search(s))


def _words(result: SeasonResult, topic: str) -> list[Parts]:
    told = [without_prices(without_keys(str(w))) for w in result.words.get(topic, [])]
    return [parts_of(w, names_given(result)) for w in told if w]


def _taken(result: SeasonResult) -> pd.DataFrame:
    return result.zones[result.zones["take_mg"] > 0]


def gathered_ha(taken: pd.DataFrame) -> float:
    """Return the ground that is baled; of some zones only a share is (column ``gathered_share``)."""
    return float((taken["area_ha"] * taken.get("gathered_share", 1.0)).sum())


def _proposed(result: SeasonResult) -> list[Parts]:
    farm, taken = result.plan.farm, _taken(result)
    rows = field_rows(result)
    kept_ha = sum(r["kept_free_ha"] for r in rows)
    kept: list[Parts] = [[quantity("area", kept_ha), " are kept free because you said so."]] if kept_ha else []
    if taken.empty:
        all_kept = all(r["kept_free"] for r in rows)
        where = ", where its yield is known" if _dark(result).any() else ""
        why = "you keep all of this ground free" if all_kept else f"all of it stays on the ground{where}"
        return [[f"After the {farm.season} corn harvest on {farm.name}, no stover should leave: {why}."], *kept]
    return [
        [
            f"After the {farm.season} corn harvest on {farm.name}, some of the corn stover – the stalks, "
            "leaves and cobs that the combine leaves – would be baled and taken from ",
            quantity("area", gathered_ha(taken)),
            " of ",
            quantity("area", float(result.fields["area_ha"].sum())),
            ". This is a proposal: below you can say yes or no to each place.",
        ],
        *kept,
    ]


def _dark(result: SeasonResult) -> pd.Series:
    """Return which zones are those of which no yield is known."""
    return result.zones["method"] == UNKNOWN


def _bales(result: SeasonResult) -> list[Parts]:
    taken = _taken(result)
    if taken.empty:
        return []
    total = int(result.bale_plan["bales"].sum())
    lines: list[Parts] = [
        [
            f"{total:,} {'round' if result.plan.bale.shape == 'round' else 'large square'} bales, ",
            quantity("mass", float(taken["take_mg"].sum())),
            " of dry stover.",
        ]
    ]
    for field in field_rows(result):
        if field["kept_free"]:
            lines.append([f"{field['name']}: none. You keep it free."])
            continue
        dark = _dark(result)[result.zones["field_id"] == field["field_id"]]
        if dark.all():
            lines.append([f"{field['name']}: {NOT_KNOWN}."])
            continue
        bales = f"{field['bales']:,} bales" if field["bales"] else "none, all stover stays"
        bales += f"; part of it {NOT_KNOWN}" if dark.any() else ""
        kept = ["; ", quantity("area", field["kept_free_ha"]), " are kept free because you said so"]
        lines.append([f"{field['name']}: {bales}", *(kept if field["kept_free_ha"] else []), "."])
    return lines


def _yards(result: SeasonResult) -> list[Parts]:
    planned = result.hauls.groupby("yard_id")["bales"].sum()
    lines: list[Parts] = []
    if result.yards.empty:
        return _words(result, "yards")
    for yard in result.yards.itertuples():
        bales = int(planned.get(yard.yard_id, 0))
        if bales:
            stacks = int((result.stacks["yard_id"] == yard.yard_id).sum())
            start = f"Yard {yard.yard_id}: {bales:,} bales, in {stacks} {'stack' if stacks == 1 else 'stacks'}. "
            why = first_sentences(without_prices(str(yard.reason)), 3)
            lines.append([start, *parts_of(why, names_given(result))])
    idle = [y for y in result.yards["yard_id"] if not planned.get(y, 0)]
    if idle:
        lines.append([f"Also possible, not used in this plan: {', '.join(idle)}."])
    if lines:
        lines.append(["Touch a yard on the map to see its rows, and to answer yes, no or maybe."])
    return lines


def _day(month_day: str, year: int) -> str:
    month, day = (int(n) for n in month_day.split("-"))
    return f"{day} {_MONTHS[month - 1]} {year}"


def storage_days(result: SeasonResult) -> tuple[str, str] | None:
    """Return first and last day of storage in words, None where the plan's days do not exist."""
    storage, season = result.plan.storage, result.plan.farm.season
    try:
        (
            date(2000, *(int(n) for n in storage.baled.split("-"))),
            date(2000, *(int(n) for n in storage.last_used.split("-"))),
        )
    except ValueError:
        return None
    return _day(storage.baled, season), _day(storage.last_used, season + 1)


def _time(result: SeasonResult) -> list[Parts]:
    days = storage_days(result)
    if days is None or result.hauls.empty:
        return []
    return [[f"From about {days[0]} until about {days[1]}, when the last bale is used."]]


def _stays(result: SeasonResult) -> list[Parts]:
    zones = result.zones
    grown = float((zones["stover_mg_ha"] * zones["area_ha"]).sum())
    if not grown > 0:
        return []
    kept = grown - float(zones["take_mg"].sum())
    known_ha = float(zones.loc[~_dark(result), "area_ha"].sum())
    lines: list[Parts] = [
        [
            "Of all the stover grown, as far as it is known, about "
            if _dark(result).any()
            else "Of all the stover grown, about ",
            quantity("share", kept / grown),
            " stays on the ground: on average ",
            quantity("rate", kept / known_ha),
            ".",
        ]
    ]
    lines += _binding(result)
    odds = result.odds[result.odds["zone_id"].isin(_taken(result)["zone_id"])]["odds_kept"].dropna()
    if len(odds):
        lines.append(
            [
                "Yields, weather and machines vary. Counting that, the chance that every soil rule is kept is ",
                quantity("share", float(odds.min())),
                " or better in each zone that is baled.",
            ]
        )
    return lines


def _binding(result: SeasonResult) -> list[Parts]:
    """Say which rules were looked at, and why the one that asks for most on most ground does."""
    asked = result.zones[~kept_free(result.zones)]
    limits = result.zone_limits.merge(asked[["zone_id", "area_ha"]], on="zone_id")
    if limits.empty:
        return []
    limits["binds_ha"] = limits["binds_share"].fillna(0) * limits["area_ha"]
    order = limits.groupby(["rule", "title"], sort=False)["binds_ha"].sum().sort_values(ascending=False, kind="stable")
    titles = [title for _, title in order.index]
    rule = order.index[0][0]
    mine = limits[limits["rule"] == rule].sort_values("binds_ha", ascending=False, kind="stable")
    lines: list[Parts] = [["In every place the strictest of these rules holds: ", _and_list(titles), "."]]
    guards = f" {_GUARDS[rule]}" if rule in _GUARDS else ""
    lines.append([f"On most of the ground that is {titles[0].lower()}.{guards}"])
    example = f"For example zone {mine['zone_id'].iloc[0]}: {first_sentences(str(mine['words'].iloc[0]), 1)}"
    lines.append(parts_of(example, names_given(result)))
    return lines


def _and_list(texts: list[str]) -> str:
    low = [t[:1].lower() + t[1:] for t in texts]
    return low[0] if len(low) == 1 else f"{', '.join(low[:-1])} and {low[-1]}"


def _offer(result: SeasonResult) -> list[Parts]:
    owner, taken = result.plan.landowner, _taken(result)
    if taken.empty:
        return []
    mass, area = float(taken["take_mg"].sum()), gathered_ha(taken)
    lines: list[Parts] = []
    if owner.price_per_mg is not None:
        lines.append(
            [
                "You are offered ",
                quantity("per_mass", owner.price_per_mg),
                " of dry stover: about ",
                quantity("money", owner.price_per_mg * mass),
                " for this plan.",
            ]
        )
    if owner.price_per_ha is not None:
        lines.append(
            [
                "You are offered ",
                quantity("per_area", owner.price_per_ha),
                ": about ",
                quantity("money", owner.price_per_ha * area),
                " for this plan.",
            ]
        )
    if not lines:
        lines.append(["This plan names no price. Ask for one."])
    n = result.zone_nutrients
    if len(n):
        sums = n[["n_kg", "p2o5_kg", "k2o_kg", "s_kg", "cost"]].sum()
        lines.append(
            [
                "Plant food leaves with the bales: nitrogen ",
                quantity("kg", sums["n_kg"]),
                ", phosphate ",
                quantity("kg", sums["p2o5_kg"]),
                ", potash ",
                quantity("kg", sums["k2o_kg"]),
                ", sulfur ",
                quantity("kg", sums["s_kg"]),
                ". Replacing it costs about ",
                quantity("money", sums["cost"]),
                ". Agree on who pays for it.",
            ]
        )
    lines.append([LEASE])
    return lines


def _short(result: SeasonResult) -> list[Parts]:
    short = result.totals.get("short_bales", 0.0)
    lines: list[Parts] = [[f"The plan gives {short:,.0f} bales less than are needed."]] if short >= 0.5 else []
    return lines + _words(result, "shortage")


def _unchecked(result: SeasonResult) -> list[Parts]:
    lines: list[Parts] = []
    for what, reason in result.not_checked.items():
        why = str(reason)
        missing = re.search(r"[Nn]o layer `(\w+)` was given\.$", why)
        if missing and getattr(result.plan.layers, missing[1], None) is None:
            continue  # said already where the layer itself is named
        told = re.sub(r"^not known for this farm \(.*\)\.$", "not known for this farm.", without_keys(why))
        # a layer's own words begin with its name
        lines.append(
            parts_of(told if re.match(r"[A-Z][^.]{0,40}: ", told) else f"{what[:1].upper()}{what[1:]}: {told}")
        )
    return lines


def _ask(result: SeasonResult) -> list[Parts]:
    ask = result.plan.farm.ask
    return [[ask if ask else "The person who sent you this file."]]
