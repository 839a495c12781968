"""From the components of a soil map unit to what the map unit is, its mixture kept.

A map unit is a mixture of soils in known shares. Numbers are means over the shares that have one;
classes are the condition on most of the ground (the wetter where two tie); and the wettest soil that
covers at least 15 % is kept beside it, because a stack may come to stand on just that part.
Conventions: the survey's aggregation rules as its query guides and public scripts state them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.inputs.erodibility import erodibility_of_layers_us
from stovergeo.inputs.soil_codes import DRAINAGE, FLOODING, HYDRIC, HYDROLOGIC, PONDING
from stovergeo.inputs.survey_tables import TEXT, Tables

#: share of a map unit from which a component counts as major, % (survey's rule for wtdepannmin)
MAJOR_PCT: Final = 15.0
#: depth to which surface clay is averaged, cm
SURFACE_CM: Final = 30.0
#: textures of organic layers, which have no erodibility: the mineral layer below counts
ORGANIC: Final = ("HPM", "MPM", "SPM")
#: erodibility of organic soils (survey's K-factor script, read second-hand)
K_HISTOSOL: Final = 0.02


def map_units(tables: Tables) -> pd.DataFrame:
    """Return one row a map unit, by mukey, with the survey's attribute names.

    Parameters
    ----------
    tables : dict of DataFrame
        As `SurveyTables.read` returns them: text, None where blank.

    Returns
    -------
    DataFrame
        musym, muname, muhelcl, drainagecl, hydgrp, hydricrating, flodfreqcl, pondfreqcl (words), wtdepannmin (cm),
        claytotal_r (%), kwfact, tfact (US units), wei (ton/ac/yr), slopelenusle_r (m), wettest_drainagecl (word),
        k_from_nomograph (share of what gives kwfact, 0 to 1, that is worked out and not surveyed), components (text).
    """
    units = tables["mapunit"].drop_duplicates("mukey").set_index("mukey")
    soils = _components(tables)
    share = soils["comppct_r"]
    key = soils["mukey"]
    out = units[["musym", "muname", "muhelcl"]].copy()
    for column in ("claytotal_r", "kwfact", "tfact", "wei", "slopelenusle_r", "k_from_nomograph"):
        out[column] = _weighted(soils[column], share, key)
    for column, order in (
        ("drainagecl", DRAINAGE), ("hydgrp", HYDROLOGIC), ("hydricrating", HYDRIC),
        ("flodfreqcl", FLOODING), ("pondfreqcl", PONDING),
    ):  # fmt: skip
        out[column] = _dominant(soils[column], share, key, order)
    major = soils[share >= MAJOR_PCT]
    out["wettest_drainagecl"] = _wettest(major["drainagecl"], major["mukey"], DRAINAGE)
    depth = pd.to_numeric(
        tables["muaggatt"].drop_duplicates("mukey").set_index("mukey")["wtdepannmin"], errors="coerce"
    )
    shallowest = major.groupby("mukey")["wet_cm"].min()
    out["wtdepannmin"] = depth.reindex(out.index).fillna(shallowest.reindex(out.index))
    named = soils.assign(text=soils["compname"].fillna("unnamed") + " " + share.round().astype(int).astype(str) + " %")
    named = named.sort_values("comppct_r", ascending=False, kind="stable")
    out["components"] = named.groupby("mukey")["text"].agg(", ".join)
    return out


def _components(tables: Tables) -> pd.DataFrame:
    """Return the components with their share, surface clay, erodibility, flooding, ponding and water table."""
    soils = tables["component"].copy()
    for column in ("comppct_r", "tfact", "wei", "slopelenusle_r"):
        soils[column] = pd.to_numeric(soils[column], errors="coerce")
    soils = soils[soils["comppct_r"] > 0].reset_index(drop=True)
    horizons = tables["chorizon"].copy()
    for column in horizons.columns.drop(["cokey", "chkey"]):
        horizons[column] = pd.to_numeric(horizons[column], errors="coerce")
    soils["claytotal_r"] = soils["cokey"].map(_surface_clay(horizons))
    erodibility = _surface_k(horizons, tables["chtexturegrp"]).reindex(soils["cokey"])
    soils["kwfact"] = erodibility["K"].to_numpy()
    soils["k_from_nomograph"] = erodibility["from_nomograph"].to_numpy()
    soils.loc[soils["taxorder"].str.casefold() == "histosols", ["kwfact", "k_from_nomograph"]] = (K_HISTOSOL, 0.0)
    months = tables["comonth"]
    soils["flodfreqcl"] = soils["cokey"].map(_wettest(months["flodfreqcl"], months["cokey"], FLOODING)).astype(TEXT)
    soils["pondfreqcl"] = soils["cokey"].map(_wettest(months["pondfreqcl"], months["cokey"], PONDING)).astype(TEXT)
    moist = tables["cosoilmoist"]
    wet = moist[moist["soimoiststat"].str.casefold() == "wet"]
    depth = pd.to_numeric(wet["soimoistdept_r"], errors="coerce")
    owner = wet["comonthkey"].map(months.drop_duplicates("comonthkey").set_index("comonthkey")["cokey"])
    soils["wet_cm"] = soils["cokey"].map(depth.groupby(owner).min())
    return soils


def _surface_clay(horizons: pd.DataFrame) -> pd.Series:
    """Return clay averaged by thickness over the surface layer, layers without a value left out."""
    top, bottom = horizons["hzdept_r"].clip(0, SURFACE_CM), horizons["hzdepb_r"].clip(0, SURFACE_CM)
    thick = (bottom - top).where(horizons["claytotal_r"].notna(), 0).clip(lower=0).fillna(0)
    return _weighted(horizons["claytotal_r"], thick, horizons["cokey"])


def _surface_k(horizons: pd.DataFrame, textures: pd.DataFrame) -> pd.DataFrame:
    """Return K of the first mineral layer that begins at the surface or right below organic layers, by cokey.

    Where the survey gives none, the nomograph answers from the layer's texture and the profile's slowest layer;
    `from_nomograph` is then 1, and NaN where there is no K at all.
    """
    shown = textures[textures["rvindicator"].str.casefold() != "no"]
    texture = shown.drop_duplicates("chkey").set_index("chkey")["texture"]
    organic = horizons["chkey"].map(texture).astype(TEXT).str.upper().isin(ORGANIC)
    mineral = horizons[~organic].sort_values("hzdept_r", kind="stable")
    first = mineral.drop_duplicates("cokey").set_index("cokey")
    organic_bottom = horizons[organic].groupby("cokey")["hzdepb_r"].max().reindex(first.index).fillna(0)
    first = first[first["hzdept_r"] <= organic_bottom]
    surveyed = first["kwfact"].fillna(first["kffact"])
    slowest = horizons.groupby("cokey")["ksat_r"].min().reindex(first.index)
    worked = erodibility_of_layers_us(
        first["silttotal_r"], first["sandvf_r"], first["claytotal_r"], first["om_r"], slowest
    )
    K = surveyed.fillna(pd.Series(worked, index=first.index))
    return pd.DataFrame({"K": K, "from_nomograph": surveyed.isna().astype(float).where(K.notna())})


def _weighted(values: pd.Series, weight: pd.Series, key: pd.Series) -> pd.Series:
    """Return means by key, weighted over the rows that have a value; NaN where none has."""
    known = values.notna() & (weight > 0)
    total = (values[known] * weight[known]).groupby(key[known]).sum()
    return total / weight[known].groupby(key[known]).sum()


def _dominant(words: pd.Series, weight: pd.Series, key: pd.Series, order: Mapping[str, float]) -> pd.Series:
    """Return the word with the largest share by key; of two with the same share the one later in `order`."""
    known = words.notna()
    table = pd.DataFrame({"key": key[known], "word": words[known], "share": weight[known]})
    summed = table.groupby(["key", "word"], as_index=False)["share"].sum()
    summed["rank"] = summed["word"].str.casefold().map(order).fillna(-np.inf)
    best = summed.sort_values(["share", "rank"], kind="stable").drop_duplicates("key", keep="last")
    return best.set_index("key")["word"]


def _wettest(words: pd.Series, key: pd.Series, order: Mapping[str, float]) -> pd.Series:
    """Return the word latest in `order` by key."""
    rank = words.str.casefold().map(order)
    known = pd.DataFrame({"key": key, "word": words, "rank": rank})[rank.notna()]
    return known.sort_values("rank", kind="stable").drop_duplicates("key", keep="last").set_index("key")["word"]
