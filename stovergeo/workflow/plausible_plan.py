"""Values of the plan that can be read but are likely not what was meant: another unit, a fraction, a day and month."""

from __future__ import annotations

from datetime import date
from typing import Any, Final, NamedTuple

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.core.units import K_SI_PER_US, MG_HA_PER_TON_ACRE, R_SI_PER_US
from stovergeo.inputs.normals import YEAR_C
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.yields import dry_yield
from stovergeo.inputs.point_checks import TYPICAL_MG_HA

message = Catalog("stovergeo.workflow")


class Typical(NamedTuple):
    """A range outside which a value is asked about (judgment, all of them), and what it most likely is then."""

    low: float
    high: float
    hint: str  #: key of `messages.toml`, group `hint`


#: section -> key in the code -> what is typical; SI, prices in $/Mg or $/ha
TYPICAL: Final[dict[str, dict[str, Typical]]] = {
    "money": {
        "stover_value_per_mg": Typical(10, 400, "price"),
        **dict.fromkeys(("nitrogen_per_mg", "phosphate_per_mg", "potash_per_mg"), Typical(200, 6000, "price")),
        "sulfur_per_mg": Typical(100, 6000, "price"),
        "soil_carbon_per_mg": Typical(0, 300, "price"),
        "chop_per_ha": Typical(5, 200, "price"),
        "rake_per_ha": Typical(2, 150, "price"),
        "bale_each": Typical(1, 80, "price"),
        "stage_each": Typical(0.2, 60, "price"),
        "truck_per_h": Typical(20, 500, "price"),
        "set_up": Typical(0, 5000, "price"),
        "yard_opening": Typical(0, 10_000, "price"),
    },
    "landowner": {"price_per_mg": Typical(0, 150, "price"), "price_per_ha": Typical(0, 600, "price")},
    "need.contract": {
        "price_per_mg": Typical(10, 400, "price"),
        "moisture_max_pct": Typical(5, 50, "fraction"),
        "ash_max_pct": Typical(2, 40, "fraction"),
        "distance_km": Typical(0, 800, "unit"),
    },
    "need.herd": {"kg_head_day": Typical(0.5, 15, "unit")},
    "crop": {
        "manure_c_mg_ha": Typical(0, 10, "unit"),
        "cover_crop_c_mg_ha": Typical(0, 5, "unit"),
        "erosivity": Typical(20 * R_SI_PER_US, 500 * R_SI_PER_US, "unit"),
        "cut_height_m": Typical(0.05, 1, "unit"),
        "wind_loss": Typical(0, 150 * MG_HA_PER_TON_ACRE, "unit"),
    },
    "soil_test": {"carbon_mg_ha": Typical(20, 250, "unit")},
    "limits": {
        "cover_pct": Typical(5, 90, "fraction"),
        "carbon_loss_max_pct": Typical(1, 15, "fraction"),
        "slope_max_pct": Typical(2, 40, "fraction"),
        "retention_min_mg_ha": Typical(0, 15, "unit"),
        "removal_max_mg_ha": Typical(0.3, 20, "unit"),
        "potash_max_mg_ha": Typical(0.005, 0.5, "unit"),
        "phosphate_max_mg_ha": Typical(0.001, 0.2, "unit"),
        "harvest_from_bu_ac": Typical(20, 300, "unit"),
    },
    "gather": {"working_width_m": Typical(2, 20, "unit"), "min_zone_ha": Typical(0, 40, "unit")},
    # an SI number written as US lies below the least of these, a US number as SI above what the plan takes
    "soil": {
        "clay_pct": Typical(2, 80, "fraction"),
        "erodibility": Typical(0.1 * K_SI_PER_US, 0.69 * K_SI_PER_US, "unit"),
        "tolerance": Typical(MG_HA_PER_TON_ACRE, 12, "unit"),
    },
    "odds": {"cautious_pct": Typical(2, 50, "fraction")},
}
#: coldest and hottest mean of a month of ground that grows corn, °C (judgment)
_MONTH_C: Final = (-35.0, 36.0)
#: months in which corn stover is baled, north of the equator: after the harvest or, of a wet fall, in spring
_BALED: Final = (9, 10, 11, 12, 1, 2, 3, 4)
#: and where corn ripens earlier, up to so many degrees from the equator (judgment)
_BALED_EARLY: Final = (7, 8)
_EARLY_TO: Final = 37.0


def check_ranges(plan: Plan, report: Report) -> None:
    """Report values of the plan that are far from typical ones, each with its key and what it most likely is."""
    for section, ranges in TYPICAL.items():
        for where, part in _parts(plan, section):
            for key, wanted in ranges.items():
                value = getattr(part, key)
                if wanted.hint == "price" and plan.farm.currency != "$":
                    continue  # what is typical is known in dollars alone
                if value is None or key not in part.model_fields_set or wanted.low <= value <= wanted.high:
                    continue
                name = type(part).model_fields[key].alias or key
                said = message(f"hint.{wanted.hint}", given=str(_as_given(value)))
                report.add("plan.unusual", f"plan file, {where}.{name}", said)
    _check_air(plan, report)
    _check_yields(plan, report)
    # a plan may be drawn up a year ahead
    if plan.farm.season > date.today().year + 1:
        said = message("hint.season", season=str(plan.farm.season))
        report.add("plan.unusual", "plan file, farm.season", said)
    for where, part in _parts(plan, "need.herd") + _parts(plan, "need.contract"):
        twice = sorted({month for month in part.months if part.months.count(month) > 1})
        if twice:
            report.add("plan.unusual", f"plan file, {where}.months", message("hint.twice", months=tuple(twice)))


def check_baling_day(plan: Plan, latitude: float, report: Report) -> None:
    """Report a day of baling in the growing season that is one after harvest with day and month changed over."""
    month, day = (int(part) for part in plan.storage.baled.split("-"))
    shift = 0 if latitude >= 0 else 6
    early = () if abs(latitude) > _EARLY_TO else _BALED_EARLY
    baled = {(m + shift - 1) % 12 + 1 for m in (*_BALED, *early)}
    if month in baled or "baled" not in plan.storage.model_fields_set:
        return
    if "last_used" in plan.storage.model_fields_set and int(plan.storage.last_used[:2]) in baled:
        said = message("hint.baled_swapped", last=plan.storage.last_used)
        report.add("plan.unusual", "plan file, storage.baled", said)
        return
    turned = f"{day:02d}-{month:02d}" if day in baled else ""
    said = message("hint.baled_turned", turned=turned) if turned else message("hint.baled")
    report.add("plan.unusual", "plan file, storage.baled", said)


def _parts(plan: Plan, section: str) -> list[tuple[str, Any]]:
    """Return the sections of a name that the plan has, with how to name each."""
    found: Any = plan
    for name in section.split("."):
        found = getattr(found, name)
    if isinstance(found, tuple):
        return [(f"{section} {number}", part) for number, part in enumerate(found, start=1)]
    return [] if found is None else [(section, found)]


def _as_given(value: Any) -> str:
    given, unit = getattr(value, "given", None), getattr(value, "unit", "")
    return f"{value:g}" if given is None else f"{given:g} {unit}"


def _check_air(plan: Plan, report: Report) -> None:
    air = plan.storage.air_c
    if air is None:
        return
    mean = sum(air) / 12
    if min(air) < _MONTH_C[0] or max(air) > _MONTH_C[1] or not YEAR_C[0] <= mean <= YEAR_C[1]:
        key = "air_f" if max(air) > _MONTH_C[1] else "air"
        report.add("plan.unusual", "plan file, storage.air_c", message(f"hint.{key}"))


def _check_yields(plan: Plan, report: Report) -> None:
    """Report stated yields that are unusual for corn; a map's own are reported where it is read."""
    stated = {"everywhere": plan.yields.everywhere, **{f"by_field.{k}": v for k, v in plan.yields.by_field.items()}}
    for key, given in stated.items():
        dry = None if given is None else dry_yield(given, plan.farm.market_moisture_pct)
        if dry is not None and not TYPICAL_MG_HA[0] <= dry <= TYPICAL_MG_HA[1]:
            report.add("plan.unusual", f"plan file, yields.{key}", message("hint.grain", given=dry))
