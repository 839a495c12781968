"""What each step of the workflow reads from the field stack and makes in it; `docs/contracts.md` is rendered from here.

A test runs the steps that take a stack on one that holds no more than they read, and holds what comes out against
`makes`. Rules and criteria declare what they read themselves, in their attribute ``reads``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Step:
    """One public function between stack and stack, or between stack and tables."""

    name: str  #: ``package.function``
    reads: tuple[str, ...] = ()  #: variables without which it cannot run
    uses: tuple[str, ...] = ()  #: variables it uses where they are there
    makes: tuple[str, ...] = ()  #: variables it makes
    tables: tuple[str, ...] = ()  #: tables of `stovergeo.core.schemas` it makes

    @property
    def package(self) -> str:
        """The package it lives in."""
        return self.name.partition(".")[0]


STEPS: Final = (
    Step("stack.new_stack", makes=("cell_area_ha",)),
    Step(
        "inputs.put_layers",
        makes=(
            "field_number",
            "inside_property",
            "elevation_m",
            "surface_m",
            "soil_number",
            "drainage_class",
            "wettest_drainage_class",
            "flooding_class",
            "ponding_class",
            "water_table_cm",
            "clay_pct",
            "soil_carbon",
            "hydric",
            "hydrologic_group",
            "soil_erodibility",
            "soil_loss_tolerance",
            "wind_erodibility",
            "erodible_class",
        ),
    ),
    Step(
        "inputs.put_own_numbers",
        reads=("field_number",),
        uses=("soil_carbon",),
        makes=("soil_carbon_tested", "manure_carbon"),
    ),
    Step("yieldmap.grain_surface", uses=("field_number",), makes=("grain_mg_ha", "grain_error_mg_ha")),
    Step(
        "yieldmap.compare_years",
        reads=("field_number", "grain_mg_ha"),
        makes=("relative_yield", "yield_variation", "yield_stability", "grain_mean_mg_ha"),
    ),
    Step("terrain.slope_aspect", reads=("elevation_m",), makes=("slope_pct", "aspect_deg", "roughness_m")),
    Step(
        "terrain.water",
        reads=("elevation_m",),
        makes=("ponding_m", "upslope_area_m2", "concentrated_flow", "wetness", "drainage_height_m", "ls_factor"),
    ),
    Step("terrain.ls_by_class", reads=("slope_pct",), makes=("ls_factor",)),
    Step("terrain.season_sun", reads=("elevation_m",), uses=("surface_m",), makes=("sun_kwh_m2", "sun_fraction")),
    Step(
        "residue.limits",
        reads=("grain_mg_ha", "cell_area_ha"),
        uses=("grain_mean_mg_ha", "soil_carbon", "soil_carbon_tested", "manure_carbon"),
        makes=("stover_mg_ha", "stover_typical_mg_ha", "retention_mg_ha", "binding_rule", "removable_mg_ha"),
    ),
    Step(
        "zones.make_zones",
        reads=("field_number", "cell_area_ha", "stover_mg_ha", "retention_mg_ha", "removable_mg_ha"),
        uses=("concentrated_flow", "binding_rule"),
        tables=("zones",),
    ),
    Step("siting.rate_ground", makes=("yard_allowed", "yard_score", "yard_reason")),
    Step(
        "siting.find_yards",
        reads=("yard_allowed", "yard_score", "yard_reason"),
        uses=("aspect_deg", "slope_pct", "sun_fraction", "drainage_class", "clay_pct", "field_number"),
        tables=("yards", "stacks", "apron", "lanes"),
    ),
    Step("supply.haul_ground", uses=("slope_pct", "concentrated_flow")),
)
