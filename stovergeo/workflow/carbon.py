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
_MEANS = ["carbon_mg_ha", "clay_pct", "sand_pct", "stover_mg_ha", "grain_mg_ha", "manure_c_mg_ha"]
_MEANS += ["drainage_class", "ponding_class"]


def soil_table(ready: Ready, grounds: list[Ground]) -> pd.DataFrame:
    """Return what the models of soil carbon say of each soil, see `residue.carbon_opinion`."""
    options = grounds[0].removable.options
    if "soil_carbon" not in grounds[0].removable.stack["binding_rule"].attrs["rules"]:
        return residue.soil_opinions(pd.DataFrame(columns=["soil_id", "area_ha", *_MEANS]), _climate(ready), options)
    cells = pd.concat([_soil_cells(ground, options) for ground in grounds], ignore_index=True)
    return residue.soil_opinions(_means(cells), _climate(ready), options)


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


def _soil_cells(ground: Ground, options: residue.RuleOptions) -> pd.DataFrame:
    """Return the cells of the fields whose stover and soil are known, a row each."""
    stack, soils = ground.removable.stack, ground.cluster.farm.soils
    inside = np.isfinite(stack["stover_mg_ha"].values) & np.isfinite(stack["soil_number"].values)
    row = stack["soil_number"].values[inside].astype(int)
    manure = soil_carbon.manure_of(stack, options)
    of_stack = {"carbon_mg_ha": "soil_carbon", "clay_pct": "clay_pct", "stover_mg_ha": "stover_mg_ha"}
    of_stack |= {"grain_mg_ha": "grain_mg_ha", "drainage_class": "drainage_class", "ponding_class": "ponding_class"}
    return pd.DataFrame(
        {
            "soil_id": soils["soil_id"].astype(str).to_numpy()[row],
            "area_ha": stack["cell_area_ha"].values[inside].astype(float),
            "sand_pct": soils["sand_pct"].to_numpy(float)[row],
            "manure_c_mg_ha": manure if isinstance(manure, float | int) else manure.values[inside].astype(float),
            **{name: stack[variable].values[inside].astype(float) for name, variable in of_stack.items()},
        }
    )


def _means(cells: pd.DataFrame) -> pd.DataFrame:
    """Return the area of each soil and area-weighted means over what is known."""
    soil = cells["soil_id"]
    area = cells["area_ha"].groupby(soil).sum()
    found = {"area_ha": area}
    for name in _MEANS:
        known = cells["area_ha"].where(cells[name].notna())
        found[name] = (cells[name] * known).groupby(soil).sum(min_count=1) / known.groupby(soil).sum(min_count=1)
    return pd.DataFrame(found).rename_axis("soil_id").reset_index()
