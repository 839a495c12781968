"""Whether a table of yield points can be one corn harvest at all: its clock, and what its records yield."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np

from stovergeo.core.errors import Report
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE
from stovergeo.inputs.plan.layers import PointsLayer

# Medians of a field, dry Mg/ha, that are worth a word (some 95 and 265 bu/ac: outside, pounds may have been taken
# for kilograms) and that are not believed (row 30 of the bad-inputs sheet: 2 to 20); judgement
USUAL_MG_HA: Final = (5.0, 14.0)
BELIEVABLE_MG_HA: Final = (1.0, 20.0)
#: a corn harvest is over within this, from the first field to the last (judgement)
ONE_HARVEST_DAYS: Final = 200


def check_one_harvest(points: gpd.GeoDataFrame, layer: PointsLayer, where: str, report: Report) -> None:
    """Refuse records whose clock, where it tells the date, spans more than one harvest."""
    if "time_s" not in points or layer.units.time == "s":
        return
    first, last = np.nanpercentile(points["time_s"], [1, 99]) if points["time_s"].notna().any() else (0.0, 0.0)
    days = float(last - first) / 86_400
    if days > ONE_HARVEST_DAYS:
        raise report.refuse("years.one_file", where, f"The records' clock spans {days:,.0f} days.")


def check_plausible(points: gpd.GeoDataFrame, where: str, report: Report) -> None:
    """Refuse a table without any harvest, or with a typical yield no corn field has; say what is unusual in it."""
    gaps = points["grain_kg"].isna()
    if "moisture_pct" in points:  # already reported where the moisture is missing
        gaps &= points["moisture_pct"].notna()
    if gaps.any():
        said = f"{int(gaps.sum()):,} of {len(points):,} records lack grain, way or width; their harvest is unknown."
        report.add("yield.gaps", where, said)
    yields = points.loc[points["grain_mg_ha"] > 0, "grain_mg_ha"].to_numpy()
    if len(yields) == 0:
        raise report.refuse("yield.none", where, f"None of {len(points):,} records holds grain on ground.")
    typical = float(np.median(yields))
    said = f"Half of the records yield below {typical / MG_HA_DRY_PER_BU_ACRE:,.4g} bu/ac ({typical:.3g} Mg/ha dry)"
    if not BELIEVABLE_MG_HA[0] <= typical <= BELIEVABLE_MG_HA[1]:
        raise report.refuse("yield.implausible", where, f"{said}, which no corn field does.")
    if not USUAL_MG_HA[0] <= typical <= USUAL_MG_HA[1]:
        report.add("yield.unusual", where, f"{said}, which is unusual for corn.")
