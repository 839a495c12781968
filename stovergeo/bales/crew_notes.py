"""What the baling crew must know, as data: the crew sheet prints it. Heating in the stack is part of it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files

import pandas as pd

from stovergeo.bales.bale import BaleSize, bale_of
from stovergeo.bales.making import planned_wrap
from stovergeo.bales.wrap import net_of, net_turns
from stovergeo.core.bale_catalog import BASES, WRAPS
from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan
from stovergeo.residue import Method

message = Catalog("stovergeo.bales")


def heating_table(coefficients: Handbook) -> pd.DataFrame:
    """Return actions by core temperature, coolest first.

    Returns
    -------
    pandas.DataFrame
        core_c, core_f (whole degrees, as the bulletins print them), action, note, source.
    """
    steps = sorted(
        (coefficients[f"storage.heat.{n}"] for n in coefficients.group("storage.heat")), key=lambda c: c.value
    )
    rows = [(c.value, round(c.value * 1.8 + 32), c.meaning, c.note, c.source) for c in steps]
    return pd.DataFrame(rows, columns=["core_c", "core_f", "action", "note", "source"])


def moisture_band(moisture_pct: float, coefficients: Handbook) -> tuple[str, str | Message]:
    """Return the band of a moisture at baling, and what it asks for.

    Returns
    -------
    (band, advice)
        Band "green", "amber", "red" or "too wet".
    """
    for band in ("green", "amber", "red"):
        limit = coefficients[f"storage.band.{band}"]
        if moisture_pct <= limit.value:
            return band, limit.meaning
    return "too wet", message("band.too_wet")


COLUMNS = ["scope", "topic", "title", "message", "source"]
_Note = tuple[str, str, str | Message, str | Message, str]


def crew_notes(
    zones: pd.DataFrame,
    methods: Mapping[str, Method],
    plan: Plan,
    coefficients: Handbook,
    wraps: Mapping[str, int] | None = None,
) -> pd.DataFrame:
    """Return settings, cautions and heating actions for bale day.

    Parameters
    ----------
    zones : DataFrame
        Table ``zones``: zone_id, field_id, method, removal_mg_ha are read.
    methods : mapping of name to method
    plan : Plan
    coefficients : Handbook
    wraps : mapping of wrap to bales, optional
        How many bales get which wrap, where the plan chose several; left out: the plan's one wrap.

    Returns
    -------
    pandas.DataFrame
        scope ("farm" or a field_id), topic (of the crew sheet), title and message (text or messages),
        source.
    """
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, coefficients, plan.need.longest_haul_km)
    notes = [*_gathering(zones, methods, plan, coefficients), *_wrapping(plan, turns, wraps, coefficients)]
    notes += [*_always(), *_row(plan), *_heating(coefficients)]
    return pd.DataFrame(notes, columns=COLUMNS)


def _always() -> Iterator[_Note]:
    """Give the notes that hold on any farm."""
    table = tomllib.loads(files("stovergeo.bales").joinpath("crew.toml").read_text("utf-8"))
    for note in table["note"]:
        key = f"note.{note['key']}"
        yield "farm", note["topic"], message(f"{key}_title"), message(key), note["source"]


def _gathering(
    zones: pd.DataFrame, methods: Mapping[str, Method], plan: Plan, coefficients: Handbook
) -> Iterator[_Note]:
    """Give method, cut and bale setting, for each method of each field."""
    worked = zones[zones["method"] != "leave"]
    for (field_id, name), part in worked.groupby(["field_id", "method"], sort=True):
        method = methods[str(name)]
        bale = bale_of(plan.bale, method, coefficients)
        where = message("crew.zones", zones=len(part), names=tuple(part["zone_id"]))
        values = {"method": method.title, "take": float(part["removal_mg_ha"].min())}
        passes = {"passes": method.passes} if method.passes else {}
        gather = message("crew.passes" if passes else "crew.no_pass", **values, **passes)
        yield str(field_id), "method", where, gather, "the plan"
        yield str(field_id), "cut", where, message("crew.cut", height=method.cut_height_m), "the plan"
        yield str(field_id), "bale", where, _setting(bale), "the plan; density from the handbook"
        band, advice = moisture_band(bale.moisture_pct, coefficients)
        title = message("crew.moisture_title", zones=where)
        expected = message("crew.moisture", moisture=bale.moisture_pct, band=band, advice=advice)
        yield str(field_id), "bale", title, expected, "bands are ours; see the handbook"


def _setting(bale: BaleSize) -> Message:
    return message(
        "crew.bale",
        made=message(f"crew.made.{bale.shape}", **{name: getattr(bale, f"{name}_m") for name in bale.kind.measures}),
        as_is=bale.as_is_kg,
        dry=bale.dry_kg,
        density=bale.density_dry_kg_m3,
        low=bale.dry_low_kg,
        high=bale.dry_high_kg,
    )


def _wrapping(plan: Plan, turns: float, wraps: Mapping[str, int] | None, coefficients: Handbook) -> Iterator[_Note]:
    """Give how many bales get which wrap, and how it is put on."""
    bale = bale_of(plan.bale, None, coefficients)
    for wrap, bales in (wraps or {planned_wrap(plan): 0}).items():
        how = _how_wrapped(wrap, bale, plan, turns, coefficients)
        counted = message("crew.wrap.of_the_farm", bales=bales, how=how) if bales else how
        title = message("crew.wrap.title", wrap=WRAPS[wrap].title)
        yield "farm", "wrap", title, counted, "common practice"


def _how_wrapped(wrap: str, bale: BaleSize, plan: Plan, turns: float, coefficients: Handbook) -> Message:
    kind = WRAPS[wrap]
    key = f"crew.wrap.{bale.kind.tied or kind.crew}"
    if kind.own_turns and not bale.kind.tied:
        before, after = (coefficients.value(turns_key) for turns_key in kind.own_turns)
        return message(key, before=before, after=after)
    if kind.net and not bale.kind.tied:
        own_turns, net_m = net_of(wrap, turns, bale, plan.wrap.overlap_m, coefficients)
        a_roll = int(plan.wrap.roll_length_m // net_m)
        return message(key, turns=own_turns, overlap=plan.wrap.overlap_m, net=net_m, a_roll=a_roll)
    return message(key)


def _row(plan: Plan) -> Iterator[_Note]:
    """Give the pattern, place and base of the rows."""
    storage = plan.storage
    prepared = BASES.get(storage.base)
    base = message("crew.base.prepared", base=prepared.title) if prepared else message(f"crew.base.{storage.base}")
    row = message("crew.row", pattern=storage.pattern, place=storage.place, base=base)
    yield "farm", "row", message("crew.row_title"), row, "the plan"


def _heating(coefficients: Handbook) -> Iterator[_Note]:
    """Give when to measure the core, and what to do at which temperature."""
    weeks = coefficients["storage.watch_weeks"]
    when = message("crew.heating_when", weeks=weeks.value, longest=weeks.high)
    yield "farm", "heating", message("crew.heating_title"), when, weeks.source
    for step in heating_table(coefficients).itertuples():
        title = message("crew.heating_at" if step.Index else "crew.heating_up_to", core=step.core_c)
        yield "farm", "heating", title, str(step.action), str(step.source)
