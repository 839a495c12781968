"""Soils: polygons with the survey's attributes, or one soil from the plan, as one SOILS table.

What neither the layer nor the plan says stays unknown (NaN), with its hectares reported;
later packages never take unknown for allowed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike
from pyproj import CRS

from stovergeo.core.messages import Catalog, Message
from stovergeo.core.units import K_SI_PER_US, to_si
from stovergeo.inputs.crs import geodesic_ha
from stovergeo.inputs.erodibility import erodibility_of_layers_us
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import Soil
from stovergeo.inputs.soil_survey import (
    DRAINAGE,
    ERODIBLE,
    FLOODING,
    HYDRIC,
    HYDROLOGIC,
    PONDING,
    POTENTIALLY_ERODIBLE,
    coded,
)
from stovergeo.inputs.soil_units import MEASURES, declared_name, measured
from stovergeo.inputs.tables import to_numbers
from stovergeo.inputs.text import clean_column
from stovergeo.inputs.vector import parts_of

message = Catalog("stovergeo.inputs")
#: water table written for "none seen": the survey looks about 2 m deep
NO_WATER_TABLE_CM: Final = 200.0
#: drainage classes by which the wettest part of a polygon must differ from most of it to be worth a word (judgment)
MUCH_WETTER: Final = 2
#: SOILS column -> survey attributes that give it, the best first
ATTRIBUTES: Final = {
    "drainage_class": ("drainagecl", "drclassdcd"),
    "wettest_drainage_class": ("wettest_drainagecl", "drclasswettest"),
    "flooding_class": ("flodfreqcl", "flodfreqmax", "flodfreqdcd"),
    "ponding_class": ("pondfreqcl",),
    "water_table_cm": ("wtdepannmin",),
    "clay_pct": ("claytotal_r",),
    "sand_pct": ("sandtotal_r",),
    "soil_carbon": ("soc0_30",),
    "hydric": ("hydricrating",),
    "hydrologic_group": ("hydgrp", "hydgrpdcd"),
    "soil_erodibility": ("kwfact", "kffact"),
    "soil_loss_tolerance": ("tfact",),
    "wind_erodibility": ("wei",),
    "slope_length_m": ("slopelenusle_r",),
    "slope_low_pct": ("slope_l",),
    "slope_high_pct": ("slope_h",),
    "slope_length_low_m": ("slopelenusle_l",),
    "slope_length_high_m": ("slopelenusle_h",),
    "erodible_class": ("muhelcl",),
}
#: attributes from which the nomograph works out K where the survey gives none
TEXTURE: Final = ("silttotal_r", "sandvf_r", "claytotal_r", "om_r", "ksat_r")
#: column that says of how much of a polygon K is worked out so
WORKED_OUT: Final = "k_from_nomograph"
#: columns that say something of the whole map unit and not of a cell: they stay in the table
OF_MAP_UNIT: Final = (
    "slope_length_m",
    "slope_low_pct",
    "slope_high_pct",
    "slope_length_low_m",
    "slope_length_high_m",
    "sand_pct",
)
#: columns the packages can do without: absent is not worth a warning
OPTIONAL: Final = ("erodible_class", "wettest_drainage_class", "soil_carbon", *OF_MAP_UNIT)
_WORDS: Final[dict[str, Mapping[str, float]]] = {
    "drainage_class": DRAINAGE,
    "wettest_drainage_class": DRAINAGE,
    "flooding_class": FLOODING,
    "ponding_class": PONDING,
    "hydric": HYDRIC,
    "hydrologic_group": HYDROLOGIC,
    "erodible_class": ERODIBLE,
}
#: column -> (lowest, highest plausible, in the unit of the survey)
_NUMBERS: Final = {
    "water_table_cm": (0.0, 1000.0),
    "clay_pct": (0.0, 100.0),
    "sand_pct": (0.0, 100.0),
    "soil_carbon": (0.0, 60_000.0),
    "soil_erodibility": (0.0, 0.9),
    "soil_loss_tolerance": (0.0, 5.0),
    "wind_erodibility": (0.0, 310.0),
    "slope_length_m": (0.0, 500.0),
    "slope_low_pct": (0.0, 150.0),
    "slope_high_pct": (0.0, 150.0),
    "slope_length_low_m": (0.0, 500.0),
    "slope_length_high_m": (0.0, 500.0),
}
#: steps in which the survey gives a soil its erodibility, tolerance and wind erodibility; means of mixtures lie between
#: (K classes and indices by wind erodibility group of the National Soil Survey Handbook, part 618; from memory)
SURVEY_STEPS: Final = {
    "soil_erodibility": (0.02, 0.05, 0.1, 0.15, 0.17, 0.2, 0.24, 0.28, 0.32, 0.37, 0.43, 0.49, 0.55, 0.64),
    "soil_loss_tolerance": (1.0, 2.0, 3.0, 4.0, 5.0),
    "wind_erodibility": (0.0, 38.0, 48.0, 56.0, 86.0, 134.0, 160.0, 180.0, 220.0, 250.0, 310.0),
}
#: `soil_id` of ground whose soil the plan gives
PLAN_SOIL: Final = "plan"
_IDS: Final = ("musym", "mukey", "soil_id")
_NAMES: Final = ("muname", "name", "mapunit")


def make_soils(
    frame: gpd.GeoDataFrame | None, soil: Soil | None, region: shapely.Polygon, crs: CRS, at: Place
) -> gpd.GeoDataFrame:
    """Return the SOILS table over a region of the working CRS.

    Parameters
    ----------
    frame : GeoDataFrame or None
        Soil polygons of the region, in the working CRS, with survey attributes under their own names.
    soil : Soil or None
        The plan's ``[soil]``: fills what the layer lacks, attribute by attribute and ground by ground.
    region : shapely.Polygon
        Ground later packages will ask about.
    """
    if frame is None:
        return no_soils(crs) if soil is None else _plan_table(soil, region, crs)
    near = frame.set_geometry(shapely.intersection(frame.geometry.to_numpy(), region), crs=crs)
    rest = shapely.difference(region, shapely.union_all(near.geometry.to_numpy()))
    soils = _attributes(near, at)
    own = None if soil is None else _plan_table(soil, rest, crs)
    if own is not None:
        soils = soils.fillna(own.iloc[0][list(ATTRIBUTES)].dropna().to_dict())
    soils["wettest_drainage_class"] = soils[["drainage_class", "wettest_drainage_class"]].max(axis=1)
    return soils if own is None or rest.area == 0 else pd.concat([soils, own], ignore_index=True)


def _plan_table(soil: Soil, ground: shapely.Geometry, crs: CRS) -> gpd.GeoDataFrame:
    known = {"soil_id": PLAN_SOIL, "name": "Soil given in the plan", **plan_soil(soil)}
    return _table({column: [value] for column, value in known.items()}, [ground], crs)


def plan_soil(soil: Soil) -> dict[str, float]:
    """Return the plan's ``[soil]`` as SOILS columns."""
    return {
        "drainage_class": DRAINAGE[soil.drainage_class],
        "wettest_drainage_class": DRAINAGE[soil.drainage_class],
        "flooding_class": FLOODING[soil.flooding],
        "ponding_class": PONDING[soil.ponding],
        "water_table_cm": min(soil.water_table_m * 100, NO_WATER_TABLE_CM),
        "clay_pct": soil.clay_pct,
        "hydric": float(soil.hydric),
        "hydrologic_group": HYDROLOGIC[soil.hydrologic_group.lower()],
        "soil_erodibility": soil.erodibility,
        "soil_loss_tolerance": soil.tolerance,
        "wind_erodibility": soil.wind_erodibility,
    }


def report_unknown(soils: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, at: Place) -> None:
    """Report, in hectares of field ground, what the soils do not say, and field ground without any soil."""
    if fields.empty:
        return
    ground = shapely.union_all(fields.geometry.to_numpy())
    pieces = [parts_of(g, {"polygon"}) for g in shapely.intersection(soils.geometry.to_numpy(), ground)]
    hectares = geodesic_ha(gpd.GeoDataFrame(geometry=pieces, crs=soils.crs))
    whole = float(fields["area_ha"].sum())
    bare = whole - float(hectares.sum())
    if bare > 0.005 * whole:
        cure = "Bring a soil layer that covers the fields, or add [soil] to the plan file to fill the rest."
        at.add("soil.missing", message("soil.none", area=bare), cure)
    wetter = (soils["wettest_drainage_class"] - soils["drainage_class"] >= MUCH_WETTER).to_numpy()
    if (partly := float(hectares[wetter].sum())) > 0.005 * whole:
        at.add("soil.mixture", message("soil.mixture", area=partly))
    worked = (soils[WORKED_OUT] > 0).to_numpy()
    if (extent := float(hectares[worked].sum())) >= 0.05:
        units = sorted({str(i) for i in soils["soil_id"][worked & (hectares > 0)]})
        named = ", ".join(u[:20] for u in units[:8]) + (f" and {len(units) - 8} more" if len(units) > 8 else "")
        at.add("soil.k_from_nomograph", message("soil.k_from_texture", area=extent, soils=named))
    by_extent: dict[float, list[str]] = {}
    for column in ATTRIBUTES:
        if column not in OPTIONAL:
            lacking = float(hectares[soils[column].isna().to_numpy()].sum())
            if lacking > 0.005 * whole:
                by_extent.setdefault(round(lacking, 1), []).append(column)
    for lacking, columns in by_extent.items():
        names = ", ".join(f"{c.replace('_', ' ')} ({ATTRIBUTES[c][0]})" for c in columns)
        at.add("soil.missing", message("soil.lacking", area=lacking, names=names))


def no_soils(crs: CRS) -> gpd.GeoDataFrame:
    """Return a SOILS table without rows: nothing is known of the ground."""
    return _table({"soil_id": [], "name": []}, [], crs)


def survey_column(frame: pd.DataFrame, attribute: str) -> str | None:
    """Return the column that holds a survey attribute, in any case, or cut to the ten letters of a Shapefile."""
    folded = {str(c).lower(): str(c) for c in frame.columns}
    return folded.get(attribute) or folded.get(attribute[:10])


def _attributes(frame: gpd.GeoDataFrame, at: Place) -> gpd.GeoDataFrame:
    columns: dict[str, np.ndarray] = {}
    for target, names in ATTRIBUTES.items():
        declared = declared_name(target)
        values = frame[declared].to_numpy() if declared in frame else np.full(len(frame), np.nan)
        for name in () if declared in frame else names:
            found = survey_column(frame, name)
            if found is not None:
                read_as = _words if target in _WORDS else _numbers
                read = read_as(frame[found], target, "components" in frame, at.column(found))
                values = np.where(np.isnan(values), read, values)
        columns[target] = values
    ids, label = (next(filter(None, (survey_column(frame, n) for n in names)), None) for names in (_IDS, _NAMES))
    symbol = clean_column(frame[ids], at) if ids else pd.Series([f"S{i + 1}" for i in range(len(frame))])
    name = clean_column(frame[label], at) if label else symbol
    known = {"soil_id": symbol.to_numpy(), "name": name.to_numpy(), **columns}
    soils = _table(known, frame.geometry.to_numpy(), CRS(frame.crs))
    if WORKED_OUT in frame:  # worked out soil by soil, within the map unit
        soils[WORKED_OUT] = pd.to_numeric(frame[WORKED_OUT], errors="coerce").fillna(0.0).to_numpy()
    elif soils["soil_erodibility"].isna().any():
        K = _k_of_texture(frame, at)
        soils[WORKED_OUT] = (soils["soil_erodibility"].isna() & np.isfinite(K)).astype(float)
        soils["soil_erodibility"] = soils["soil_erodibility"].fillna(pd.Series(K * K_SI_PER_US, index=soils.index))
    return soils


def _k_of_texture(frame: pd.DataFrame, at: Place) -> np.ndarray:
    """Return K (US) by the nomograph for polygons that carry the texture of their soil; NaN where they do not."""
    found = [survey_column(frame, attribute) for attribute in TEXTURE]
    unknown = np.full(len(frame), np.nan)
    return erodibility_of_layers_us(*(to_numbers(frame[c], at.column(c)) if c else unknown for c in found))


def _words(column: pd.Series, target: str, mixed: bool, at: Place) -> np.ndarray:
    numbers, unknown = coded(column, _WORDS[target])
    if unknown:
        listed = ", ".join(repr(w[:40]) for w in unknown[:5])
        at.add("soil.code", f"Not among the survey's words for {target.replace('_', ' ')}: {listed}.")
    if target == "erodible_class":
        perhaps = column.astype("string").str.casefold().isin(POTENTIALLY_ERODIBLE).to_numpy(dtype=bool, na_value=False)
        if perhaps.any():
            said = f"{int(perhaps.sum()):,} soil polygons are only potentially highly erodible."
            at.add("soil.potentially_erodible", said)
    return numbers


def _numbers(column: pd.Series, target: str, mixed: bool, at: Place) -> np.ndarray:
    low, high = _NUMBERS[target]
    values = to_numbers(column, at)
    measure = MEASURES.get(target)
    wrong = (values < low) | (values > high)
    if wrong.any():
        count, odd = int(wrong.sum()), float(values[wrong][0])
        said: str | Message = f"{count:,} values lie outside {low:g} to {high:g}, such as {odd:g}."
        if measure is not None:
            most, found = (measured(v, measure.survey_unit, measure) for v in (high, odd))
            said = message(measure.template, count=count, most=most, found=found)
        at.add("soil.range", said)
        values = np.where(wrong, np.nan, values)
    known = values[np.isfinite(values)]
    if target in SURVEY_STEPS and not mixed and known.size and np.mean(np.isin(known, SURVEY_STEPS[target])) < 0.5:
        usual = ", ".join(f"{v:g}" for v in SURVEY_STEPS[target])
        at.add("soil.steps", f"Values such as {known[0]:g} are none of the survey's ({usual}).")
    if target == "water_table_cm":
        # a null depth in a column that is there means: no wet layer was seen (survey's query guide)
        values = np.where(np.isnan(values) & ~wrong, NO_WATER_TABLE_CM, np.minimum(values, NO_WATER_TABLE_CM))
    return values if measure is None else values * to_si(1.0, measure.survey_unit, measure.dimension)


def _table(known: dict[str, Any], shapes: ArrayLike, crs: CRS) -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(known, geometry=shapes, crs=crs)
    for column in ATTRIBUTES:
        table[column] = table[column].astype(np.float64) if column in table else np.nan
    table[WORKED_OUT] = 0.0
    return table[["soil_id", "name", *ATTRIBUTES, WORKED_OUT, "geometry"]]
