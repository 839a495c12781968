"""``[crop]`` and ``[limits]``: how the ground is farmed, and what must stay on it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stovergeo.plan_file.base import MassPerAreaMgHa, Section


class Crop(Section):
    """The crop, its rotation and its tillage."""

    rotation: Literal["continuous corn", "corn-soybean"] = "corn-soybean"
    tillage: tuple[str, ...] = Field(
        ("chisel_straight", "field_cultivator", "planter"),
        description="Passes from harvest to planting, in order; names of the handbook's `tillage` group.",
    )
    contoured: bool = Field(False, description="Rows on the contour.")
    erosivity_us: float = Field(
        160, gt=0, le=800, description="Rainfall erosivity R, US units (about 160 in central Iowa)."
    )
    manure_c_mg_ha: float = Field(0, ge=0, description="Carbon brought with manure, Mg C/ha a year.")
    cover_crop_c_mg_ha: float = Field(0, ge=0, description="Carbon brought by a cover crop, Mg C/ha a year.")
    soil_conditioning_index: float | None = Field(
        None, description="From the conservation office, for this plan of harvest."
    )


class Limits(Section):
    """Limits on what may leave, beyond those the rules compute."""

    rules: tuple[str, ...] | None = Field(None, description="Retention rules to use; left out: all that are installed.")
    cover_pct: float = Field(30, ge=0, le=90, description="Ground cover wanted after planting.")
    keep_at_least_mg_ha: MassPerAreaMgHa = Field(
        0.0, alias="keep_at_least", description='Never leave less, e.g. "1.5 ton/ac".'
    )
    take_at_most_mg_ha: MassPerAreaMgHa | None = Field(None, alias="take_at_most", description="Never take more.")
    slope_most_pct: float = Field(8, gt=0, description="No harvest on steeper ground.")
    take_highly_erodible: bool = Field(
        False, description="Allow harvest on highly erodible land (needs its conservation plan)."
    )
    tolerance_share: float = Field(1.0, gt=0, le=1, description="Share of the tolerable soil loss to stay under.")


class Odds(Section):
    """The Monte Carlo run."""

    draws: int = Field(500, ge=0, le=20_000)
    seed: int = 1
    cautious_pct: float = Field(10, gt=0, le=50, description="Percentile of the limit that decisions use.")
