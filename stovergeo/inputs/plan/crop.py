"""``[crop]`` and ``[limits]``: how the ground is farmed, and what must stay on it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator

from stovergeo.inputs.plan.base import LengthM, MassPerAreaMgHa, Section


class Crop(Section):
    """The crop, its rotation and its tillage."""

    rotation: Literal["continuous corn", "corn-soybean"] = "corn-soybean"
    #: Passes from harvest to planting, in order; names of the handbook's `tillage` group.
    tillage: tuple[str, ...] = ("chisel_straight", "field_cultivator", "planter")
    #: Rows on the contour.
    contoured: bool = False
    #: Rainfall erosivity R, US units (about 160 in central Iowa).
    erosivity_us: float = Field(160, gt=0, le=800)
    #: Carbon brought with manure, Mg C/ha a year.
    manure_c_mg_ha: float = Field(0, ge=0, le=50)
    #: Carbon brought by a cover crop, Mg C/ha a year.
    cover_crop_c_mg_ha: float = Field(0, ge=0, le=50)
    #: Stover leaves in one corn year out of this many.
    harvest_one_year_in: int = Field(1, ge=1, le=10)
    #: Stubble the combine leaves, e.g. "14 in"; left out: by method.
    cut_height_m: LengthM | None = Field(None, alias="cut_height", le=2)
    #: Wind loss of bare ground, ton/ac a year, from the conservation office.
    wind_loss_us: float | None = Field(None, ge=0, le=400)
    #: What the handbook's nutrient contents were measured on; rain takes P and K from the stalks.
    nutrient_basis: Literal["bale", "maturity"] = "bale"
    #: From the conservation office, for this plan of harvest.
    soil_conditioning_index: float | None = None


class Limits(Section):
    """Limits on what may leave, beyond those the rules compute."""

    #: Retention rules to use; left out: all that are installed.
    rules: tuple[str, ...] | None = None
    #: Ground cover wanted after planting.
    cover_pct: float = Field(30, ge=0, le=90)
    #: Never leave less, e.g. "1.5 ton/ac".
    retention_min_mg_ha: MassPerAreaMgHa = Field(0.0, alias="retention_min")
    #: Never take more.
    removal_max_mg_ha: MassPerAreaMgHa | None = Field(None, alias="removal_max")
    #: No stover leaves where corn yields less, bu/ac.
    harvest_from_bu_ac: float | None = Field(None, ge=0, le=400)
    #: Most K2O that may leave with the stover, e.g. "50 lb/ac".
    potash_max_mg_ha: MassPerAreaMgHa | None = Field(None, alias="potash_max")
    #: Most P2O5 that may leave with the stover, e.g. "10 lb/ac".
    phosphate_max_mg_ha: MassPerAreaMgHa | None = Field(None, alias="phosphate_max")
    #: No harvest on steeper ground.
    slope_max_pct: float = Field(8, gt=0, le=100)
    #: Allow harvest on highly erodible land (needs its conservation plan).
    take_highly_erodible: bool = False
    #: Share of the tolerable soil loss to stay under.
    tolerance_fraction: float = Field(1.0, gt=0, le=1)

    @field_validator("cover_pct", "slope_max_pct")
    @classmethod
    def _percent_and_no_fraction(cls, given: float) -> float:
        if 0 < given < 1:
            raise ValueError(f"{given:g} looks like a fraction; write percent, such as {100 * given:g}")
        return given


class Odds(Section):
    """The Monte Carlo run."""

    samples: int = Field(500, ge=0, le=20_000)
    seed: int = 1
    #: Percentile of the limit that decisions use.
    cautious_pct: float = Field(10, gt=0, le=50)
