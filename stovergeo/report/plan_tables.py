"""Where the numbers of a plan stand in the tables of its result: table, column, and what it is in the ledger."""

from __future__ import annotations

from typing import Final, NamedTuple


class Table(NamedTuple):
    """How a table of the result is read."""

    name: str
    of: str  #: whose its numbers are, with `keys`
    keys: tuple[str, ...]
    columns: dict[str, tuple[str, str]]  #: column -> (what, kind)


MONTH: Final = ("year", "month")
TABLES: Final = (
    Table(
        "zones",
        "zone",
        ("zone_id",),
        {
            "stover_mg_ha": ("grown_rate", "rate"),
            "retention_mg_ha": ("retention_rate", "rate"),
            "removable_mg_ha": ("removable_rate", "rate"),
            "spare_mean_mg_ha": ("removable_mean_rate", "rate"),
            "removal_mg_ha": ("removal_rate", "rate"),
            "left_fraction": ("all_stays_fraction", "share"),
            "unknown_fraction": ("unknown_fraction", "share"),
            "gathered_fraction": ("gathered_fraction", "share"),
        },
    ),
    Table(
        "bale_plan",
        "zone",
        ("zone_id",),
        {
            "bales_low": ("bales_low", "count"),
            "bales_high": ("bales_high", "count"),
            "bale_dry_kg": ("bale_dry_mass", "bale_mass"),
            "bale_as_is_kg": ("bale_as_is_mass", "bale_mass"),
            "moisture_pct": ("moisture", "percent"),
            "turns": ("turns", "plain"),
            "bales_ha": ("bales_rate", "number1"),
            "bales_hour": ("bales_an_hour", "number1"),
            "hours": ("hours", "number1"),
            "days": ("days", "number1"),
        },
    ),
    Table(
        "zone_nutrients",
        "zone",
        ("zone_id",),
        {
            "cost_mg": ("nutrient_cost_per_mass", "per_mass"),
        },
    ),
    Table(
        "odds",
        "zone",
        ("zone_id",),
        {
            "p10_mg_ha": ("removable_p10_rate", "rate"),
            "p50_mg_ha": ("removable_p50_rate", "rate"),
            "p90_mg_ha": ("removable_p90_rate", "rate"),
            "cautious_mg_ha": ("removable_cautious_rate", "rate"),
            "odds_any": ("removable_probability", "share"),
            "compliance_probability": ("compliance_probability", "share"),
        },
    ),
    Table(
        "zone_limits",
        "limit",
        (
            "zone_id",
            "rule",
        ),
        {
            "retention_mg_ha": ("retention_rate", "rate"),
            "binds_fraction": ("binding_fraction", "share"),
            "gain_mg_ha": ("gain_rate", "rate"),
        },
    ),
    Table(
        "limit_totals",
        "rule",
        ("rule",),
        {
            "binds_ha": ("binding_area", "area"),
            "gain_mg": ("gain", "mass"),
        },
    ),
    Table(
        "zone_methods",
        "method",
        (
            "zone_id",
            "method",
        ),
        {
            "removal_mg_ha": ("removal_rate", "rate"),
            "limit_mg_ha": ("removable_rate", "rate"),
            "standing_mg_ha": ("standing_rate", "rate"),
            "flat_mg_ha": ("flat_rate", "rate"),
            "soil_mg_ha": ("soil_rate", "rate"),
            "clean_fraction": ("clean_fraction", "share"),
            "moisture_pct": ("moisture", "percent"),
            "ash_pct": ("ash", "percent1"),
            "passes": ("passes", "count"),
            "one_year_in": ("one_year_in", "plain"),
            "compliance_probability": ("compliance_probability", "share"),
        },
    ),
    Table(
        "calendar",
        "calendar",
        (
            "zone_id",
            "year",
        ),
        {
            "removal_mg_ha": ("removal_rate", "rate"),
            "one_year_in": ("one_year_in", "plain"),
        },
    ),
    Table(
        "sensitivity",
        "cause",
        (
            "field_id",
            "rank",
        ),
        {
            "share": ("fraction", "share"),
        },
    ),
    Table(
        "yards",
        "yard",
        ("yard_id",),
        {
            "score": ("score", "share"),
            "capacity_bales": ("capacity", "count"),
            "area_ha": ("area", "area"),
            "base_cost": ("base_cost", "money"),
            "base_cost_laid": ("base_cost_laid", "money"),
            "base_depth_m": ("base_depth", "depth"),
            "stone_mg": ("stone", "mass"),
            "sun_fraction": ("sun_fraction", "share"),
            "slope_pct": ("slope", "percent1"),
            "road_m": ("road", "length"),
            "rows_deg": ("rows_direction", "count"),
            "stacks": ("stacks", "count"),
        },
    ),
    Table(
        "stacks",
        "stack",
        ("stack_id",),
        {
            "bales": ("capacity", "count"),
            "rows": ("rows", "count"),
            "mass_mg": ("as_is_mass", "mass"),
            "height_m": ("height", "length1"),
        },
    ),
    Table(
        "apron",
        "yard",
        ("yard_id",),
        {
            "side_m": ("apron_side", "length"),
            "road_m": ("apron_road", "length"),
        },
    ),
    Table(
        "lanes",
        "yard",
        ("yard_id",),
        {
            "width_m": ("lane_width", "length"),
            "clear_fraction": ("lane_clear_fraction", "share"),
        },
    ),
    Table(
        "setback_areas",
        "setback",
        ("criterion",),
        {
            "distance_m": ("distance", "length"),
        },
    ),
    Table(
        "yard_ratings",
        "rating",
        (
            "yard_id",
            "criterion",
        ),
        {
            "score": ("score", "share"),
        },
    ),
    Table(
        "yard_near",
        "near",
        (
            "yard_id",
            "layer",
        ),
        {
            "distance_m": ("distance", "length"),
        },
    ),
    Table(
        "yard_routes",
        "haul",
        (
            "zone_id",
            "yard_id",
        ),
        {
            "distance_m": ("distance", "length"),
        },
    ),
    Table(
        "yards_before",
        "yard_before",
        ("yard_id",),
        {
            "bales": ("bales", "count"),
        },
    ),
    Table(
        "yard_sun",
        "sun",
        (
            "yard_id",
            *MONTH,
        ),
        {
            "sun_fraction": ("sun_fraction", "share"),
            "sun_kwh_m2": ("sun_energy", "number1"),
        },
    ),
    Table(
        "hauls",
        "haul",
        (
            "zone_id",
            "yard_id",
        ),
        {
            "bales": ("bales", "count"),
            "distance_m": ("distance", "length"),
        },
    ),
    Table(
        "wrap_table",
        "storage",
        (
            "wrap",
            "base",
            *MONTH,
        ),
        {
            "months_stored": ("months", "number1"),
            "rain_mm": ("rain", "number1"),
            "loss_low_pct": ("loss_low", "percent1"),
            "loss_pct": ("loss", "percent1"),
            "loss_high_pct": ("loss_high", "percent1"),
            "rim_pct": ("rim", "percent1"),
            "counted_pct": ("counted", "percent1"),
            "wrap_cost": ("wrap_cost", "money2"),
            "base_cost": ("base_cost", "money2"),
            "time_cost": ("time_cost", "money2"),
            "loss_cost": ("loss_cost", "money2"),
            "cost_bale": ("cost", "money2"),
            "cost_mg": ("cost_per_mass", "per_mass"),
        },
    ),
    Table(
        "need",
        "need",
        (
            "need",
            *MONTH,
        ),
        {
            "days": ("days", "count"),
            "months_stored": ("months", "number1"),
            "loss_pct": ("loss", "percent1"),
        },
    ),
    Table(
        "wrap_use",
        "stored",
        (
            "need",
            *MONTH,
            "wrap",
            "base",
        ),
        {
            "months_stored": ("months", "number1"),
            "loss_pct": ("loss", "percent1"),
            "bales": ("bales", "count"),
        },
    ),
    Table(
        "withdrawals",
        "withdrawal",
        ("yard_id", "wrap", "base", "need", *MONTH),
        {"bales": ("bales", "count")},
    ),
    Table(
        "cleaning",
        "records",
        ("reason",),
        {
            "points": ("records", "count"),
            "share": ("fraction", "share1"),
        },
    ),
)
#: of another plan: column -> (what, kind)
SEASON: Final = {
    "cost": ("cost", "money"),
    "cost_per_mg": ("cost_per_mass", "per_mass"),
    "more_cost": ("more_cost_fraction", "share1"),
    "baled_mg": ("baled", "mass"),
    "near_limit": ("near_limit_fraction", "share"),
    "yards": ("yards", "count"),
    "zones": ("zones", "count"),
    "short_bales": ("short_bales", "count"),
    "habit_fraction": ("as_today_fraction", "share"),
    "shift_mg": ("shift", "mass"),
}
#: amounts of a zone that add up to its field's and the farm's: column of whichever table holds it -> what
AMOUNTS: Final = {
    "area_ha": "area",
    "removal_mg": "removal",
    "bales": "bales",
    "net_m": "net",
    "n_kg": "nitrogen",
    "p2o5_kg": "phosphate",
    "k2o_kg": "potash",
    "s_kg": "sulfur",
    "lime_kg": "lime",
    "cost": "nutrient_cost",
    "cost_low": "nutrient_cost_low",
    "cost_high": "nutrient_cost_high",
}
#: a column of the tables that are a row a zone, or a row a yard -> what
ZONE_COLUMNS: Final = {c: w for t in TABLES if t.keys == ("zone_id",) for c, (w, _) in t.columns.items()} | AMOUNTS
YARD_COLUMNS: Final = {c: w for t in TABLES if t.name == "yards" for c, (w, _) in t.columns.items()} | {
    "planned_bales": "bales"
}
