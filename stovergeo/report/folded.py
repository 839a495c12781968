"""What stands folded away below the map: the choice, how stover keeps, all that the map shows as tables, sources."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Final

from stovergeo.core.coefficients import Coefficient
from stovergeo.core.printing import KINDS, UNIT_SYSTEMS, how_printed, unit_of_money
from stovergeo.core.units import Quantity, per_si_unit
from stovergeo.report.blocks import MONTHS, Block, Cell, caption, entry, numbers, table, tables, text, texts
from stovergeo.report.by_field import field_rows
from stovergeo.report.ledger import Ledger
from stovergeo.report.page_yards import yard_tables
from stovergeo.report.panels import capital, layer_title, method_titles
from stovergeo.report.tables import asked_rows
from stovergeo.result import SeasonResult

_MAX_CURVES: Final = 8  # as many as the page has line styles
_MAX_CAUSES: Final = 3
_MAX_NAMES: Final = 200  # of one layer
_BASE_UNIT: Final = re.compile(r"(?P<name>[A-Za-z]+)(?P<power>\d?)")
_KIND_OF_UNIT: Final = {
    **dict.fromkeys(("mm", "cm"), "depth"),
    "m": "length",
    "km": "road",
    "ha": "area",
    "kg": "bale_mass",
    "Mg": "mass",
}


def storage_blocks(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return chart and table of what storage costs in stover, by wrap and month, as far as worked out."""
    sentences = _listed(result, "storage", "baling", "window")
    wraps = result.bales.wrap_table
    if wraps.empty:
        return sentences
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
        "caption": caption("losses"),
        "x": [MONTHS[int(m) - 1] for m in months["month"]],
        "series": series,
    }
    rows = [
        [MONTHS[int(r.month) - 1], str(r.title), entry(ledger, f"storage {r.wrap} {r.base} {r.year} {r.month}", "loss")]
        for r in best.itertuples()
    ]
    return [{"curves": curves}, table("storage", "used_in wrap loss", rows), *sentences]


def _listed(result: SeasonResult, *topics: str) -> list[Block]:
    """Return the sentences on some topics as a list."""
    sentences = [one for topic in topics for one in result.words.get(topic, [])]
    return [{"ul": texts(sentences)}] if sentences else []


def choice_blocks(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return what was chosen and what its limit hangs on; costs and second choices are the grower's (`terminal`)."""
    names = result.fields.set_index("field_id")["name"].astype(str)
    causes = result.residue.sensitivity
    rows = [
        [
            names.get(s.field_id, s.field_id),
            capital(str(s.meaning)),
            entry(ledger, f"cause {s.field_id} {s.rank}", "fraction"),
        ]
        for s in (causes[causes["rank"] <= _MAX_CAUSES].itertuples() if len(causes) else ())
    ]
    return [
        *_listed(result, "summary", "choice", "yards", "carbon"),
        *tables("causes", "field meaning fraction", rows),
    ]


def all_tables(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return everything that the map shows, as tables; those without rows are left out."""
    methods = method_titles(result)
    names = result.fields.set_index("field_id")["name"].astype(str)
    fields = [
        [f["name"], *numbers(ledger, f"field {f['field_id']}", "area", "removable", "removal", "bales"),
         f["methods"], f["yards"]]
        for f in field_rows(result)
    ]  # fmt: skip
    zones = [
        [z.zone_id, names.get(z.field_id, ""),
         *numbers(ledger, f"zone {z.zone_id}", "area", "retention_rate", "removal_rate", "bales"),
         methods.get(z.method, z.method), text(z.reason)]
        for z in result.zones.itertuples()
    ]  # fmt: skip
    yards = [
        [y.yard_id, *numbers(ledger, f"yard {y.yard_id}", "capacity", "slope", "sun_fraction", "road"),
         text(y.reason), text(y.not_checked)]
        for y in result.yards.itertuples()
    ]  # fmt: skip
    hauls = [
        [h.zone_id, h.yard_id, *numbers(ledger, f"haul {h.zone_id} {h.yard_id}", "bales", "distance")]
        for h in result.supply.hauls.itertuples()
    ]
    around = [
        [layer_title(layer), name if isinstance(name, str) else ""]
        for layer, things in result.surroundings.items()
        for name in (things["name"] if "name" in things else [""] * len(things))[:_MAX_NAMES]
    ]
    return [
        *tables("fields", "field area may_leave would_leave_dry bales method yards", fields),
        *tables("zones", "zone field area must_stay would_leave bales method why", zones),
        *tables("yards", "yard room_bales slope sun road why not_checked", yards),
        *tables("hauls", "from_zone to_yard bales route", hauls),
        *yard_tables(result, ledger),
        *tables("around", "what name", around),
    ]


def _coefficient(coefficient: Coefficient) -> Cell:
    """Return value and spread of a coefficient: in the unit it was given in, otherwise in those of each system."""
    value = coefficient.value
    numbers = (value, coefficient.low, coefficient.high)
    if isinstance(value, Quantity) and value.given is not None:
        return _spread([v * (value.given / value) for v in numbers], unit_of_money(value.unit))
    printed = {}
    for system in UNIT_SYSTEMS:
        factor, unit = in_units_of(system, coefficient.unit)
        printed[system] = _spread([float(f"{v * factor:.3g}") if factor != 1 else v for v in numbers], unit)
    alike = set(printed.values())
    return alike.pop() if len(alike) == 1 else [printed]


def _spread(numbers: Sequence[float], unit: str) -> str:
    value, low, high = (f"{v:g}" for v in numbers)
    return f"{value} ({low} to {high}) {'' if unit == '1' else unit}"


def in_units_of(system: str, unit: str) -> tuple[float, str]:
    """Return the factor into a system's units of a unit such as ``kg/(head d)``, and what it then is: ``lb/(head d)``.

    A unit that the system only writes with another power of ten stays, as do powers and energies.
    """
    if "^" in unit or "MJ" in unit:
        return 1.0, unit
    total = 1.0

    def changed(found: re.Match[str]) -> str:
        nonlocal total
        kind = _KIND_OF_UNIT.get(found["name"])
        if kind is None:
            return found[0]
        how = how_printed(kind, system)
        factor, _ = per_si_unit(found["name"], how.unit, KINDS[kind].dimension)
        if math.isclose(math.log10(factor) % 1, 0, abs_tol=1e-9):
            return found[0]
        power = int(found["power"] or 1) * (-1 if "/" in unit[: found.start()] else 1)
        total *= factor**power
        return how.unit + found["power"]

    written = _BASE_UNIT.sub(changed, unit)
    return total, written


def source_blocks(result: SeasonResult) -> list[Block]:
    """Return the coefficients used, with sources and standing, and the problems met; the grower's own are left out.

    His are the prices he pays, and what is wrong with his plan file.
    """
    used = [
        [c.meaning, _coefficient(c), str(c.standing), c.source]
        for c in result.coefficients
        if "$" not in c.unit or c.key.startswith("nutrients.")
    ]
    asked = [[title, kind, source] for _, _, title, source, kind in asked_rows(result)]
    problems = [[p.where, text(p.what), p.why] for p in result.problems if not p.code.startswith("plan.")]
    return [
        *tables("numbers", "what value standing source", used),
        *tables("asked", "what kind source", asked),
        *tables("problems", "where what why_it_matters", problems),
    ]
