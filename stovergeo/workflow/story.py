"""What the tables of a season add up to: totals, and the few messages that need more than one package."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import total
from stovergeo.result import SeasonResult
from stovergeo.supply import Choice

message = Catalog("stovergeo.workflow")
_POORLY: Final = 6  # class number of "poorly drained"
#: variables that the messages read
_READ: Final = (
    *("cell_area_ha", "clay_pct", "drainage_class", "concentrated_flow"),
    *("grain_mean_mg_ha", "stover_mg_ha", "stover_typical_mg_ha", "yield_stability"),
)


def cells_of(stacks: Sequence[xr.Dataset]) -> pd.DataFrame:
    """Return the cells of all fields of all clusters, a row each: the variables that any stack holds, NaN elsewhere."""
    parts = []
    for stack in stacks:
        inside = np.isfinite(stack["field_number"].to_numpy())
        parts.append(pd.DataFrame({n: stack[n].to_numpy()[inside].astype(float) for n in _READ if n in stack}))
    return pd.concat(parts, ignore_index=True)


def soil_messages(cells: pd.DataFrame, coefficients: Handbook) -> list[Message]:
    """Return what the fields' soil means for bales on it: heavy clay, wet ground, or neither.

    Parameters
    ----------
    cells : DataFrame
        From `cells_of`.
    coefficients : Handbook
        ``storage.heavy_clay_pct``: clay from which ground is heavy, percent.
    """
    area, clay, drainage = cells["cell_area_ha"], cells["clay_pct"], cells["drainage_class"]
    heavy_from = coefficients.value("storage.heavy_clay_pct")
    share = {
        "heavy": float(area[clay >= heavy_from].sum() / area.sum()),
        "wet": float(area[drainage >= _POORLY].sum() / area.sum()),
        "unknown": float(area[clay.isna() | drainage.isna()].sum() / area.sum()),
    }
    found = []
    if share["heavy"] >= 0.01:
        found.append(message("soil.heavy", share=share["heavy"], clay=heavy_from))
        found += [message("soil.heavy_wet"), message("soil.heavy_soft")]
    for what, follows in (("wet", "wet_below"), ("unknown", "unknown_assumed")):
        if share[what] >= 0.01:
            found += [message(f"soil.{what}", share=share[what]), message(f"soil.{follows}")]
    return found or [message("soil.fine")]


def year_messages(cells: pd.DataFrame) -> list[Message]:
    """Return what earlier harvests change, where the plan names any."""
    if "grain_mean_mg_ha" not in cells:
        return []
    known = cells[cells["grain_mean_mg_ha"].notna()]
    if known.empty:
        return [message("years.unused")]
    area, surplus = known["cell_area_ha"], known["stover_mg_ha"] - known["stover_typical_mg_ha"]
    found = [
        message("years.above", area=float(area[surplus > 0].sum())),
        message("years.surplus", stover=float((surplus * area).sum())),
    ]
    unsteady = float(area[known["yield_stability"] == 3].sum())
    if unsteady / float(area.sum()) >= 0.01:
        found.append(message("years.unsteady", area=unsteady))
    return found


def terrain_messages(cells: pd.DataFrame) -> list[Message]:
    """Return how much of the fields gathers water."""
    if "concentrated_flow" not in cells:
        return []
    area = cells["cell_area_ha"]
    gathered = float(area[cells["concentrated_flow"] == 1].sum())
    if gathered / float(area.sum()) < 0.005:
        return []
    return [message("terrain.waterways", area=gathered), message("terrain.waterways_stay")]


def cleaning_of_all(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the records counted by reason over all clusters."""
    points = np.sum([table["points"].to_numpy() for table in tables], axis=0)
    return tables[0].assign(points=points, share=points / max(int(points.sum()), 1))


def surface_of_all(reports: list[dict[str, float | str]]) -> dict[str, float | str]:
    """Return the figures of the grain surface over all clusters: sums of what adds up, means of the rest."""
    if len(reports) == 1:
        return reports[0]
    found: dict[str, float | str] = {}
    for key, first in reports[0].items():
        numbers = np.array([value for r in reports if isinstance(value := r.get(key), int | float)])
        adds_up = key.endswith(("_area_ha", "_dry_mg", "_bushels")) or key in ("records", "points")
        found[key] = first if isinstance(first, str) else float(np.sum(numbers) if adds_up else np.nanmean(numbers))
    return found


def totals(
    stacks: Sequence[xr.Dataset],
    zones: pd.DataFrame,
    bale_plan: pd.DataFrame,
    nutrients: pd.DataFrame,
    need: pd.DataFrame,
) -> dict[str, float]:
    """Return whole-farm sums; names carry their unit.

    Returns
    -------
    dict
        ``fields_ha``, ``gathered_ha`` (less than the zones gathered where only a share of one is), ``kept_free_ha``
        (by the landowner's word), ``stover_mg``, ``removable_mg`` (the cautious limit), both summed over the zones;
        ``grain_mg``, ``stover_known_mg``, ``removable_known_mg`` (central estimate), summed over the cells whose yield
        is known; ``removal_mg``, ``bales``, ``net_m``, ``need_mg``, ``need_bales``, ``n_kg``, ``p2o5_kg``, ``k2o_kg``,
        ``s_kg``, ``nutrient_cost`` ($).
    """
    gathered = zones[zones["method"] != "leave"]

    def known(name: str) -> float:
        return sum(total(stack, name, stack["field_number"].notnull()) for stack in stacks)

    return {
        "fields_ha": float(zones["area_ha"].sum()),
        "gathered_ha": float((gathered["area_ha"] * gathered["gathered_fraction"]).sum()),
        "kept_free_ha": float(zones.loc[zones["kept_free"], "area_ha"].sum()),
        "grain_mg": known("grain_mg_ha"),
        "stover_known_mg": known("stover_mg_ha"),
        "removable_known_mg": known("removable_mg_ha"),
        "stover_mg": float((zones["stover_mg_ha"] * zones["area_ha"]).sum()),
        "removable_mg": float((zones["removable_mg_ha"] * zones["area_ha"]).sum()),
        "removal_mg": float(gathered["removal_mg"].sum()),
        "bales": float(bale_plan["bales"].sum()),
        "net_m": float(bale_plan["net_m"].sum()),
        "need_mg": float(need["dry_mg"].sum()),
        "need_bales": float(need["bales"].sum()),
        **{f"{n}_kg": float(nutrients[f"{n}_kg"].sum()) for n in ("n", "p2o5", "k2o", "s")},
        "nutrient_cost": float(nutrients["cost"].sum()),
    }


def cost_totals(choice: Choice) -> dict[str, float]:
    """Return the cost of the choice, $, in whole and by step, and the mass ($ a Mg, Mg) and yards it stands for."""
    return {
        "cost": choice.total_cost,
        "cost_per_mg": choice.cost_per_mg,
        "withdrawn_mg": choice.withdrawn_mg,
        "short_bales": float(choice.short_bales),
        "yards_used": float(len(choice.yard_use)),
        **{f"cost_{name}": float(cost) for name, cost in choice.cost.items()},
    }


def changed_messages(before: SeasonResult, after: SeasonResult) -> list[Message]:
    """Return what differs between two plans of one farm, in the order a landowner asks; nothing of costs."""
    said = []
    # a name means one place in both
    gone, new = _only_in(before, after), _only_in(after, before)
    if gone:
        said.append(message("changed.gone", yards=gone))
    if new:
        said.append(message("changed.new", yards=new))
    for key, least in (("kept_free_ha", 0.05), ("bales", 0.5), ("removal_mg", 0.5)):
        a, b = before.totals.get(key, 0.0), after.totals.get(key, 0.0)
        if abs(b - a) >= least:
            said.append(message(f"changed.{key}", before=a, now=b))
    short = after.totals.get("short_bales", 0.0)
    if short > before.totals.get("short_bales", 0.0):
        said.append(message("changed.short", bales=short))
    return said or [message("changed.nothing")]


def changed_cost_messages(before: SeasonResult, after: SeasonResult) -> list[Message]:
    """Return what the season cost before and costs now, where that differs."""
    a, b = before.totals.get("cost", 0.0), after.totals.get("cost", 0.0)
    return [message("changed.cost", before=a, now=b)] if abs(b - a) >= 0.5 else []


def yards_before(before: SeasonResult, after: SeasonResult, said: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the yards of the earlier plan that were in use or answered, with what became of their ground.

    Parameters
    ----------
    before, after : SeasonResult
        In one working CRS.
    said : DataFrame
        ``yard_id`` and ``answer`` (yes, no, maybe or nothing) of the landowner.

    Returns
    -------
    GeoDataFrame
        As `stovergeo.core.schemas.YARDS_BEFORE`.
    """
    planned = before.supply.hauls.groupby("yard_id")["bales"].sum()
    answers = dict(zip(said["yard_id"], said["answer"], strict=True))
    yards = before.yards[before.yards["yard_id"].isin([*planned.index, *answers])]
    now = set(after.supply.hauls["yard_id"])
    return gpd.GeoDataFrame(
        {
            "yard_id": yards["yard_id"].to_numpy(),
            "bales": [int(planned.get(y, 0)) for y in yards["yard_id"]],
            "answer": [answers.get(y, "") for y in yards["yard_id"]],
            "now": [y if y in now else "" for y in yards["yard_id"]],
        },
        geometry=yards.geometry.to_numpy(),
        crs=before.crs,
    )


def _only_in(one: SeasonResult, other: SeasonResult) -> tuple[str, ...]:
    """Return yards in use in one plan and not in the other."""
    used = one.yards["yard_id"][one.yards["yard_id"].isin(one.supply.hauls["yard_id"])]
    return tuple(used[~used.isin(other.supply.hauls["yard_id"])])


def carbon_unknown_ha(stacks: Sequence[xr.Dataset]) -> float:
    """Return how much of the ground that the soil-carbon rule judges has a carbon that is not known, ha."""
    unknown = 0.0
    for stack in stacks:
        if "soil_carbon" in stack["binding_rule"].attrs["rules"]:
            lacking = np.isfinite(stack["stover_mg_ha"].values) & np.isnan(stack["soil_carbon"].values)
            unknown += float(stack["cell_area_ha"].values[lacking].sum(dtype=np.float64))
    return unknown


def with_carbon(zones: gpd.GeoDataFrame, carbon: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the zones with what the soil-carbon rule rests on among the reasons of those where it asks for most."""
    said = dict(zip(carbon["zone_id"], carbon["message"], strict=True)) if len(carbon) else {}
    holds = zones["binding_rule"] == "soil_carbon"
    reasons = [
        (*reason, *said.get(zone, ())[:1]) if rule else reason
        for zone, reason, rule in zip(zones["zone_id"], zones["reason"], holds, strict=True)
    ]
    return zones.assign(reason=pd.Series(reasons, index=zones.index, dtype=object))


def with_carbon_messages(limits: pd.DataFrame, carbon: pd.DataFrame) -> pd.DataFrame:
    """Return what each rule asks of each zone, the soil-carbon rule with what it rests on and what harvest costs."""
    said = dict(zip(carbon["zone_id"], carbon["message"], strict=True)) if len(carbon) else {}
    messages = [
        (*own, *said.get(zone, ())) if rule == "soil_carbon" else own
        for zone, rule, own in zip(limits["zone_id"], limits["rule"], limits["message"], strict=True)
    ]
    return limits.assign(message=pd.Series(messages, index=limits.index, dtype=object))
