"""Where the numbers of a plan stand in the tables of its result: table, column, and what it is in the ledger."""

from __future__ import annotations

from typing import Final, NamedTuple


class Table(NamedTuple):
    """How a table of the result is read."""

    name: str
    of: str  #: whose its numbers are, with `keys`
    keys: tuple[str, ...]
    columns: dict[str, tuple[str, str]]  #: column -> (what, kind)


def _table(name: str, of: str, keys: str, **kinds: str) -> Table:
    """Return how a table is read: its columns by kind, each as ``column=what``, or as ``column`` if it is both."""
    columns = {}
    for kind, listed in kinds.items():
        for column, _, what in (pair.partition("=") for pair in listed.split()):
            columns[column] = (what or column, kind)
    return Table(name, of, tuple(keys.split()), columns)


TABLES: Final = (
    _table(
        "zones",
        "zone",
        "zone_id",
        rate=(
            "stover_mg_ha=grown_rate retention_mg_ha=retention_rate removable_mg_ha=removable_rate "
            "spare_mean_mg_ha=removable_mean_rate removal_mg_ha=removal_rate"
        ),
        fraction="left_fraction=all_stays_fraction unknown_fraction gathered_fraction",
    ),
    _table(
        "bale_plan",
        "zone",
        "zone_id",
        count="bales_low bales_high",
        bale_mass="bale_dry_kg=bale_dry_mass bale_as_is_kg=bale_as_is_mass",
        percent="moisture_pct=moisture",
        plain="turns",
        number1="bales_ha=bales_rate bales_hour=bales_an_hour hours days",
    ),
    _table("zone_nutrients", "zone", "zone_id", per_mass="cost_mg=nutrient_cost_per_mass"),
    _table(
        "odds",
        "zone",
        "zone_id",
        rate=(
            "p10_mg_ha=removable_p10_rate p50_mg_ha=removable_p50_rate p90_mg_ha=removable_p90_rate "
            "cautious_mg_ha=removable_cautious_rate"
        ),
        fraction="odds_any=removable_probability compliance_probability",
    ),
    _table(
        "zone_carbon",
        "zone",
        "zone_id",
        rate="carbon_mg_ha=soil_carbon_rate table_mg_ha=carbon_table_rate goal_mg_ha=carbon_goal_rate",
        percent1="cost_low_pct=carbon_cost_low cost_pct=carbon_cost cost_high_pct=carbon_cost_high",
        fraction="carbon_goal_probability",
    ),
    _table(
        "carbon",
        "soil",
        "soil_id",
        area="area_ha=area",
        rate=(
            "carbon_mg_ha=soil_carbon_rate table_mg_ha=carbon_table_rate lowest_mg_ha=models_lowest_rate "
            "highest_mg_ha=models_highest_rate"
        ),
        percent="clay_pct=clay sand_pct=sand",
    ),
    _table(
        "zone_limits",
        "limit",
        "zone_id rule",
        rate="retention_mg_ha=retention_rate gain_mg_ha=gain_rate",
        fraction="binds_fraction=binding_fraction",
    ),
    _table("limit_totals", "rule", "rule", area="binds_ha=binding_area", mass="gain_mg=gain"),
    _table(
        "zone_methods",
        "method",
        "zone_id method",
        rate=(
            "removal_mg_ha=removal_rate limit_mg_ha=removable_rate standing_mg_ha=standing_rate "
            "flat_mg_ha=flat_rate soil_mg_ha=soil_rate removal_mean_mg_ha=removal_mean_rate "
            "mean_limit_mg_ha=mean_limit_rate even_limit_mg_ha=even_limit_rate "
            "cautious_limit_mg_ha=cautious_limit_rate"
        ),
        fraction="clean_fraction compliance_probability harvest_fraction",
        percent="moisture_pct=moisture",
        percent1="ash_pct=ash",
        count="passes",
    ),
    _table("calendar", "calendar", "zone_id year", rate="removal_mg_ha=removal_rate", fraction="harvest_fraction"),
    _table("sensitivity", "cause", "field_id rank", fraction="share=fraction"),
    _table(
        "yards",
        "yard",
        "yard_id",
        fraction="score sun_fraction",
        count="capacity_bales=capacity rows_deg=rows_direction stacks",
        area="area_ha=area",
        money="base_cost base_cost_laid",
        depth="base_depth_m=base_depth",
        mass="stone_mg=stone",
        percent1="slope_pct=slope",
        length="road_m=road",
    ),
    _table(
        "stacks", "stack", "stack_id", count="bales=capacity rows", mass="mass_mg=as_is_mass", length1="height_m=height"
    ),
    _table("apron", "yard", "yard_id", length="side_m=apron_side road_m=apron_road"),
    _table("lanes", "yard", "yard_id", length="width_m=lane_width", fraction="clear_fraction=lane_clear_fraction"),
    _table("setback_areas", "setback", "criterion", length="distance_m=distance"),
    _table("yard_ratings", "rating", "yard_id criterion", fraction="score"),
    _table("yard_near", "near", "yard_id layer", length="distance_m=distance"),
    _table("yard_routes", "haul", "zone_id yard_id", length="distance_m=distance"),
    _table("yards_before", "yard_before", "yard_id", count="bales"),
    _table("yard_sun", "sun", "yard_id year month", fraction="sun_fraction", number1="sun_kwh_m2=sun_energy"),
    _table("hauls", "haul", "zone_id yard_id", count="bales", length="distance_m=distance"),
    _table(
        "wrap_table",
        "storage",
        "wrap base year month",
        number1="months_stored=months rain_mm=rain",
        percent1=("loss_low_pct=loss_low loss_pct=loss loss_high_pct=loss_high rim_pct=rim counted_pct=counted"),
        money2="wrap_cost base_cost time_cost loss_cost cost_bale=cost",
        per_mass="cost_mg=cost_per_mass",
    ),
    _table("need", "need", "need year month", count="days", number1="months_stored=months", percent1="loss_pct=loss"),
    _table(
        "wrap_use",
        "stored",
        "need year month wrap base",
        number1="months_stored=months",
        percent1="loss_pct=loss",
        count="bales",
    ),
    _table("withdrawals", "withdrawal", "yard_id wrap base need year month", count="bales"),
    _table(
        "contracts",
        "contract",
        "need",
        mass="dry_mg=delivered",
        per_mass="price_per_mg=price_per_mass pays_from_per_mg=pays_from_per_mass",
        money="revenue added_cost profit",
    ),
    _table(
        "inventory",
        "inventory",
        "zone_id method",
        count="bales",
        per_mass="edge_cost_per_mg=edge_cost_per_mass",
        fraction="compliance_probability",
    ),
    _table(
        "staying",
        "staying",
        "zone_id",
        rate="removal_mg_ha=removal_rate limit_mg_ha=limit_rate",
        count="lever_bales=lever_bales",
    ),
    _table("levers", "lever", "lever zone_id", count="bales gained_bales"),
    _table(
        "alternatives",
        "alternative",
        "aim",
        money="cost",
        per_mass="cost_per_mg=cost_per_mass",
        fraction1="more_cost=more_cost_fraction",
        mass="baled_mg=baled shift_mg=shift",
        fraction="near_limit=near_limit_fraction habit_fraction=as_today_fraction",
        count="yards zones short_bales",
    ),
    _table("fields", "field", "field_id", area="area_ha=area"),
    _table("cleaning", "records", "reason", count="points=records", fraction1="share=fraction"),
)
SEASON: Final = next(t.columns for t in TABLES if t.name == "alternatives")  #: of another plan
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
#: sums of the whole farm: key of the totals -> what
TOTALS: Final = {
    "fields_ha": "area",
    "gathered_ha": "gathered_area",
    "kept_free_ha": "kept_free_area",
    "unknown_ha": "unknown_area",
    "grain_mg": "grain_known",
    "stover_known_mg": "grown_known",
    "removable_known_mg": "removable_known",
    "stover_mg": "grown",
    "removable_mg": "removable",
    "need_mg": "need",
    "need_bales": "need_bales",
    "withdrawn_mg": "withdrawn",
    "short_bales": "short_bales",
    "nutrient_cost": "nutrient_cost",
    "cost": "cost",
    "cost_per_mg": "cost_per_mass",
    "yards_used": "yards",
    **{column: what for column, what in AMOUNTS.items() if not column.startswith("cost")},
}
#: a column of the tables that are a row a zone, or a row a yard -> what
ZONE_COLUMNS: Final = {c: w for t in TABLES if t.keys == ("zone_id",) for c, (w, _) in t.columns.items()} | AMOUNTS
YARD_COLUMNS: Final = {c: w for t in TABLES if t.name == "yards" for c, (w, _) in t.columns.items()} | {
    "planned_bales": "bales"
}
