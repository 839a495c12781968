"""What two open models of soil carbon say of each soil of a farm, beside the table; they never move the limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.residue.carbon_stock.inputs import below_ground, residue_of_grain, retention_for_input
from stovergeo.residue.carbon_stock.needs import Site, carbon_needs
from stovergeo.residue.carbon_stock.opinion import Opinion, opinion, range_of
from stovergeo.residue.carbon_stock.tier2 import Tillage, tier2_parameters
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.retention import soil_carbon

COLUMNS = ["soil_id", "area_ha", "carbon_mg_ha", "clay_pct", "sand_pct", "table_mg_ha", "lowest_mg_ha"]
COLUMNS += ["highest_mg_ha", "opinion", "message"]
#: drainage class and ponding class from which ground counts as undrained and wet, of which RothC says nothing, and a
#: stock, Mg C/ha, that only organic soil holds in 30 cm (12 % carbon at 0.55 g/cm3) (judgment)
_WET: Final = (7, 3)
_ORGANIC_MG_HA: Final = 200.0
#: months in which corn and soybean shade the ground, north of the equator; one more in the spring of warmer places
_COVERED: Final = (6, 7, 8, 9)
_MAY_SOUTH_OF: Final = 39.0
_HARVESTED: Final = 10
#: passes that loosen the whole plow layer; with two of them, or a moldboard plow, tillage counts as full (judgment)
_PRIMARY: Final = frozenset({"chisel_straight", "chisel_twisted", "disk_deep", "ripper", "subsoiler"})
_PLANTERS: Final = frozenset({"planter", "planter_no_till", "anhydrous_knife"})
_WORDS: Final = {
    Opinion.MORE: "more",
    Opinion.LESS: "less",
    Opinion.UNCLEAR: "unclear",
    Opinion.OUTSIDE: "outside",
    Opinion.UNKNOWN: "unknown",
}


@dataclass(frozen=True, slots=True)
class SoilClimate:
    """The climate of a farm's soils, January first."""

    air_c: tuple[float, ...]
    rain_mm: tuple[float, ...]
    latitude: float
    day_range_c: tuple[float, ...] | None = None  #: mean highest less mean lowest of the day; None: the handbook's
    borrowed: bool = False  #: another region's


def soil_opinions(soils: pd.DataFrame, climate: SoilClimate, options: RuleOptions) -> pd.DataFrame:
    """Return what the models say of each soil: lowest and highest retention, and one word.

    Parameters
    ----------
    soils : DataFrame
        soil_id, area_ha, carbon_mg_ha, clay_pct, sand_pct, stover_mg_ha, grain_mg_ha, manure_c_mg_ha, drainage_class
        and ponding_class: means over the ground of a soil in the fields, NaN where not known.
    climate : SoilClimate
    options : RuleOptions

    Returns
    -------
    DataFrame
        See `COLUMNS`; the soil with most ground first. Retention is that of a corn year, manure and cover crop counted.
    """
    soils = soils.sort_values("area_ha", ascending=False, kind="stable").reset_index(drop=True)
    if soils.empty:
        return pd.DataFrame(columns=COLUMNS)
    stock, stover = soils["carbon_mg_ha"].to_numpy(float), soils["stover_mg_ha"].to_numpy(float)
    spread = options.coefficients["carbon.stock_factor"]
    needs = _needs(soils, stock * np.array([[spread.low], [1.0], [spread.high]]), climate, options)
    content, corn = options.number("retention.carbon.content"), float(options.crop.corn_fraction)
    own = _from_crops(soils, options)
    brought = np.array([soil_carbon.other_carbon(options, m) for m in soils["manure_c_mg_ha"]])
    ends = np.array([needs[model][end] for model in needs for end in (0, 2)])
    low, high = range_of(retention_for_input(ends, own, corn, content))
    shown = range_of(retention_for_input(ends, own + brought, corn, content))
    beyond = retention_for_input(needs["tier2"][1], own, corn, content) > stover
    wet = (soils["drainage_class"] >= _WET[0]) | (soils["ponding_class"] >= _WET[1])
    alone = replace(options, crop=options.crop.model_copy(update={"manure_c_mg_ha": 0.0, "cover_crop_c_mg_ha": 0.0}))
    cell = float(soil_carbon.required(alone))
    sd = options.coefficients["retention.carbon.factor"].sd_ln
    words = opinion(low, high, cell, sd, outside=wet.to_numpy() | (stock > _ORGANIC_MG_HA) | beyond)
    table = [float(soil_carbon.required(options, m)) for m in soils["manure_c_mg_ha"]]
    found = soils[["soil_id", "area_ha", "carbon_mg_ha", "clay_pct", "sand_pct"]].assign(
        table_mg_ha=table, lowest_mg_ha=shown[0], highest_mg_ha=shown[1], opinion=[str(word) for word in words]
    )
    said = [_message(row, word, s) for row, word, s in zip(found.to_dict("records"), words, stover, strict=True)]
    return found.assign(message=pd.Series(said, index=found.index, dtype=object))[COLUMNS]


def _needs(
    soils: pd.DataFrame, stock_mg_ha: np.ndarray, climate: SoilClimate, options: RuleOptions
) -> dict[str, np.ndarray]:
    """Return the carbon that each stock needs a year by model, shape (stocks, soils); NaN where a soil is not known."""
    shape = (len(soils), 12)
    day_range = climate.day_range_c or (options.coefficients.value("carbon.day_range"),) * 12
    months = {*_COVERED, 5} if abs(climate.latitude) < _MAY_SOUTH_OF else set(_COVERED)
    covered = np.isin(np.arange(1, 13), list(months))
    # the south's year is turned by half, so that stocks are those of the end of a year of growth everywhere
    shift = 6 if climate.latitude < 0 else 0
    air, ranges, rain = (np.broadcast_to(np.roll(v, shift), shape) for v in (climate.air_c, day_range, climate.rain_mm))
    known = np.isfinite(soils[["clay_pct", "sand_pct"]]).all(axis=1).to_numpy()
    site = Site(
        temperature_c=air,
        day_range_c=ranges,
        rain_mm=rain,
        latitude_deg=np.full(len(soils), abs(climate.latitude)),
        covered=np.broadcast_to(covered, shape),
        # what is not known is taken out of the answer below
        clay_pct=soils["clay_pct"].where(known, 20.0).to_numpy(float),
        sand_pct=soils["sand_pct"].where(known, 20.0).to_numpy(float),
    )
    found = carbon_needs(site, stock_mg_ha, tier2_parameters(options.coefficients, tillage_of(options)), _HARVESTED)
    return {name: np.where(known, need, np.nan) for name, need in found.items()}


def tillage_of(options: RuleOptions) -> Tillage:
    """Return the tillage of tier 2 that the plan's passes come to: "full", "reduced" or "no_till"."""
    passes = options.crop.tillage
    if set(passes) <= _PLANTERS:
        return "no_till"
    return "full" if options.plowed or sum(name in _PRIMARY for name in passes) > 1 else "reduced"


def _from_crops(soils: pd.DataFrame, options: RuleOptions) -> np.ndarray:
    """Return the carbon that comes in beside corn stover, Mg C/ha in the mean of all years: roots, and soybean."""
    number, content = options.number, options.number("retention.carbon.content")
    grain, stover = (soils[name].to_numpy(float) for name in ("grain_mg_ha", "stover_mg_ha"))
    corn = below_ground(number("carbon.grain_content") * grain, content * stover, number("carbon.below_ground.corn"))
    share = float(options.crop.corn_fraction)
    if share == 1:
        return corn
    soybean_c, soybean = number("carbon.soybean_content"), number("carbon.soybean_yield")
    residue = residue_of_grain(soybean, number("carbon.soybean_harvest_index"))
    roots = below_ground(soybean_c * soybean, soybean_c * residue, number("carbon.below_ground.soybean"))
    return share * corn + (1 - share) * (soybean_c * residue + roots)


def _message(soil: dict[str, object], word: Opinion, stover_mg_ha: float) -> Message:
    """Return what the models say of a soil, in one sentence."""
    if word == Opinion.UNKNOWN:
        return catalog("carbon_models.unknown", soil=str(soil["soil_id"]))
    low, high = float(str(soil["lowest_mg_ha"])), float(str(soil["highest_mg_ha"]))
    verdict = catalog(f"carbon_models.{_WORDS[word]}")
    if low > stover_mg_ha:
        return catalog("carbon_models.all", soil=str(soil["soil_id"]), verdict=verdict)
    key = "carbon_models.to_all" if high > stover_mg_ha else "carbon_models.range"
    values = {"low": low} if high > stover_mg_ha else {"low": low, "high": high}
    return catalog(key, soil=str(soil["soil_id"]), verdict=verdict, **values)
