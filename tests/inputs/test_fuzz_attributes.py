"""Whatever stands in a survey's tables or a layer's attributes, reading ends in layers or in named problems.

A few examples here; `--fuzz-minutes 30` runs each harness for half an hour.
"""

from __future__ import annotations

import json
import shutil
import warnings
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judge_reading import ODD, read_and_judge
from long_run import harness
from made_survey import STEMS, bars, made_up_tables, polygons, write_download

CRS = 32615


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("survey")
    write_download(folder, made_up_tables())
    return folder / "ZZ999"


@harness(
    15,
    given(
        table=st.sampled_from(
            ["mapunit", "component", "chorizon", "chtexturegrp", "comonth", "cosoilmoist", "muaggatt"]
        ),
        values=st.lists(ODD, min_size=1, max_size=6),
        places=st.lists(st.tuples(st.integers(0, 5), st.integers(0, 12)), min_size=1, max_size=6),
    ),
)
def test_any_values_in_the_tables_of_a_survey(farm, survey, table, values, places):
    shutil.copytree(survey, farm.folder / "ZZ999", dirs_exist_ok=True)
    spoiled = made_up_tables()[table].astype(object)
    for (row, column), value in zip(places, values * len(places), strict=False):
        spoiled.iloc[row % len(spoiled), column % spoiled.shape[1]] = value
    text = bars(spoiled).encode("utf-8", "replace")
    (farm.folder / "ZZ999" / "tabular" / f"{STEMS[table]}.txt").write_bytes(text)
    farm.layers["soils"] = {"path": "ZZ999"}
    farm.data.pop("soil", None)
    read_and_judge(farm)


COLUMNS = {
    "fields": ["name", "standing"],
    "trees": ["name", "height"],
    "wells": ["name"],
    "soils": [
        *["MUSYM", "muname", "drainagecl", "kwfact", "tfact", "claytotal_r", "flodfreqcl", "pondfreqcl", "wtdepannmin"],
        *["hydricrating", "hydgrp", "wei", "slopelenusle_r", "muhelcl", "silttotal_r", "sandvf_r", "om_r", "ksat_r"],
    ],
}


def sound_attributes(fields: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
    """Layers with all the attributes that are read of them, on the ground of the sound farm."""
    fields = fields.assign(standing=["no", "yes"])
    soils = polygons()[["MUSYM", "geometry"]].assign(
        muname=["Loam", "Muck", "Water"], drainagecl=["Well drained", "Poorly drained", None],
        kwfact=[".32", ".28", None],
        tfact=[5, 3, None], claytotal_r=[22.0, 30.0, None], flodfreqcl="None", pondfreqcl=["None", "Frequent", None],
        wtdepannmin=[None, 15.0, None], hydricrating=["No", "Yes", "Unranked"], hydgrp=["B", "C/D", None],
        wei=[48, 86, None], slopelenusle_r=[60, 20, None], muhelcl="Not highly erodible land",
        silttotal_r=[55, 40, None], sandvf_r=[10, 5, None], om_r=[2.8, 3, None], ksat_r=[2.0, 9.0, None],
    )  # fmt: skip
    places = fields.centroid
    trees = gpd.GeoDataFrame({"name": ["oak", "row"], "height": [40.0, 55.0]}, geometry=places.buffer(9), crs=CRS)
    wells = gpd.GeoDataFrame({"name": ["house", "barn"]}, geometry=places, crs=CRS)
    return {"fields": fields, "soils": soils, "trees": trees, "wells": wells}


@st.composite
def odd_attributes(draw: st.DrawFn) -> tuple[str, dict[str, list]]:
    layer = draw(st.sampled_from(sorted(COLUMNS)))
    columns = draw(st.lists(st.sampled_from(COLUMNS[layer]), min_size=1, max_size=4, unique=True))
    return layer, {c: draw(st.lists(ODD, min_size=1, max_size=3)) for c in columns}


@harness(20, given(spoiled=odd_attributes(), ending=st.sampled_from(["geojson", "gpkg", "fgb", "shp"])))
def test_any_values_in_the_attributes_of_a_layer(farm, fields, spoiled, ending):
    named, columns = spoiled
    layers = sound_attributes(fields)
    frame = layers[named].to_crs(4326 if ending == "geojson" else CRS)
    for column, values in columns.items():
        frame[column] = pd.Series([values[i % len(values)] for i in range(len(frame))], dtype=object)
    for layer, sound in layers.items():
        if layer != named:
            sound.to_file(farm.folder / f"{layer}.gpkg")
        farm.layers[layer] = {"path": f"{layer}.gpkg"}
    farm.layers["fields"] |= {"name_column": "name", "standing_column": "standing"}
    farm.layers["trees"] |= {"name_column": "name", "height_column": "height", "height_unit": "ft"}
    farm.data.pop("soil", None)
    farm.layers[named]["path"] = f"spoiled.{ending}"
    path = farm.folder / f"spoiled.{ending}"
    if ending == "geojson":  # the one format in which a column may hold anything
        rows = frame.drop(columns="geometry").to_dict("records")
        features = [
            {"type": "Feature", "properties": row, "geometry": shape.__geo_interface__}
            for row, shape in zip(rows, frame.geometry, strict=True)
        ]
        path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    else:
        for column in columns:
            texts = [None if v is None else str(v).encode("utf-8", "replace").decode() for v in frame[column]]
            frame[column] = pd.Series(texts, index=frame.index, dtype=object)
        for old in farm.folder.glob("spoiled.*"):
            old.unlink()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a Shapefile cuts long names
            frame.to_file(path)
    read_and_judge(farm)
