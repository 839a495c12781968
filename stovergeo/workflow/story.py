"""What the tables of a season add up to: totals, and the few sentences no single package can say.

Quantities in sentences are metric; the printers turn them into the reader's units.
"""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.stack import total
from stovergeo.result import SeasonResult

_POORLY: Final = 6  # class number of "poorly drained"


def soil_words(stack: xr.Dataset, book: Handbook) -> list[str]:
    """Say what the fields' soil means for bales on it: heavy clay, wet ground, or neither.

    Parameters
    ----------
    stack : Dataset
        With the soil variables and ``field_number``.
    book : Handbook
        ``storage.heavy_clay_pct``: clay from which ground is heavy, percent.
    """
    inside = np.isfinite(stack["field_number"].to_numpy())
    area = np.where(inside, stack["cell_area_ha"].to_numpy(), 0.0)
    clay, drainage = stack["clay_pct"].to_numpy(), stack["drainage_class"].to_numpy()
    heavy_from = book.value("storage.heavy_clay_pct")
    share = {
        "heavy": float(area[clay >= heavy_from].sum() / area.sum()),
        "wet": float(area[drainage >= _POORLY].sum() / area.sum()),
        "unknown": float(area[np.isnan(clay) | np.isnan(drainage)].sum() / area.sum()),
    }
    words = []
    if share["heavy"] >= 0.01:
        words.append(
            f"Heavy clay: {share['heavy']:.0%} of the fields has {heavy_from:.0f} % clay or more in its surface. "
            "Heavy clay stays wet under bales and does not carry trucks in a wet spell."
        )
    if share["wet"] >= 0.01:
        words.append(
            f"Wet ground: {share['wet']:.0%} of the fields is naturally poorly or very poorly drained. "
            "Bales that stand on it draw water from below."
        )
    if share["unknown"] >= 0.01:
        words.append(f"The soil of {share['unknown']:.0%} of the fields is not known; it was taken the cautious way.")
    return words or ["No heavy clay and no poorly drained ground lies in these fields."]


def year_words(stack: xr.Dataset) -> list[str]:
    """Say what earlier harvests change, where the plan names any."""
    if "grain_mean_mg_ha" not in stack:
        return []
    inside = stack["field_number"].notnull()
    known = inside & stack["grain_mean_mg_ha"].notnull()
    if not bool(known.any()):
        return ["Earlier harvests were given, but they tell too little of these fields to be used."]
    area = stack["cell_area_ha"]
    surplus = (stack["stover_mg_ha"] - stack["stover_usual_mg_ha"]).where(known)
    above = float(area.where(surplus > 0).sum(dtype=np.float64))
    words = [
        f"Earlier harvests: on {above:.1f} ha more grew this year than in most years. What grew above that "
        f"({float((surplus * area).sum(dtype=np.float64)):,.0f} Mg) is not counted on, and stays on the ground."
    ]
    unsteady = float(area.where(known & (stack["yield_stability"] == 3)).sum(dtype=np.float64))
    if unsteady / float(area.where(known).sum(dtype=np.float64)) >= 0.01:
        words.append(f"Unsteady ground: {unsteady:.1f} ha give much in one year and little in another.")
    return words


def terrain_words(stack: xr.Dataset) -> list[str]:
    """Say how much of the fields is steep or gathers water."""
    inside = stack["field_number"].notnull()
    area = float(stack["cell_area_ha"].where(inside).sum(dtype=np.float64))
    words = []
    if "concentrated_flow" in stack:
        gathered = float(stack["cell_area_ha"].where(inside & (stack["concentrated_flow"] == 1)).sum(dtype=np.float64))
        if gathered / area >= 0.005:
            words.append(f"Where water runs gathered ({gathered:.1f} ha), all stover stays: it holds the channel.")
    return words


def totals(
    stack: xr.Dataset, zones: pd.DataFrame, bale_plan: pd.DataFrame, nutrients: pd.DataFrame, need: pd.DataFrame
) -> dict[str, float]:
    """Return whole-farm sums; names carry their unit.

    Returns
    -------
    dict
        ``fields_ha``, ``gathered_ha`` (less than the zones gathered where only a share of one is), ``kept_free_ha``
        (by the landowner's word), ``stover_mg``, ``removable_mg`` (the cautious limit), both summed over the zones;
        ``grain_mg``, ``stover_known_mg``, ``removable_known_mg`` (central estimate), summed over the cells whose yield
        is known; ``take_mg``, ``bales``, ``net_m``, ``need_mg``, ``need_bales``, ``n_kg``, ``p2o5_kg``, ``k2o_kg``,
        ``s_kg``, ``nutrient_cost`` ($).
    """
    inside = stack["field_number"].notnull()
    gathered = zones[zones["method"] != "leave"]
    return {
        "fields_ha": float(zones["area_ha"].sum()),
        "gathered_ha": float((gathered["area_ha"] * gathered["gathered_share"]).sum()),
        "kept_free_ha": float(zones.loc[zones["kept_free"], "area_ha"].sum()),
        "grain_mg": total(stack, "grain_mg_ha", inside),
        "stover_known_mg": total(stack, "stover_mg_ha", inside),
        "removable_known_mg": total(stack, "removable_mg_ha", inside),
        "stover_mg": float((zones["stover_mg_ha"] * zones["area_ha"]).sum()),
        "removable_mg": float((zones["removable_mg_ha"] * zones["area_ha"]).sum()),
        "take_mg": float(gathered["take_mg"].sum()),
        "bales": float(bale_plan["bales"].sum()),
        "net_m": float(bale_plan["net_m"].sum()),
        "need_mg": float(need["dry_mg"].sum()),
        "need_bales": float(need["bales"].sum()),
        **{f"{n}_kg": float(nutrients[f"{n}_kg"].sum()) for n in ("n", "p2o5", "k2o", "s")},
        "nutrient_cost": float(nutrients["cost"].sum()),
    }


def changed_words(before: SeasonResult, after: SeasonResult) -> list[str]:
    """Say what differs between two plans of the same farm, in the order a landowner asks; nothing of costs."""
    words = []
    # a name means one place in both
    gone, new = _only_in(before, after), _only_in(after, before)
    if gone:
        words.append(f"No longer a stack yard: {', '.join(gone)}.")
    if new:
        words.append(f"New stack yard: {', '.join(new)}.")
    sums = (
        ("kept_free_ha", "Ground kept free", " ha", 1),
        ("bales", "Bales made", "", 0),
        ("take_mg", "Dry stover taken", " Mg", 0),
    )
    for key, name, unit, places in sums:
        a, b = before.totals.get(key, 0.0), after.totals.get(key, 0.0)
        if abs(b - a) >= 0.5 / 10**places:
            words.append(f"{name}: {a:,.{places}f}{unit} before, {b:,.{places}f}{unit} now.")
    short = after.totals.get("short_bales", 0.0)
    if short > before.totals.get("short_bales", 0.0):
        words.append(f"The need is now short by {short:,.0f} bales.")
    return words or ["Nothing in the plan changes."]


def changed_cost_words(before: SeasonResult, after: SeasonResult) -> list[str]:
    """Say what the season cost before and costs now, where that differs."""
    a, b = before.totals.get("cost", 0.0), after.totals.get("cost", 0.0)
    return [f"Cost of the season: ${a:,.0f} before, ${b:,.0f} now."] if abs(b - a) >= 0.5 else []


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
    planned = before.hauls.groupby("yard_id")["bales"].sum()
    answers = dict(zip(said["yard_id"], said["answer"], strict=True))
    yards = before.yards[before.yards["yard_id"].isin([*planned.index, *answers])]
    now = set(after.hauls["yard_id"])
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


def _only_in(one: SeasonResult, other: SeasonResult) -> list[str]:
    """Return yards in use in one plan and not in the other."""
    used = one.yards["yard_id"][one.yards["yard_id"].isin(one.hauls["yard_id"])]
    return list(used[~used.isin(other.hauls["yard_id"])])
