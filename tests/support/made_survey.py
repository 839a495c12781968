"""A soil survey's download, made up: the published layout of names, dictionary, bars and quotes."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

STEMS = {
    "mapunit": "mapunit",
    "muaggatt": "muaggatt",
    "component": "comp",
    "chorizon": "chorizon",
    "chtexturegrp": "chtexgrp",
    "comonth": "cmonth",
    "cosoilmoist": "csmoist",
    "chfrags": "chfrags",
}


def made_up_tables() -> dict[str, pd.DataFrame]:
    """Map unit 101: two soils 70/25 and 5 of a third. 102: organic over mineral. 103: water, no soil."""
    mapunit = pd.DataFrame(
        {
            "musym": ["A1", "B2", "W"],
            "muname": ["Alder loam,\n2 to 5 percent slopes", "Bog muck, caf\u00e9 series", "Water"],
            "mukind": ["Complex", "Consociation", "Consociation"],
            "muhelcl": ["Potentially highly erodible land", "Not highly erodible land", None],
            "mukey": ["101", "102", "103"],
        }
    )
    component = pd.DataFrame(
        {
            "comppct_r": [70, 25, 5, 100, 100],
            "compname": ["Alder", "Birch", "Cedar", "Bog", "Water"],
            "compkind": ["Series", "Series", "Series", "Series", "Miscellaneous area"],
            "majcompflag": ["Yes", "Yes", "No", "Yes", "Yes"],
            "slopelenusle_r": [60, None, 20, 40, None],
            "tfact": [5, 3, 4, 2, None],
            "wei": [48, 86, None, 134, None],
            "hydricrating": ["No", "Yes", "Yes", "Yes", "Unranked"],
            "drainagecl": [
                "Moderately well drained",
                "Poorly drained",
                "Very poorly drained",
                "Very poorly drained",
                None,
            ],
            "hydgrp": ["B", "C/D", "D", "A/D", None],
            "taxorder": ["Mollisols", "Mollisols", "Mollisols", "Mollisols", None],
            "mukey": ["101", "101", "101", "102", "103"],
            "cokey": ["11", "12", "13", "21", "31"],
        }
    )
    chorizon = pd.DataFrame(
        {
            "hzdept_r": [0, 20, 0, 0, 0, 25],
            "hzdepb_r": [20, 60, 40, 30, 25, 80],
            "claytotal_r": [20, 35, 30, None, None, 28],
            "kwfact": [".28", ".37", ".24", ".2", None, ".32"],
            "kffact": [".28", ".37", ".24", ".2", None, ".32"],
            "cokey": ["11", "11", "12", "13", "21", "21"],
            "chkey": ["111", "112", "121", "131", "211", "212"],
        }
    )
    chtexturegrp = pd.DataFrame({"texture": ["L", "SPM"], "rvindicator": ["Yes", "Yes"], "chkey": ["111", "211"]})
    comonth = pd.DataFrame(
        {
            "monthseq": [3, 4, 4, 5, 4],
            "flodfreqcl": ["None", "Rare", "None", None, "None"],
            "pondfreqcl": ["None", "None", "Frequent", "None", "Common"],
            "cokey": ["11", "11", "12", "12", "21"],
            "comonthkey": ["m1", "m2", "m3", "m4", "m5"],
        }
    )
    cosoilmoist = pd.DataFrame(
        {
            "soimoistdept_r": [0, 90, 15, 0],
            "soimoiststat": ["Moist", "Wet", "Wet", "Wet"],
            "comonthkey": ["m1", "m2", "m3", "m5"],
        }
    )
    muaggatt = pd.DataFrame(
        {"musym": ["A1", "B2", "W"], "wtdepannmin": [None, "0", None], "mukey": ["101", "102", "103"]}
    )
    return {
        "mapunit": mapunit,
        "component": component,
        "chorizon": chorizon,
        "chtexturegrp": chtexturegrp,
        "comonth": comonth,
        "cosoilmoist": cosoilmoist,
        "muaggatt": muaggatt,
    }


def quoted(value: object) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    return f"{value:g}"


def bars(table: pd.DataFrame) -> str:
    return "".join("|".join(map(quoted, row)) + "\r\n" for row in table.astype(object).to_numpy().tolist())


def write_download(folder: Path, tables: dict[str, pd.DataFrame], encoding: str = "utf-8", shuffle: int = 0) -> None:
    area = folder / "ZZ999"
    (area / "tabular").mkdir(parents=True)
    (area / "spatial").mkdir()
    rng = np.random.default_rng(shuffle)
    names, columns = [], []
    for name, table in tables.items():
        if shuffle:
            table = table[list(rng.permutation(table.columns))]
        (area / "tabular" / f"{STEMS[name]}.txt").write_bytes(bars(table).encode(encoding))
        names.append([name, name, name, "a table\nof the survey", STEMS[name]])
        columns += [[name, float(i + 1), c, c, None, "String"] for i, c in enumerate(table.columns)]
    order = pd.DataFrame(columns).sample(frac=1, random_state=1)  # the dictionary itself is in no order
    (area / "tabular" / "mstab.txt").write_bytes(bars(pd.DataFrame(names)).encode(encoding))
    (area / "tabular" / "mstabcol.txt").write_bytes(bars(order).encode(encoding))
    polygons().to_crs(4326).to_file(area / "spatial" / "soilmu_a_zz999.shp")


def polygons() -> gpd.GeoDataFrame:
    edges = [419_000, 420_200, 420_700, 422_000]
    boxes = [shapely.box(w, 4_863_000, e, 4_866_000) for w, e in pairwise(edges)]
    table = {"AREASYMBOL": "ZZ999", "SPATIALVER": 1.0, "MUSYM": ["A1", "B2", "W"], "MUKEY": ["101", "102", "103"]}
    return gpd.GeoDataFrame(table, geometry=boxes, crs=32615)
