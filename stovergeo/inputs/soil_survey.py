"""The US soil survey: its words, its tables as downloaded, and from the components of a map unit to what it is.

Class words and their order: NASIS domain metadata (USDA-NRCS), as distributed with the soilDB
data set; seen there. Words are compared without regard to case; an unknown word stays unknown.

Tables are text files in the order of their own dictionary, or a database. Layout: the survey's
download notes and dictionary files (``mstab.txt``, ``mstabcol.txt``), read
second-hand in public readers of these files. The order of columns moves between editions, so it is
taken from the dictionary that comes with the data; a fixed order serves only where that is missing,
and is then tested against the values.

A map unit is a mixture of soils in known shares. Numbers are means over the shares that have one;
classes are the condition on most of the ground (the wetter where two tie); and the wettest soil that
covers at least 15 % is kept beside it, because a stack may come to stand on just that part.
Conventions: the survey's aggregation rules as its query guides and public scripts state them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.inputs import geodatabase
from stovergeo.inputs.database import read_rows
from stovergeo.inputs.erodibility import erodibility_of_layers_us
from stovergeo.inputs.open_file import MAX_TEXT_BYTES
from stovergeo.inputs.place import Place
from stovergeo.inputs.soil_carbon import carbon_of_layers, in_surface
from stovergeo.inputs.text import clean_text

#: natural drainage, driest first
DRAINAGE: Final = {
    "excessively drained": 1,
    "somewhat excessively drained": 2,
    "well drained": 3,
    "moderately well drained": 4,
    "somewhat poorly drained": 5,
    "poorly drained": 6,
    "very poorly drained": 7,
    "subaqueous": 8,
    "subaqueous drained": 8,
}
#: flooding frequency; "common" is obsolete and spans occasional and frequent: the wetter is taken
FLOODING: Final = {
    "none": 0,
    "very rare": 1,
    "rare": 2,
    "occasional": 3,
    "common": 4,
    "frequent": 4,
    "very frequent": 5,
}
#: ponding frequency; "common" as above
PONDING: Final = {"none": 0, "rare": 1, "occasional": 2, "common": 3, "frequent": 3}
HYDRIC: Final = {"yes": 1.0, "no": 0.0, "unranked": 0.5}
#: hydrologic group; a dual group (drained/undrained) counts as undrained, the wetter
HYDROLOGIC: Final = {"a": 1, "b": 2, "c": 3, "d": 4, "a/d": 4, "b/d": 4, "c/d": 4}
POTENTIALLY_ERODIBLE: Final = ("potentially highly erodible land", "phel")
#: highly erodible land class of the map unit, as the survey lists it; only a visit settles what may be
ERODIBLE: Final = {
    **dict.fromkeys(("highly erodible land", "hel"), 2.0),
    **dict.fromkeys(POTENTIALLY_ERODIBLE, 1.0),
    **dict.fromkeys(("not highly erodible land", "nhel"), 0.0),
}


def coded(words: pd.Series, table: Mapping[str, float]) -> tuple[np.ndarray, list[str]]:
    """Return the number of each word, NaN for blanks and unknown words, and the unknown words."""
    # pandas: a column of numbers has no words; its values turn up among the unknown
    plain = words.astype("object").where(words.notna(), "").map(lambda w: " ".join(str(w).split()).casefold())
    numbers = plain.map(table).to_numpy(dtype=np.float64, na_value=np.nan)
    unknown = sorted({w for w in plain[np.isnan(numbers)] if w and w not in ("null", "none assigned", "nan")})
    return numbers, unknown


#: what is read of each table: table -> (key to the rows asked for, columns)
WANTED: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "mapunit": ("mukey", ("mukey", "musym", "muname", "muhelcl")),
    "muaggatt": ("mukey", ("mukey", "wtdepannmin")),
    "component": (
        "mukey",
        ("mukey", "cokey", "comppct_r", "compname", "compkind", "majcompflag", "slope_l", "slope_h", "slopelenusle_l",
         "slopelenusle_r", "slopelenusle_h", "tfact", "wei",
         "hydricrating", "drainagecl", "hydgrp", "taxorder"),
    ),
    "chorizon": (
        "cokey",
        ("cokey", "chkey", "hzdept_r", "hzdepb_r", "sandtotal_r", "sandvf_r", "silttotal_r", "claytotal_r", "om_r",
         "dbthirdbar_r", "ksat_r", "kwfact", "kffact"),
    ),
    "chfrags": ("chkey", ("chkey", "fragvol_r")),
    "chtexturegrp": ("chkey", ("chkey", "texture", "rvindicator")),
    "comonth": ("cokey", ("cokey", "comonthkey", "flodfreqcl", "pondfreqcl")),
    "cosoilmoist": ("comonthkey", ("comonthkey", "soimoistdept_r", "soimoiststat")),
}  # fmt: skip
NEEDED: Final = ("mapunit", "component")
#: file stems, where the dictionary does not say
_STEMS: Final = {"component": "comp", "chtexturegrp": "chtexgrp", "comonth": "cmonth", "cosoilmoist": "csmoist"}
#: positions from 0 where there is no dictionary; negative ones count from the end, where keys stand
_ORDER: Final[dict[str, dict[str, int]]] = {
    "mapunit": {"musym": 0, "muname": 1, "muhelcl": 12, "mukey": -1},
    "muaggatt": {"wtdepannmin": 6, "mukey": -1},
    "component": {
        "comppct_r": 1, "compname": 3, "majcompflag": 5, "slope_l": 8, "slope_h": 10, "slopelenusle_l": 11,
        "slopelenusle_r": 12, "slopelenusle_h": 13, "tfact": 15, "wei": 16,
        "hydricrating": 22, "drainagecl": 23, "hydgrp": 79, "mukey": -2, "cokey": -1,
    },
    "chorizon": {
        "hzdept_r": 6, "hzdepb_r": 9, "sandvf_r": 48, "silttotal_r": 51, "claytotal_r": 60, "om_r": 66, "ksat_r": 82,
        "kwfact": 111, "kffact": 112, "cokey": -2, "chkey": -1,
    },
    "comonth": {"flodfreqcl": 2, "pondfreqcl": 4, "cokey": -2, "comonthkey": -1},
}  # fmt: skip
#: text, NaN where blank, and no third truth value in comparisons
TEXT: Final = pd.StringDtype(na_value=np.nan)
Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, slots=True)
class SurveyTables:
    """Where the survey's tables stand."""

    path: Path  #: folder ``tabular``, a database file, or the folder of a file geodatabase
    kind: str  #: "text", "SQLite" or the name of the geodatabase's driver
    held: object = None  #: keeps what came out of an archive

    def read(self, mukeys: list[str], at: Place) -> Tables:
        """Return the wanted columns of the rows that belong to some map units; keys as text.

        Raises
        ------
        InputError
            ``soil.tables`` when a needed table is not there, ``soil.layout`` when its columns are
            not what they should be.
        """
        if self.kind == "text":
            read = _TextTables(self.path, at).read
        elif self.kind == geodatabase.DRIVER:
            read = partial(geodatabase.read_rows, self.path, at)
        else:
            read = partial(read_rows, self.path)
        tables: Tables = {}
        keys = {"mukey": mukeys}
        for table, (key, columns) in WANTED.items():
            frame = read(table, list(columns), key, keys.get(key, []))
            tables[table] = frame.reindex(columns=list(columns)).map(plain_key).astype(TEXT)
            for below in ("cokey", "chkey", "comonthkey"):
                if below in columns and below != key:
                    keys[below] = sorted(set(tables[table][below].dropna()))
        _check(tables, at)
        return tables


class _TextTables:
    """The folder ``tabular`` of a download."""

    def __init__(self, folder: Path, at: Place) -> None:
        self.folder, self.at = folder, at
        self.stems, self.columns = dict(_STEMS), {}
        names, order = self._rows("mstab"), self._rows("mstabcol")
        if names is not None and names.shape[1] >= 5:
            self.stems |= dict(zip(names[0].str.lower(), names[4].str.lower(), strict=True))
        if order is not None and order.shape[1] >= 3:
            for table, rows in order.groupby(order[0].str.lower()):
                sorted_rows = rows.assign(at=pd.to_numeric(rows[1], errors="coerce")).sort_values("at", kind="stable")
                self.columns[str(table)] = sorted_rows[2].str.lower().to_list()

    def read(self, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
        rows = self._rows(self.stems.get(table, table))
        if rows is not None and table in self.columns:
            names = self.columns[table]
            if len(names) != rows.shape[1]:
                said = f"The table {table} has {rows.shape[1]} columns; its dictionary names {len(names)}."
                raise self.at.refuse("soil.layout", said)
            rows.columns = pd.Index(names)
        elif rows is not None:
            width, order = rows.shape[1], _ORDER.get(table, {})
            places = {name: at % width for name, at in order.items() if at < width}
            rows = rows[list(places.values())].set_axis(list(places), axis=1)
        if rows is None or key not in rows:
            return pd.DataFrame(columns=columns)
        taken = rows[[c for c in columns if c in rows.columns]]
        return taken[rows[key].map(plain_key).isin(set(values))].reset_index(drop=True)

    def _rows(self, stem: str) -> pd.DataFrame | None:
        """Return a text file's rows without names: bars between, text in quotes, line ends inside them."""
        path = next((p for p in (self.folder / f"{stem}.txt", self.folder / f"{stem}.TXT") if p.is_file()), None)
        if path is None or path.stat().st_size == 0:
            return None
        if path.stat().st_size > MAX_TEXT_BYTES:
            raise self.at.refuse("file.too_big", f"{path.name} is larger than any survey area's table.")
        options = {"sep": "|", "header": None, "dtype": str, "quotechar": '"', "keep_default_na": False}
        for encoding in ("utf-8-sig", "cp1252", "latin-1"):
            try:
                return pd.read_csv(path, encoding=encoding, **options).replace("", None)
            except UnicodeDecodeError:
                continue
            except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
                raise self.at.refuse("file.unreadable", f"{path.name}: {clean_text(error)}.") from None
        return None


def plain_key(value: object) -> object:
    """Return a value as stripped text, whole numbers without a decimal part; None where blank."""
    if value is None or value != value:  # NaN is not itself
        return None
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).strip()
    return text or None


def _check(tables: Tables, at: Place) -> None:
    """Hold the values against what they must be, so that a moved column is never taken for another."""
    for table in NEEDED:
        if tables[table].empty:
            raise at.refuse("soil.tables", f"The table {table} holds nothing of the map units on the farm.")
    component = tables["component"]
    share = pd.to_numeric(component["comppct_r"], errors="coerce")
    sound = {
        "comppct_r": share.notna().any() and share.dropna().between(0, 100).all(),
        "drainagecl": _mostly(component["drainagecl"], DRAINAGE),
        "hydgrp": _mostly(component["hydgrp"], HYDROLOGIC),
    }
    column = next((column for column, fits in sound.items() if not fits), None)
    if column is not None:
        found = component[column].dropna().iloc[0] if component[column].notna().any() else "nothing"
        held = f"The column {column} of component holds {clean_text(found)[:40]!r}"
        raise at.refuse("soil.layout", f"{held}: the order of columns is not recognized.")


def _mostly(words: pd.Series, known: dict[str, int]) -> bool:
    said = words.dropna().str.casefold()
    return bool(said.empty or said.isin(known).mean() > 0.5)


#: least and steepest slope (%), least, representative and greatest slope length (m)
SLOPES: Final = ("slope_l", "slope_h", "slopelenusle_l", "slopelenusle_r", "slopelenusle_h")
#: share of a map unit from which a component counts as major, % (survey's rule for wtdepannmin)
MAJOR_PCT: Final = 15.0
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
        claytotal_r (%), kwfact, tfact (US units), wei (ton/ac/yr), `SLOPES`, wettest_drainagecl (word),
        k_from_nomograph (share of what gives kwfact, 0 to 1, that is worked out and not surveyed), components (text),
        sandtotal_r (%), soc0_30 (carbon to 30 cm, g/m2, from organic matter, density and rock).
    """
    units = tables["mapunit"].drop_duplicates("mukey").set_index("mukey")
    soils = _components(tables)
    share = soils["comppct_r"]
    key = soils["mukey"]
    out = units[["musym", "muname", "muhelcl"]].copy()
    numbers = ("claytotal_r", "sandtotal_r", "soc0_30", "kwfact", "tfact", "wei", *SLOPES, "k_from_nomograph")
    for column in numbers:
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
    measured = ["comppct_r", "tfact", "wei", *SLOPES]
    soils[measured] = soils[measured].apply(pd.to_numeric, errors="coerce")
    soils = soils[soils["comppct_r"] > 0].reset_index(drop=True)
    keys = ["cokey", "chkey"]
    horizons = tables["chorizon"].drop(columns=keys).apply(pd.to_numeric, errors="coerce")
    horizons[keys] = tables["chorizon"][keys]
    for column in ("claytotal_r", "sandtotal_r"):
        soils[column] = soils["cokey"].map(_of_surface(horizons, column))
    soils["soc0_30"] = soils["cokey"].map(carbon_of_layers(horizons, tables["chfrags"]))
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


def _of_surface(horizons: pd.DataFrame, column: str) -> pd.Series:
    """Return a value averaged by thickness over the surface layer, layers without it left out, by cokey."""
    thick = in_surface(horizons).where(horizons[column].notna(), 0)
    return _weighted(horizons[column], thick, horizons["cokey"])


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
