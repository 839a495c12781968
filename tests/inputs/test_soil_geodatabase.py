"""The soil survey as a file geodatabase, as a folder and packed: it says what the download of text files says."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judge_reading import read_and_judge
from long_run import harness
from made_files import folder_members, geodatabase, pack
from made_survey import made_up_tables, polygons, write_download
from pyogrio import write_dataframe


def write_geodatabase(
    path: Path, tables: dict[str, pd.DataFrame], *, numbers: bool = False, capitals: bool = False
) -> None:
    """Write the survey's polygons and tables as one geodatabase."""
    shapes = polygons().rename(columns=str.upper if capitals else str.lower).rename(columns={"GEOMETRY": "geometry"})
    geodatabase(shapes.set_geometry("geometry"), path, "MUPOLYGON")
    for name, table in tables.items():
        keys = [c for c in table if c in ("mukey", "cokey") and table[c].dropna().str.isdecimal().all()]
        typed = table.astype(dict.fromkeys(keys, int)) if numbers else table
        named = typed.rename(columns=str.upper) if capitals else typed
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            write_dataframe(named, path, layer=name, driver="OpenFileGDB")


def soils_of(farm, path: str, **keys) -> pd.DataFrame:
    farm.layers["soils"] = {"path": path} | keys
    farm.data.pop("soil", None)
    layers = farm.read()
    assert farm.report.refused == [], [str(p) for p in farm.report.refused]
    return layers.soils.sort_values("soil_id").reset_index(drop=True).drop(columns="geometry")


@pytest.mark.parametrize(("numbers", "capitals"), [(False, False), (True, False), (False, True)])
@pytest.mark.parametrize("packed", [False, True])
def test_a_geodatabase_says_the_same_as_the_download(farm, packed, numbers, capitals):
    write_download(farm.folder, made_up_tables())
    text = soils_of(farm, "ZZ999")
    write_geodatabase(farm.folder / "survey.gdb", made_up_tables(), numbers=numbers, capitals=capitals)
    path = "survey.gdb"
    if packed:
        path = pack(farm.folder / "survey.zip", folder_members(farm.folder / "survey.gdb", "soil_state/")).name
    pd.testing.assert_frame_equal(soils_of(farm, path), text)


def test_a_packed_download_says_the_same_as_the_folder(farm):
    write_download(farm.folder, made_up_tables())
    text = soils_of(farm, "ZZ999")
    pack(farm.folder / "area.zip", folder_members(farm.folder / "ZZ999") | {"ZZ999/thematic/readme.txt": "x"})
    pd.testing.assert_frame_equal(soils_of(farm, "area.zip"), text)


def test_tables_of_a_geodatabase_beside_plain_polygons(farm):
    write_geodatabase(farm.folder / "survey.gdb", made_up_tables())
    polygons().to_file(farm.folder / "keys.gpkg")
    whole = soils_of(farm, "survey.gdb")
    pd.testing.assert_frame_equal(soils_of(farm, "keys.gpkg", tables="survey.gdb"), whole)
    pack(farm.folder / "survey.zip", folder_members(farm.folder / "survey.gdb"))
    pd.testing.assert_frame_equal(soils_of(farm, "keys.gpkg", tables="survey.zip"), whole)


def test_map_units_of_many_areas_are_found_by_key(farm):
    """A state has thousands of map units; those on the farm are asked for in several questions."""
    tables = made_up_tables()
    for name in ("mapunit", "component"):
        table = tables[name]
        more = [table.assign(mukey=table["mukey"].map(lambda k, i=i: f"{9000 + i}{k}")) for i in range(300)]
        if name == "component":
            more = [m.assign(cokey=m["cokey"].map(lambda k, i=i: f"{i}x{k}")) for i, m in enumerate(more)]
        tables[name] = pd.concat([*more, table], ignore_index=True)
    write_geodatabase(farm.folder / "state.gdb", tables)
    write_download(farm.folder, made_up_tables())
    pd.testing.assert_frame_equal(soils_of(farm, "state.gdb"), soils_of(farm, "ZZ999"))


def refused(farm, path: str, **keys):
    farm.layers["soils"] = {"path": path} | keys
    farm.read()
    assert len(farm.report.refused) == 1
    problem = farm.report.refused[0]
    assert problem.cure
    return problem


def test_a_geodatabase_without_map_units(farm, fields):
    geodatabase(fields, farm.folder / "other.gdb", "outlines")
    assert refused(farm, "other.gdb").code == "soil.tables"


def test_a_geodatabase_of_polygons_alone(farm):
    write_geodatabase(farm.folder / "survey.gdb", {})
    problem = refused(farm, "survey.gdb")
    assert problem.code == "soil.tables"
    assert "component" in problem.what


def test_a_geodatabase_of_another_state(farm):
    write_geodatabase(farm.folder / "survey.gdb", made_up_tables())
    farm.layers["fields"] = {"path": "far.gpkg"}
    del farm.layers["yield_points"], farm.layers["elevation"]
    farm.data["yields"] = {"everywhere": "9 t/ha"}
    polygons().to_crs(32615).translate(300_000).to_frame("geometry").set_geometry("geometry").to_file(
        farm.folder / "far.gpkg"
    )
    assert refused(farm, "survey.gdb").code == "overlay.empty"


@pytest.fixture(scope="module")
def sound_survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("survey") / "survey.gdb"
    write_geodatabase(path, made_up_tables())
    return path


@harness(
    15,
    given(
        part=st.integers(0, 200),
        flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=8),
        cut=st.one_of(st.none(), st.floats(0, 1)),
    ),
)
def test_a_few_wrong_bytes_in_a_geodatabase(farm, sound_survey, part, flips, cut):
    path = farm.folder / "survey.gdb"
    shutil.copytree(sound_survey, path, dirs_exist_ok=True)
    parts = sorted(path.iterdir())
    spoilt = parts[part % len(parts)]
    data = bytearray(spoilt.read_bytes())
    for place, value in flips if data else []:
        data[int(place * (len(data) - 1))] = value
    spoilt.write_bytes(bytes(data[: int(cut * len(data))] if cut is not None else data))
    farm.layers["soils"] = {"path": "survey.gdb"}
    read_and_judge(farm)
