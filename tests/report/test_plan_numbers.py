"""The ledger of a plan: every number once, under one key, and what adds up in it adds up in print."""

from __future__ import annotations

import math
from collections.abc import Callable

import pandas as pd
import pytest

from stovergeo.core.printing import UNIT_SYSTEMS, how_printed
from stovergeo.report.ledger import Ledger
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.result import SeasonResult

FARMS = ["made", pytest.param("shortage", marks=pytest.mark.long), pytest.param("sample", marks=pytest.mark.long)]


@pytest.fixture(scope="module", params=FARMS)
def season(request: pytest.FixtureRequest, season_of: Callable[[str], SeasonResult]) -> SeasonResult:
    return season_of(request.param)


@pytest.fixture(scope="module")
def ledger(season: SeasonResult) -> Ledger:
    return ledger_of(season)


def printed(ledger: Ledger, of: str, what: str, system: str) -> float:
    text = ledger.text(of, what, system)
    return math.nan if text == "not known" else float(text.replace(",", ""))


def check_sums(ledger: Ledger, what: str, whole: str, parts: list[str], kind: str) -> None:
    for system in UNIT_SYSTEMS:
        shown = [printed(ledger, of, what, system) for of in parts]
        known = [n for n in shown if n == n]
        if not known:
            assert ledger.text(whole, what, system) in ("not known", "0", "0.0")
            continue
        total = sum(known)
        assert round(total, how_printed(kind, system).decimals) == printed(ledger, whole, what, system), (what, whole)


@pytest.mark.parametrize(
    ("what", "kind"),
    [
        ("area", "area"),
        ("gathered_area", "area"),
        ("grown", "mass"),
        ("removable", "mass"),
        ("removal", "mass"),
        ("bales", "count"),
        ("pay", "money"),
        ("nutrient_cost", "money"),
        ("potash", "bale_mass"),
    ],
)
def test_zones_add_up_to_fields_and_fields_to_the_farm(
    season: SeasonResult, ledger: Ledger, what: str, kind: str
) -> None:
    fields = [f"field {f}" for f in season.fields["field_id"] if (f"field {f}", what) in ledger]
    check_sums(ledger, what, "farm", fields, kind)
    for field_id, own in season.zones.groupby("field_id"):
        zones = [f"zone {z}" for z in own["zone_id"] if (f"zone {z}", what) in ledger]
        if zones:
            check_sums(ledger, what, f"field {field_id}", zones, kind)


def test_steps_add_up_to_the_cost_and_hauls_to_theirs(season: SeasonResult, ledger: Ledger) -> None:
    steps = [of for (of, what), _ in ledger if of.startswith("step ") and what == "cost"]
    check_sums(ledger, "cost", "farm", steps, "money")
    check_sums(ledger, "cost_per_mass", "farm", steps, "per_mass")
    hauls = [f"haul {h.zone_id} {h.yard_id}" for h in season.supply.hauls.itertuples()]
    check_sums(ledger, "cost", "step haul", hauls, "money")


@pytest.mark.parametrize("what", ["need", "baled", "withdrawn", "need_bales", "made_bales", "short_bales"])
def test_months_add_up_to_needs_and_needs_to_the_farm(season: SeasonResult, ledger: Ledger, what: str) -> None:
    kind = "count" if what.endswith("bales") else "mass"
    names = season.supply.need["need"].unique()
    check_sums(ledger, what, "farm", [f"need {n}" for n in names], kind)
    for name, part in season.supply.need.groupby("need"):
        months = [f"need {name} {m.year} {m.month}" for m in part.itertuples()]
        check_sums(ledger, what, f"need {name}", months, kind)


def test_bales_of_zones_yards_months_wraps_and_needs_are_the_same(season: SeasonResult, ledger: Ledger) -> None:
    total = ledger["farm", "bales"]
    yards = list(season.yards["yard_id"])
    assert sum(ledger[f"yard {y}", "bales"] for y in yards) == total
    months = {f"yard {w.yard_id} {w.year} {w.month}" for w in season.supply.withdrawals.itertuples()}
    assert sum(ledger[of, "bales"] for of in months) == total
    assert ledger["farm", "made_bales"] == total
    assert sum(ledger[f"wrap {w}", "bales"] for w in season.supply.stored["wrap"].unique()) == total


def test_what_stands_in_two_tables_is_one_number(season: SeasonResult, ledger: Ledger) -> None:
    totals = {
        "fields_ha": "area",
        "gathered_ha": "gathered_area",
        "kept_free_ha": "kept_free_area",
        "stover_mg": "grown",
        "removable_mg": "removable",
        "removal_mg": "removal",
        "bales": "bales",
        "need_mg": "need",
        "withdrawn_mg": "withdrawn",
        "need_bales": "need_bales",
        "short_bales": "short_bales",
        "cost": "cost",
        "cost_per_mg": "cost_per_mass",
        "nutrient_cost": "nutrient_cost",
        "unknown_ha": "unknown_area",
        "n_kg": "nitrogen",
        "net_m": "net",
    }
    for key, what in totals.items():
        assert ledger["farm", what] == pytest.approx(season.totals[key], rel=1e-9), key
    for yard, sun in season.siting.sun.groupby("yard_id"):
        season_mean = sun["sun_kwh_m2"].sum() / (sun["sun_kwh_m2"] / sun["sun_fraction"]).sum()
        assert ledger[f"yard {yard}", "sun_fraction"] == pytest.approx(season_mean, rel=1e-4)
    steps = {"nutrients": "nutrient_cost", "land": "pay"}
    for step, what in steps.items():
        for system in UNIT_SYSTEMS:
            assert ledger.text(f"step {step}", "cost", system) == ledger.text("farm", what, system)


def test_two_tables_that_disagree_are_not_printed(season: SeasonResult) -> None:
    hauls = season.supply.hauls.assign(distance_m=season.supply.hauls["distance_m"] + 1)
    with pytest.raises(ValueError, match=r"haul .* distance"):
        ledger_of(season.with_tables(hauls=hauls))


def test_a_field_without_a_known_yield_is_not_known(season: SeasonResult, ledger: Ledger) -> None:
    dark = season.zones.loc[season.zones["method"] == "unknown", "field_id"].unique()
    for field_id in dark:
        for what in ("grown", "removable", "removal", "bales"):
            assert ledger.text(f"field {field_id}", what, "us") == "not known"
    assert pd.notna(ledger["farm", "removal"])
