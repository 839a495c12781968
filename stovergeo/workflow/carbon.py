"""The second opinion on soil carbon: from the ground and the climate of a season to the table of its soils."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stovergeo import residue
from stovergeo.bales.climate import climate_of
from stovergeo.core.messages import Catalog, Message
from stovergeo.residue.retention import soil_carbon
from stovergeo.workflow.checks import Ready, lonlat
from stovergeo.workflow.steps import Ground

message = Catalog("stovergeo.workflow")
#: means by soil, and the variable of the stack each is of; sand and manure are not on it
_OF_STACK = {"carbon_mg_ha": "soil_carbon", "clay_pct": "clay_pct", "stover_mg_ha": "stover_mg_ha"}
_OF_STACK |= {"grain_mg_ha": "grain_mg_ha", "drainage_class": "drainage_class", "ponding_class": "ponding_class"}
_MEANS = [*_OF_STACK, "sand_pct", "manure_c_mg_ha"]


def soil_table(ready: Ready, grounds: list[Ground]) -> pd.DataFrame:
    """Return what the models of soil carbon say of each soil, see `residue.carbon_opinion`."""
    options = grounds[0].removable.options
    if "soil_carbon" not in grounds[0].removable.stack["binding_rule"].attrs["rules"]:
        return residue.soil_opinions(pd.DataFrame(columns=["soil_id", "area_ha", *_MEANS]), _climate(ready), options)
    return residue.soil_opinions(_means([_soil_sums(ground, options) for ground in grounds]), _climate(ready), options)


def soil_messages(ready: Ready, soils: pd.DataFrame) -> list[Message]:
    """Return what the agronomist is told of the models: their range by soil, and whose climate they use."""
    if soils.empty or (soils["opinion"] == "not known").all():
        return []
    climate = _climate(ready)
    lines = [message("carbon.second"), *soils["message"]]
    if climate.borrowed:
        lines.append(message("carbon.borrowed"))
    if climate.day_range_c is None:
        lines.append(message("carbon.day_range"))
    return lines


def _climate(ready: Ready) -> residue.SoilClimate:
    climate = climate_of(ready.plan.storage, ready.coefficients)
    latitude = lonlat(ready.clusters[0].grid)[1]
    day_range, borrowed = ready.climate.day_range_c, bool(ready.plan.storage.borrowed)
    return residue.SoilClimate(climate.air_c, climate.rain_mm, latitude, day_range, borrowed)


def _soil_sums(ground: Ground, options: residue.RuleOptions) -> pd.DataFrame:
    """Return by soil the area in the fields where stover is known, and of each mean its sum and the area it is over."""
    stack, soils = ground.removable.stack, ground.cluster.farm.soils
    number = stack["soil_number"].values.ravel()
    inside = np.flatnonzero(np.isfinite(stack["stover_mg_ha"].values.ravel()) & np.isfinite(number))
    row, area = number[inside].astype(int), stack["cell_area_ha"].values.ravel()[inside].astype(float)

    def total(values: np.ndarray) -> np.ndarray:
        return np.bincount(row, values, minlength=len(soils))

    def of_cells(name: str) -> np.ndarray:
        if name == "sand_pct":
            return soils["sand_pct"].to_numpy(float)[row]
        if name == "manure_c_mg_ha":
            manure = soil_carbon.manure_of(stack, options)
            alike = np.ndim(manure) == 0
            return np.full(len(row), float(manure)) if alike else manure.values.ravel()[inside].astype(float)
        return stack[_OF_STACK[name]].values.ravel()[inside].astype(float)

    sums: dict[str, np.ndarray] = {"area_ha": total(area)}
    for name in _MEANS:
        values = of_cells(name)
        known = np.isfinite(values)
        sums[name], sums[f"{name} over"] = total(np.where(known, values, 0.0) * area), total(known * area)
    return pd.DataFrame(sums).groupby(soils["soil_id"].astype(str).to_numpy()).sum()


def _means(of_grounds: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the area of each soil on the fields and area-weighted means over what is known; NaN where nothing is."""
    sums = pd.concat(of_grounds).groupby(level=0).sum()
    sums = sums[sums["area_ha"] > 0]
    means = {name: sums[name] / sums[f"{name} over"].where(sums[f"{name} over"] > 0) for name in _MEANS}
    return pd.DataFrame({"area_ha": sums["area_ha"], **means}).rename_axis("soil_id").reset_index()
