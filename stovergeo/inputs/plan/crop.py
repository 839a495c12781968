"""``[crop]`` and ``[limits]``: how the ground is farmed, and what must stay on it."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, field_validator

from stovergeo.core.units import parse_quantity
from stovergeo.inputs.plan.base import LengthM, MassPerAreaMgHa, Section
from stovergeo.inputs.plan.erosion import Erosivity, WindLoss
from stovergeo.inputs.plan.harvest_years import HarvestYears

#: no soil that grows corn holds less or more in its top 30 cm (judgment)
SoilCarbonMgHa = Annotated[MassPerAreaMgHa, Field(ge=5, le=600)]


def _percent(given: float) -> float:
    if 0 < given < 1:
        raise ValueError(f"{given:g} looks like a fraction; write percent, such as {100 * given:g}")
    return given


class CountedCover(Section):
    """A count along a line laid across the rows after planting: the marks that touch a piece of stover."""

    field: str = Field(description="Name of the field it was counted in.")
    cover_pct: float = Field(gt=0, lt=100, description="Marks of 100 that touch stover 3/32 in wide or wider.")
    marks: int = Field(100, ge=20, le=10_000, description="Marks looked at, of all lines together.")
    stover_left_mg_ha: MassPerAreaMgHa | None = Field(
        None,
        alias="stover_left",
        gt=0,
        le=40,
        description='Dry stover that stayed at the harvest before it, e.g. "3 ton/ac"; left out: all of it.',
    )
    tillage: tuple[str, ...] | None = Field(
        None, description="Passes between that harvest and the count; left out: those of [crop]."
    )

    @field_validator("cover_pct")
    @classmethod
    def _percent_and_no_fraction(cls, given: float) -> float:
        return _percent(given)


class Crop(Section):
    """The crop, its rotation and its tillage."""

    rotation: Literal["continuous corn", "corn-soybean"] = "corn-soybean"
    tillage: tuple[str, ...] = Field(
        ("chisel_straight", "field_cultivator", "planter"),
        description="Passes from harvest to planting, in order; names of the handbook's `tillage` group.",
    )
    cover_counts: tuple[CountedCover, ...] = Field(
        (), description="Ground cover counted in spring, one entry a field; its passes are judged by it."
    )
    contoured: bool = Field(False, description="Rows on the contour.")
    erosivity: Erosivity = Field(
        parse_quantity("160 US", "rainfall erosivity"),
        description='Rainfall erosivity R, e.g. "160 US" (central Iowa) or "2700 MJ mm/(ha h yr)".',
    )
    manure_c_mg_ha: float = Field(
        0, ge=0, le=50, description="Carbon that manure brings to the field, Mg C/ha a year, mean of all years."
    )
    manure_c_by_field: dict[str, Annotated[float, Field(ge=0, le=50)]] = Field(
        default_factory=dict, description='The same of single fields by name, e.g. "Home 80" = 1.0.'
    )
    cover_crop_c_mg_ha: float = Field(0, ge=0, le=50, description="Carbon brought by a cover crop, Mg C/ha a year.")
    harvest_years: HarvestYears = Field(
        Fraction(1), description='Corn years in which stover leaves: "3 of 4", "1 of 2" or "every year".'
    )
    cut_height_m: LengthM | None = Field(
        None, alias="cut_height", le=2, description='Stubble the combine leaves, e.g. "14 in"; left out: by method.'
    )
    wind_loss: WindLoss | None = Field(
        None, description='Wind loss of bare ground from the conservation office, e.g. "4 ton/ac/yr" or "9 t/ha/yr".'
    )
    wind_climate_pct: float | None = Field(
        None, ge=0, le=150, description="C of the wind erosion equation, percent, from the conservation office."
    )
    nutrient_basis: Literal["bale", "maturity"] = Field(
        "bale",
        description="What the handbook's nutrient contents were measured on; rain takes P and K from the stalks.",
    )
    soil_conditioning_index: float | None = Field(
        None, description="From the conservation office, for this plan of harvest."
    )

    @property
    def corn_fraction(self) -> Fraction:
        """Share of years in corn."""
        return Fraction(1) if self.rotation == "continuous corn" else Fraction(1, 2)

    def manure_of(self, field: str) -> float:
        """Return the carbon that manure brings to a field, Mg C/ha a year."""
        return self.manure_c_by_field.get(field, self.manure_c_mg_ha)


class SoilTest(Section):
    """``[soil_test]``: carbon in the soil, in the place of the soil survey's."""

    carbon_mg_ha: SoilCarbonMgHa | None = Field(
        None, alias="carbon", description='Organic carbon in the top 30 cm (12 in), e.g. "36 ton/ac" or "80 t/ha".'
    )
    by_field: dict[str, SoilCarbonMgHa] = Field(
        default_factory=dict, description='The same of single fields by name, e.g. "Home 80" = "32 ton/ac".'
    )

    def of(self, field: str) -> float | None:
        """Return the carbon of a field, Mg/ha, or None."""
        return self.by_field.get(field, self.carbon_mg_ha)


class Limits(Section):
    """Limits on what may leave, beyond those the rules compute."""

    rules: tuple[str, ...] | None = Field(None, description="Retention rules to use; left out: all that are installed.")
    cover_pct: float = Field(30, ge=0, le=90, description="Ground cover wanted after planting.")
    retention_min_mg_ha: MassPerAreaMgHa = Field(
        0.0, alias="retention_min", description='Never leave less, e.g. "1.5 ton/ac".'
    )
    removal_max_mg_ha: MassPerAreaMgHa | None = Field(None, alias="removal_max", description="Never take more.")
    harvest_from_bu_ac: float | None = Field(
        None, ge=0, le=400, description="No stover leaves where corn yields less, bu/ac."
    )
    potash_max_mg_ha: MassPerAreaMgHa | None = Field(
        None, alias="potash_max", description='Most K2O that may leave with the stover, e.g. "50 lb/ac".'
    )
    phosphate_max_mg_ha: MassPerAreaMgHa | None = Field(
        None, alias="phosphate_max", description='Most P2O5 that may leave with the stover, e.g. "10 lb/ac".'
    )
    slope_max_pct: float = Field(8, gt=0, le=100, description="No harvest on steeper ground.")
    take_erodible: bool = Field(
        False, description="Allow harvest on erodible ground; true only where its conservation plan allows it."
    )
    carbon_loss_max_pct: float = Field(
        5, ge=0, le=100, description="Most of the soil's carbon that harvest may cost in twenty years."
    )
    carbon_sure_pct: float = Field(
        50, ge=50, le=95, description="How sure that goal is to hold, by what trials measured; 50: by their middle."
    )
    tolerance_fraction: float = Field(1.0, gt=0, le=1, description="Share of the tolerable soil loss to stay under.")

    @field_validator("cover_pct", "slope_max_pct", "carbon_loss_max_pct")
    @classmethod
    def _percent_and_no_fraction(cls, given: float) -> float:
        return _percent(given)


class Odds(Section):
    """The Monte Carlo run."""

    samples: int = Field(500, ge=0, le=20_000)
    seed: int = 1
    cautious_pct: float = Field(10, gt=0, le=50, description="Percentile of the limit that decisions use.")
