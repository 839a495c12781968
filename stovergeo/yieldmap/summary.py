"""What the raw records say, before anything is corrected."""

from __future__ import annotations

import pandas as pd

from stovergeo.core.schemas import check_table
from stovergeo.core.units import KG_DRY_PER_BUSHEL_CORN, KG_PER_MG, M2_PER_ACRE, M2_PER_HA


def raw_summary(points: pd.DataFrame) -> dict[str, float]:
    """Return area, dry grain, bushels and area-weighted bushels per acre of the records as they are.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS`.

    Returns
    -------
    dict
        ``area_ha``, ``dry_mg``, ``bushels`` (56 lb at 15.5 %), ``bu_ac``; the last is NaN without area.
    """
    check_table(points, "points", "the raw summary")
    area_m2 = float(points["area_m2"].sum())
    dry_kg = float(points["grain_kg"].sum())
    bushels = dry_kg / KG_DRY_PER_BUSHEL_CORN
    acres = area_m2 / M2_PER_ACRE
    return {
        "area_ha": area_m2 / M2_PER_HA,
        "dry_mg": dry_kg / KG_PER_MG,
        "bushels": bushels,
        "bu_ac": bushels / acres if acres > 0 else float("nan"),
    }
