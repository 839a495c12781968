"""A soil survey as downloaded: its own column order, quoted line ends, both encodings, and mixtures of soils.

The download is written by `made_survey`, with made-up map units.
"""

from __future__ import annotations

import sqlite3

import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from made_survey import bars, made_up_tables, polygons, write_download

from stovergeo.core.units import K_SI_PER_US, MG_HA_PER_TON_ACRE


def soils_of(farm, path: str = "ZZ999", **keys) -> pd.DataFrame:
    farm.layers["soils"] = {"path": path} | keys
    farm.data.pop("soil", None)
    layers = farm.read()
    assert farm.report.refused == []
    return layers.soils.set_index("soil_id")


def test_a_mixture_of_soils_is_weighed_and_its_wettest_part_kept(farm):
    write_download(farm.folder, made_up_tables())
    soil = soils_of(farm).loc["A1"]
    clay = (20 * 20 + 35 * 10) / 30  # the Alder's layers within 30 cm
    assert soil["clay_pct"] == pytest.approx((70 * clay + 25 * 30) / 95)  # the Cedar has no value and does not count
    assert soil["soil_erodibility"] == pytest.approx((70 * 0.28 + 25 * 0.24 + 5 * 0.2) / 100 * K_SI_PER_US)
    assert soil["soil_loss_tolerance"] == pytest.approx((70 * 5 + 25 * 3 + 5 * 4) / 100 * MG_HA_PER_TON_ACRE)
    assert soil["wind_erodibility"] == pytest.approx((70 * 48 + 25 * 86) / 95 * MG_HA_PER_TON_ACRE)
    assert soil["slope_length_m"] == pytest.approx((70 * 60 + 5 * 20) / 75)
    assert soil["drainage_class"] == 4  # moderately well, on 70 %
    assert soil["wettest_drainage_class"] == 6  # poorly, on 25 %; the very poorly drained 5 % is too little
    assert soil["hydric"] == 0
    assert soil["hydrologic_group"] == 2
    assert soil["flooding_class"] == 2  # the worst month of the dominant soil
    assert soil["ponding_class"] == 0
    assert soil["water_table_cm"] == 15  # the shallowest of the soils that cover 15 % or more
    assert soil["erodible_class"] == 1  # potentially: the cautious way
    assert soil["name"] == "Alder loam, 2 to 5 percent slopes"  # the line end inside the quotes is no new record
    assert "soil.mixture" in farm.codes()


def test_an_organic_surface_takes_its_erodibility_from_the_mineral_layer_below(farm):
    write_download(farm.folder, made_up_tables())
    soil = soils_of(farm).loc["B2"]
    assert soil["soil_erodibility"] == pytest.approx(0.32 * K_SI_PER_US)
    assert soil["hydrologic_group"] == 4  # dual groups count as undrained
    assert soil["ponding_class"] == 3  # "Common" is obsolete: the wetter reading
    assert soil["water_table_cm"] == 0
    assert soil["name"] == "Bog muck, caf\u00e9 series"


def test_a_histosol_has_the_erodibility_of_its_order(farm):
    tables = made_up_tables()
    tables["component"].loc[3, "taxorder"] = "Histosols"
    write_download(farm.folder, tables)
    assert soils_of(farm).loc["B2", "soil_erodibility"] == pytest.approx(0.02 * K_SI_PER_US)


def with_texture(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Texture for every layer; the survey's K is taken from the Alder's surface alone. The Alder's subsoil is slow."""
    tables["chorizon"] = tables["chorizon"].assign(
        sandvf_r=[12, 8, 10, 10, None, 9],
        silttotal_r=[45, 40, 38, 40, None, 50],
        om_r=[3.5, 1, 4, 5, 60, 2],
        ksat_r=[9, 0.3, 9, None, 20, 9],
    )
    tables["chorizon"].loc[0, ["kwfact", "kffact"]] = None
    return tables


#: the Alder by AH-537's equation as printed: M = 57 x (100 - 20), 3.5 % organic matter, structure 3, and 0.3 um/s
#: = 0.043 in/h, very slow (6); worked out here by hand
ALDER_US = (2.1e-4 * 4560**1.14 * (12 - 3.5) + 3.25 * (3 - 2) + 2.5 * (6 - 3)) / 100


def test_a_soil_without_surveyed_erodibility_takes_the_nomographs(farm):
    write_download(farm.folder, with_texture(made_up_tables()))
    soils = soils_of(farm)
    assert soils.loc["A1", "soil_erodibility"] == pytest.approx(
        (70 * ALDER_US + 25 * 0.24 + 5 * 0.2) / 100 * K_SI_PER_US
    )
    assert soils["k_from_nomograph"].to_list() == pytest.approx([0.7, 0, 0])
    said = farm.problem("soil.k_from_nomograph")
    assert said.severity == "warn"
    assert said.what.values["soils"] == "A1"
    assert said.what.values["area"] == pytest.approx(hectares_of(farm, soils.loc["A1"]), abs=0.06)


def hectares_of(farm, soil: pd.Series) -> float:
    fields = farm.read().fields
    return float(fields.geometry.intersection(soil.geometry).area.sum() / 1e4)


@pytest.mark.parametrize("lacking", ["sandvf_r", "silttotal_r", "om_r"])
def test_half_a_texture_gives_no_erodibility(farm, lacking):
    tables = with_texture(made_up_tables())
    tables["chorizon"][lacking] = None
    write_download(farm.folder, tables)
    soil = soils_of(farm).loc["A1"]
    assert soil["soil_erodibility"] == pytest.approx((25 * 0.24 + 5 * 0.2) / 30 * K_SI_PER_US)
    assert soil["k_from_nomograph"] == 0
    assert "soil.k_from_nomograph" not in farm.codes()


def test_a_surveyed_erodibility_is_never_replaced(farm):
    tables = with_texture(made_up_tables())
    tables["chorizon"]["kffact"] = ".28"  # the fine earth's K is surveyed too
    write_download(farm.folder, tables)
    soil = soils_of(farm).loc["A1"]
    assert soil["soil_erodibility"] == pytest.approx((70 * 0.28 + 25 * 0.24 + 5 * 0.2) / 100 * K_SI_PER_US)
    assert soil["k_from_nomograph"] == 0


def test_a_histosol_needs_no_nomograph(farm):
    tables = with_texture(made_up_tables())
    tables["component"].loc[0, "taxorder"] = "Histosols"
    write_download(farm.folder, tables)
    assert soils_of(farm).loc["A1", "k_from_nomograph"] == 0


def test_water_has_no_soil_and_no_zeros(farm):
    write_download(farm.folder, made_up_tables())
    soil = soils_of(farm).loc["W"]
    assert (
        soil[["clay_pct", "soil_erodibility", "soil_loss_tolerance", "drainage_class", "wind_erodibility"]].isna().all()
    )
    assert "soil.missing" in farm.codes()


@pytest.mark.parametrize("shuffle", [1, 2, 3])
def test_shuffled_columns_load_alike_through_the_dictionary(farm, shuffle):
    (farm.folder / "plain").mkdir()
    write_download(farm.folder / "plain", made_up_tables())
    write_download(farm.folder, made_up_tables(), shuffle=shuffle)
    shuffled = soils_of(farm).drop(columns="geometry")
    pd.testing.assert_frame_equal(shuffled, soils_of(farm, "plain/ZZ999").drop(columns="geometry"))


def test_both_encodings_are_read(farm):
    write_download(farm.folder, made_up_tables(), encoding="cp1252")
    assert soils_of(farm).loc["B2", "name"] == "Bog muck, caf\u00e9 series"


@pytest.mark.parametrize(("driver", "name"), [("GPKG", "survey.gpkg"), ("SQLite", "survey.sqlite")])
def test_a_database_says_the_same_as_the_download(farm, driver, name):
    path = farm.folder / name
    write_download(farm.folder, with_texture(made_up_tables()))
    text = soils_of(farm).drop(columns="geometry")
    polygons().rename(columns=str.lower).to_file(path, layer="mupolygon", driver=driver)
    base = sqlite3.connect(path)
    for name, table in with_texture(made_up_tables()).items():
        typed = table.astype({"mukey": int}) if name in ("mapunit", "component") else table
        typed.to_sql(name, base, index=False)
        if driver == "GPKG":
            base.execute(
                "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)",
                (name, name),
            )
    base.commit()
    base.close()
    read = soils_of(farm, path.name).drop(columns="geometry")
    pd.testing.assert_frame_equal(read, text)
    assert read.loc["A1", "k_from_nomograph"] == pytest.approx(0.7)


def test_plain_polygons_take_tables_named_beside_them(farm):
    write_download(farm.folder, made_up_tables())
    whole = soils_of(farm)
    polygons().to_file(farm.folder / "only_keys.gpkg")
    joined = soils_of(farm, "only_keys.gpkg", tables="ZZ999/tabular")
    pd.testing.assert_frame_equal(joined.drop(columns="geometry"), whole.drop(columns="geometry"))


def test_a_raster_of_keys_takes_tables_named_beside_it(farm):
    write_download(farm.folder, made_up_tables())
    whole = soils_of(farm)
    keys = np.zeros((300, 300), dtype="uint32")
    keys[:, :120], keys[:, 120:170], keys[:, 170:] = 101, 102, 103
    with rasterio.open(
        farm.folder / "keys.tif", "w", driver="GTiff", width=300, height=300, count=1, dtype="uint32", nodata=0,
        crs=32615, transform=Affine(10, 0, 419_000, 0, -10, 4_866_000),
    ) as out:  # fmt: skip
        out.write(keys, 1)
    joined = soils_of(farm, "keys.tif", tables="ZZ999")
    assert joined.loc["A1", "clay_pct"] == pytest.approx(whole.loc["A1", "clay_pct"])
    assert joined.loc["A1"].geometry.symmetric_difference(whole.loc["A1"].geometry).area < 10 * 3100


def test_without_a_dictionary_the_published_order_serves(farm):
    tables = with_texture(made_up_tables())
    wide = {"mapunit": 24, "component": 109, "chorizon": 171, "comonth": 17, "muaggatt": 40}
    places = {
        "mapunit": {"musym": 0, "muname": 1, "muhelcl": 12, "mukey": 23},
        "component": {
            "comppct_r": 1, "compname": 3, "majcompflag": 5, "slopelenusle_r": 12, "tfact": 15, "wei": 16,
            "hydricrating": 22, "drainagecl": 23, "hydgrp": 79, "mukey": 107, "cokey": 108,
        },
        "chorizon": {
            "hzdept_r": 6, "hzdepb_r": 9, "sandvf_r": 48, "silttotal_r": 51, "claytotal_r": 60, "om_r": 66,
            "ksat_r": 82, "kwfact": 111, "kffact": 112, "cokey": 169, "chkey": 170,
        },
        "comonth": {"flodfreqcl": 2, "pondfreqcl": 4, "cokey": 15, "comonthkey": 16},
        "muaggatt": {"wtdepannmin": 6, "mukey": 39},
    }  # fmt: skip
    spread = {}
    for name, columns in places.items():
        table = pd.DataFrame({i: [None] * len(tables[name]) for i in range(wide[name])}, dtype=object)
        for column, at in columns.items():
            table[at] = tables[name][column].astype(object)
        spread[name] = table
    write_download(farm.folder, spread)
    for name in ("mstab", "mstabcol"):
        (farm.folder / "ZZ999" / "tabular" / f"{name}.txt").unlink()
    soils = soils_of(farm)
    assert soils.loc["A1", "drainage_class"] == 4
    assert soils.loc["A1", "clay_pct"] == pytest.approx((70 * 25 + 25 * 30) / 95)
    assert soils.loc["B2", "water_table_cm"] == 0
    assert soils.loc["A1", "soil_erodibility"] == pytest.approx(
        (70 * ALDER_US + 25 * 0.24 + 5 * 0.2) / 100 * K_SI_PER_US
    )


def test_a_moved_column_is_not_taken_for_another(farm):
    tables = made_up_tables()
    write_download(farm.folder, tables)
    moved = tables["component"][list(tables["component"].columns[::-1])]
    (farm.folder / "ZZ999" / "tabular" / "comp.txt").write_text(bars(moved))
    farm.layers["soils"] = {"path": "ZZ999"}
    farm.read()
    assert farm.problem("soil.tables" if "soil.tables" in farm.codes() else "soil.layout").severity == "refuse"


def test_a_table_that_differs_from_its_dictionary_is_refused(farm):
    tables = made_up_tables()
    write_download(farm.folder, tables)
    more = tables["component"].assign(extra="x")
    (farm.folder / "ZZ999" / "tabular" / "comp.txt").write_text(bars(more))
    farm.layers["soils"] = {"path": "ZZ999"}
    farm.read()
    assert "14 columns; its dictionary names 13" in farm.problem("soil.layout").what


def test_polygons_of_another_edition_are_named(farm):
    tables = made_up_tables()
    tables["mapunit"] = tables["mapunit"][tables["mapunit"]["mukey"] != "102"]
    write_download(farm.folder, tables)
    farm.layers["soils"] = {"path": "ZZ999"}
    farm.read()
    assert "102" in farm.problem("soil.unjoined").what


@pytest.mark.parametrize(
    ("path", "tables", "code"),
    [
        ("fields.gpkg", "fields.gpkg", "soil.tables"),
        ("empty", None, "soil.folder"),
        ("fields.gpkg", "empty", "soil.folder"),
    ],
)
def test_tables_that_are_none(farm, path, tables, code):
    (farm.folder / "empty").mkdir()
    farm.layers["soils"] = {"path": path, "tables": tables}
    farm.read()
    assert farm.problem(code).severity == "refuse"


def test_a_database_that_reaches_beyond_itself_is_refused(farm):
    base = sqlite3.connect(farm.folder / "fields.gpkg")
    base.execute("PRAGMA writable_schema = ON")
    text = "CREATE VIRTUAL TABLE other USING VirtualOGR('canary.gpkg')"
    base.execute("INSERT INTO sqlite_master VALUES ('table', 'other', 'other', 0, ?)", (text,))
    base.commit()
    base.close()
    farm.read()
    assert "virtualogr" in farm.problem("file.signature").what


def test_carbon_and_sand_of_the_top_30_cm_from_the_layers(farm):
    """By hand: 4 % x 0.58 x 1.35 x 30 cm x 0.98 is 92.081 Mg/ha; two layers of 18 and 12 cm hold 65.930 (derived)."""
    tables = made_up_tables()
    alder, birch, cedar = [0, 1], [2], [3]
    layers = tables["chorizon"].assign(om_r=None, dbthirdbar_r=None, sandtotal_r=None).astype({"om_r": float})
    layers[["dbthirdbar_r", "sandtotal_r"]] = layers[["dbthirdbar_r", "sandtotal_r"]].astype(float)
    layers.loc[alder, ["hzdepb_r", "om_r", "dbthirdbar_r", "sandtotal_r"]] = [[18, 3.5, 1.3, 30], [60, 2.0, 1.4, 60]]
    layers.loc[1, "hzdept_r"] = 18
    layers.loc[birch, ["om_r", "dbthirdbar_r"]] = [4.0, 1.35]
    layers.loc[cedar, "om_r"] = 9.0  # no density: not known, and left out of the mean
    tables["chorizon"] = layers
    tables["chfrags"] = pd.DataFrame(
        {"fragvol_r": [0.5, 0.5, 3, 2, None], "chkey": ["111", "111", "112", "121", "131"]}
    )
    write_download(farm.folder, tables)
    soils = soils_of(farm)
    assert soils.loc["A1", "soil_carbon"] == pytest.approx((70 * 65.930 + 25 * 92.081) / 95, abs=1e-3)
    assert soils.loc["A1", "sand_pct"] == pytest.approx((30 * 18 + 60 * 12) / 30)
    assert np.isnan(soils.loc["B2", "soil_carbon"])


def test_a_survey_without_densities_tells_no_carbon(farm):
    write_download(farm.folder, with_texture(made_up_tables()))
    assert soils_of(farm)["soil_carbon"].isna().all()
