"""What the baling crew must know, as data: the crew sheet prints it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Protocol

import pandas as pd

from stovergeo.bales.bale import BaleSize, Gathered, bale_of
from stovergeo.bales.heating import heating_table, moisture_band
from stovergeo.bales.storage import TITLES
from stovergeo.bales.wrap import net_of, net_turns
from stovergeo.core.coefficients import Handbook
from stovergeo.inputs.plan import Plan

COLUMNS = ["scope", "topic", "title", "words", "source"]
_Note = tuple[str, str, str, str, str]


class Described(Gathered, Protocol):
    """A way to gather, as far as the crew is told of it (see `stovergeo.residue.methods`)."""

    @property
    def title(self) -> str:
        """Its name in words."""

    @property
    def cut_height_m(self) -> float:
        """Height of the stubble, m."""

    @property
    def passes(self) -> int:
        """Passes over the field after the combine."""


def crew_notes(
    zones: pd.DataFrame,
    methods: Mapping[str, Described],
    plan: Plan,
    book: Handbook,
    wraps: Mapping[str, int] | None = None,
) -> pd.DataFrame:
    """Return settings, cautions and heating actions for bale day.

    Parameters
    ----------
    zones : DataFrame
        Table ``zones``: zone_id, field_id, method, take_mg_ha are read.
    methods : mapping of name to method
    plan : Plan
    book : Handbook
    wraps : mapping of wrap to bales, optional
        How many bales get which wrap, where the plan chose several; left out: the plan's one wrap.

    Returns
    -------
    pandas.DataFrame
        scope ("farm" or a field_id), topic (of the crew sheet), title, words (SI), source.
    """
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, book, plan.need.longest_haul_km)
    notes = [*_gathering(zones, methods, plan, book), *_wrapping(plan, turns, wraps, book)]
    notes += [("farm", n["topic"], n["title"], n["words"], n["source"]) for n in _always()]
    notes += [*_row(plan), *_heating(book)]
    return pd.DataFrame(notes, columns=COLUMNS)


def _always() -> list[dict[str, str]]:
    return tomllib.loads(files("stovergeo.bales").joinpath("crew.toml").read_text("utf-8"))["note"]


def _gathering(zones: pd.DataFrame, methods: Mapping[str, Described], plan: Plan, book: Handbook) -> Iterator[_Note]:
    """Give method, cut and bale setting, for each method of each field."""
    worked = zones[zones["method"] != "leave"]
    for (field_id, name), part in worked.groupby(["field_id", "method"], sort=True):
        method = methods[str(name)]
        bale = bale_of(plan.bale, method, book)
        where = f"Zones {', '.join(part['zone_id'])}" if len(part) > 1 else f"Zone {part['zone_id'].iloc[0]}"
        extra = "no pass" if method.passes == 0 else "one pass" if method.passes == 1 else f"{method.passes} passes"
        yield (
            str(field_id),
            "method",
            where,
            f"{method.title[0].upper()}{method.title[1:]}, {extra} after the combine. "
            f"Take no more than {part['take_mg_ha'].min():.1f} Mg/ha, dry; leave the rest lying.",
            "the plan",
        )
        cut = f"Cut at {100 * method.cut_height_m:.0f} cm. Lower takes more than the ground can spare, and more soil."
        yield str(field_id), "cut", where, cut, "the plan"
        yield str(field_id), "bale", where, _setting(bale), "the plan; density from the handbook"
        band, words = moisture_band(bale.moisture_pct, book)
        expected = f"Expected at about {bale.moisture_pct:g} % moisture ({band}). {words}"
        yield str(field_id), "bale", f"{where}, moisture", expected, "bands are ours; see the handbook"


def _setting(bale: BaleSize) -> str:
    if bale.shape == "round":
        size = f"{bale.width_m:.2f} m wide, {bale.diameter_m:.2f} m across"
    else:
        size = f"{bale.height_m:.2f} m high, {bale.width_m:.2f} m wide, {bale.length_m:.2f} m long"
    return (
        f"{bale.shape.capitalize()} bale {size}. Aim for {bale.as_is_kg:.0f} kg as it is "
        f"({bale.dry_kg:.0f} kg dry, {bale.density_dry_kg_m3:.0f} kg/m3; "
        f"{bale.dry_low_kg:.0f} to {bale.dry_high_kg:.0f} kg dry as the density turns out)."
    )


def _wrapping(plan: Plan, turns: float, wraps: Mapping[str, int] | None, book: Handbook) -> Iterator[_Note]:
    bale = bale_of(plan.bale, None, book)
    kind = "net" if plan.wrap.kind == "best" else plan.wrap.kind
    for wrap, bales in (wraps or {kind: 0}).items():
        own_turns, net_m = net_of(wrap, turns, bale, plan.wrap.overlap_m, book)
        count = f"{bales:,} bales of the farm. " if bales else ""
        if wrap == "full_cover":
            before, after = book.value("wrap.cover_turns_before"), book.value("wrap.cover_turns_after")
            words = (
                f"{count}{before:g} turn of net, then the one pre-measured sheet, then {after:g} turn of net. "
                "Bale dry and set the bale down so that the sheet's overlap sheds rain."
            )
        elif net_m:
            a_roll = int(plan.wrap.roll_length_m // net_m)
            words = (
                f"{count}{own_turns:g} turns of net, {100 * plan.wrap.overlap_m:.0f} cm of overlap at the end: "
                f"{net_m:.1f} m a bale. A roll wraps {a_roll} bales."
            )
        elif bale.shape == "square":
            words = f"{count}Heavy twine on every knotter. Large squares go under a tarp or a roof the same day."
        else:
            words = f"{count}Twine close at the ends and evenly between."
        title = TITLES[wrap]
        yield "farm", "wrap", f"{title[0].upper()}{title[1:]}", words, "common practice"


def _row(plan: Plan) -> Iterator[_Note]:
    base = {
        "best": "as the yard plan says",
        "ground": "on bare ground",
        "gravel": "on gravel",
        "tires": "on tires or pallets",
    }
    words = f"{plan.storage.pattern.capitalize()}, {plan.storage.place}, {base[plan.storage.base]}."
    yield "farm", "row", "Stack", words, "the plan"


def _heating(book: Handbook) -> Iterator[_Note]:
    weeks = book["storage.watch_weeks"]
    words = (
        f"Probe the core of the dampest bales through the first {weeks.value:g} weeks; "
        f"most heat in the second to fourth, and some sources say to probe for {weeks.high:g}. "
        "The fire service decides what is done with a hot stack."
    )
    yield "farm", "heating", "When", words, weeks.source
    for step in heating_table(book).itertuples():
        # both scales stand here, as the bulletins print them: no conversion may blur an alarm
        title = f"{'Up to ' if step.Index == 0 else ''}{step.core_f} F ({step.core_c:.0f} C)"
        yield "farm", "heating", title, str(step.action), str(step.source)
