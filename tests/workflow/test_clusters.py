"""Fields far apart: each cluster on its own grid, one plan over all, and no bale carried between them."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from as_user import ask, write_plan
from pyproj import CRS
from rasterio.transform import from_origin
from shapely.geometry import box

from stovergeo.core.errors import ContractError, InputError, Report
from stovergeo.report import write_outputs
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

UTM15 = "EPSG:32615"
#: west and south edge in UTM zone 15: two fields side by side, one 9 km east of them, one over the zone's east edge
HOME, BESIDE, AWAY, ZONE16 = (500_000, 4_650_000), (500_450, 4_650_000), (509_000, 4_652_000), (790_000, 4_650_000)
SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.28 US", "tolerance": "5 ton/ac/yr"}


def write_farm(folder: Path, **at: tuple[int, int]) -> dict:
    """Write fields of 400 m by 400 m with relief under them, each with a plane of its own; return the plan."""
    shapes = [box(x, y, x + 400, y + 400) for x, y in at.values()]
    fields = gpd.GeoDataFrame({"name": list(at)}, geometry=shapes, crs=UTM15)
    fields.to_crs(4326).to_file(folder / "fields.geojson")
    west, south, east, north = fields.total_bounds
    cell = 10 if east - west < 20_000 else 40
    wide, high = (int((b - a + 1000) / cell) for a, b in ((west, east), (south, north)))
    # heights hang on the place, whichever fields are planned together
    x, y = np.meshgrid((np.arange(wide) + 0.5) * cell + west - 500, north + 500 - (np.arange(high) + 0.5) * cell)
    x, y = x - HOME[0], y - HOME[1]
    height = (300 + 0.01 * x + 0.01 * y + 0.5 * np.sin(x / 90) * np.cos(y / 70)).astype(np.float32)
    transform = from_origin(west - 500, north + 500, cell, cell)
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": UTM15, "width": wide, "height": high}
    with rasterio.open(folder / "dem.tif", "w", transform=transform, **profile) as file:
        file.write(height, 1)
    return {
        "farm": {"name": "Scattered", "season": 2026, "cell": "10 m"},
        "layers": {
            "fields": {"path": "fields.geojson", "name_column": "name"},
            "elevation": {"path": "dem.tif", "vertical_unit": "m"},
        },
        "yields": {"everywhere": "300 bu/ac"},
        "crop": {"rotation": "continuous corn", "tillage": ["planter"], "manure_c_mg_ha": 1.0},
        "soil": SOIL,
        "odds": {"samples": 100},
    }


def planned(folder: Path, **at: tuple[int, int]) -> SeasonResult:
    folder.mkdir(exist_ok=True)
    return run_season(write_plan(write_farm(folder, **at), folder), Report())


@pytest.fixture(scope="module")
def apart(tmp_path_factory: pytest.TempPathFactory) -> SeasonResult:
    return planned(tmp_path_factory.mktemp("apart"), Home=HOME, Beside=BESIDE, Away=AWAY)


def test_neighbors_share_a_grid_and_cells_follow_the_fields(apart: SeasonResult) -> None:
    assert [cluster.field_ids for cluster in apart.clusters] == [("F1", "F2"), ("F3",)]
    cells = sum(cluster.stack.sizes["x"] * cluster.stack.sizes["y"] for cluster in apart.clusters)
    assert cells * 100 < 5 * apart.fields.to_crs(UTM15).area.sum()
    with pytest.raises(ContractError, match="clusters"):
        apart.stack  # noqa: B018


def test_a_farm_of_two_clusters_is_the_sum_of_the_two(apart: SeasonResult, tmp_path: Path) -> None:
    here = planned(tmp_path / "here", Home=HOME, Beside=BESIDE)
    there = planned(tmp_path / "there", Away=AWAY)
    for name in ("fields_ha", "grain_mg", "stover_mg", "removal_mg", "bales", "net_m", "n_kg"):
        assert apart.totals[name] == pytest.approx(here.totals[name] + there.totals[name], rel=2e-3), name
    mine = apart.zones[apart.zones["field_id"] != "F3"].reset_index(drop=True)
    columns = ["zone_id", "area_ha", "stover_mg_ha", "method"]
    pd.testing.assert_frame_equal(
        pd.DataFrame(mine[columns]), pd.DataFrame(here.zones[columns]), rtol=1e-3, check_exact=False
    )
    # odds hang on the names of farm and field, not on what is planned beside them
    odds = apart.residue.odds.set_index("zone_id")["p50_mg_ha"]
    for zone, value in here.residue.odds.set_index("zone_id")["p50_mg_ha"].items():
        assert odds[zone] == pytest.approx(value, rel=0.02)


def test_yards_and_hauls_stay_in_their_cluster(apart: SeasonResult) -> None:
    assert apart.yards["yard_id"].is_unique
    assert set(apart.siting.stacks["yard_id"]) == set(apart.yards["yard_id"])
    near = gpd.sjoin_nearest(apart.yards[["yard_id", "geometry"]], apart.fields[["field_id", "geometry"]])
    side = dict(zip(near["yard_id"], near["field_id"].eq("F3"), strict=True))
    assert set(side.values()) == {True, False}
    field_of = apart.zones.set_index("zone_id")["field_id"]
    for row in apart.siting.routes.itertuples():
        assert side[row.yard_id] == (field_of[row.zone_id] == "F3")
        assert row.distance_m < 3000


@pytest.mark.long
def test_one_choice_is_made_over_all_clusters(tmp_path: Path) -> None:
    plan = write_farm(tmp_path, Home=HOME, Away=AWAY)
    plan["need"] = {"herd": [{"name": "cows", "head": 700, "months": ["Nov", "Dec", "Jan", "Feb", "Mar"]}]}
    report = Report()
    result = run_season(write_plan(plan, tmp_path), report)
    alone = run_season(write_plan({**plan, **write_farm_of(tmp_path / "one", plan)}, tmp_path / "one"), Report())
    assert alone.totals["short_bales"] > 0  # one field is not enough
    assert result.totals["short_bales"] < alone.totals["short_bales"]
    field_of = result.zones.set_index("zone_id")["field_id"]
    assert {field_of[zone] for zone in result.supply.hauls["zone_id"]} == {"F1", "F2"}
    assert result.supply.hauls["bales"].sum() == result.totals["bales"]


def write_farm_of(folder: Path, plan: dict) -> dict:
    folder.mkdir()
    return {**write_farm(folder, Home=HOME), "need": plan["need"]}


def test_fields_in_two_zones_have_grids_of_their_own_and_one_table(tmp_path: Path) -> None:
    result = planned(tmp_path / "farm", Home=HOME, Far=ZONE16)
    assert [CRS(c.stack.rio.crs.to_wkt()).utm_zone for c in result.clusters] == ["15N", "16N"]
    assert CRS(result.zones.crs).utm_zone == "15N"
    # 400 m by 400 m in zone 15; there the scale of the plane at 290 km from its middle is 1.0006
    assert result.fields["area_ha"].to_numpy() == pytest.approx([16.0, 16.0], rel=2e-3)
    written = write_outputs(result, tmp_path / "out")
    assert {"removable.tif", "removable-2.tif", "siting.tif", "siting-2.tif"} <= set(written)
    for name, place in (("removable.tif", 0), ("removable-2.tif", 1)):
        with rasterio.open(written[name]) as file:
            shape = result.fields.to_crs(file.crs).geometry.iloc[place]
            grain = file.read(file.descriptions.index("grain_mg_ha") + 1)
            row, col = file.index(*shape.centroid.coords[0])
            assert grain[row, col] > 0
    record = json.loads(written["plan.json"].read_text("utf-8"))
    assert {"removable-2.tif", "siting-2.tif"} <= set(record["files_sha256"])


@pytest.mark.long
def test_rasters_of_further_clusters_are_guarded_and_cleared_like_all_results(tmp_path: Path) -> None:
    far, near = tmp_path / "far", tmp_path / "near"
    for folder, at in ((far, {"Home": HOME, "Away": AWAY}), (near, {"Home": HOME})):
        folder.mkdir()
        write_plan(write_farm(folder, **at), folder)
    out = tmp_path / "out"
    assert ask("plan", far / "plan.toml", "--out", out)[0] == 0
    (out / "siting-2.tif").rename(tmp_path / "kept.tif")
    for path in out.iterdir():
        path.unlink()
    (tmp_path / "kept.tif").rename(out / "siting-2.tif")
    code, _, err = ask("plan", near / "plan.toml", "--out", out)
    assert code == 2
    assert "siting-2.tif" in err
    assert ask("plan", near / "plan.toml", "--out", out, "--overwrite")[0] == 0
    assert not (out / "siting-2.tif").exists()
    assert (out / "siting.tif").exists()


def test_points_of_two_clusters_are_mapped_each_on_its_own_field(tmp_path: Path) -> None:
    plan = write_farm(tmp_path, Home=HOME, Away=AWAY)
    rows = []
    for (west, south), dry in ((HOME, 8.0), (AWAY, 11.0)):
        x, y = np.meshgrid(np.arange(4, 400, 8.0), np.arange(1, 400, 2.0))
        rows.append(pd.DataFrame({"x": west + x.ravel("F"), "y": south + y.ravel("F"), "t_ha": dry}))
    table = pd.concat(rows)
    at = gpd.GeoSeries(gpd.points_from_xy(table["x"], table["y"]), crs=UTM15).to_crs(4326)
    table = table.assign(lon=at.x.to_numpy(), lat=at.y.to_numpy(), swath=8.0, dist=2.0, combine="A")
    table.to_csv(tmp_path / "points.csv")
    del plan["yields"]
    plan["layers"]["yield_points"] = {
        "path": "points.csv",
        "crs": "EPSG:4326",
        "columns": {
            "x": "lon",
            "y": "lat",
            "yield": "t_ha",
            "swath": "swath",
            "distance": "dist",
            "machine": "combine",
        },
        "units": {"yield": "t/ha dry", "swath": "m", "distance": "m"},
    }
    result = run_season(write_plan(plan, tmp_path), Report())
    for cluster, dry in zip(result.clusters, (8.0, 11.0), strict=True):
        assert float(cluster.stack["grain_mg_ha"].mean()) == pytest.approx(dry, rel=0.01)
    assert len(result.yields.points) == len(table)
    assert result.yields.cleaning["points"].sum() == len(table)
    # a machine that cut in both clusters is set to no total that does not say how much of it is whose
    plan["yields"] = {"weighed": [{"machine": "A", "grain": "200 t", "moisture_pct": 20.0}]}
    with pytest.raises(InputError, match="weighed_apart"):
        run_season(write_plan(plan, tmp_path), Report())


def test_refused_ground_far_from_every_field_is_told_and_near_one_is_obeyed(tmp_path: Path) -> None:
    plan = write_farm(tmp_path, Home=HOME, Away=AWAY)
    plan["landowner"] = {"no_go": "no_go.geojson"}
    west, south = AWAY
    no_go = gpd.GeoDataFrame(geometry=[box(west, south, west + 400, south + 400)], crs=UTM15).to_crs(4326)
    no_go.to_file(tmp_path / "no_go.geojson")
    report = Report()
    result = run_season(write_plan(plan, tmp_path), report)
    assert "answer.far_away" not in [p.code for p in report]
    assert result.totals["kept_free_ha"] == pytest.approx(16, rel=0.01)
    gathered = result.zones[result.zones["gathered_fraction"] > 0]
    assert set(gathered["field_id"]) == {"F1"}
    no_go.set_geometry(no_go.translate(1.0)).to_file(tmp_path / "no_go.geojson")
    with pytest.raises(InputError, match="far_away"):
        run_season(tmp_path / "plan.toml", Report())


def test_a_grid_too_large_is_still_refused(tmp_path: Path) -> None:
    plan = write_farm(tmp_path, Home=HOME, Away=AWAY)
    plan["farm"]["memory_max_gb"] = 0.2
    with pytest.raises(InputError, match="too_big"):
        run_season(write_plan(plan, tmp_path), Report())


def weighed_farm(folder: Path, *weighed: dict) -> Path:
    """Two fields in two clusters with a finished yield map of 8 t/ha on both, and weighed totals."""
    plan = write_farm(folder, Home=HOME, Away=AWAY)
    (west, south), (east, north) = HOME, (AWAY[0] + 400, AWAY[1] + 400)
    shape = ((north - south) // 10, (east - west) // 10)
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": UTM15, "width": shape[1], "height": shape[0]}
    with rasterio.open(folder / "yield.tif", "w", transform=from_origin(west, north, 10, 10), **profile) as file:
        file.write(np.full(shape, 8, np.float32), 1)
    plan["layers"]["yield_raster"] = {"path": "yield.tif", "unit": "t/ha dry"}
    plan["yields"] = {"weighed": list(weighed)}
    return write_plan(plan, folder)


@pytest.mark.long
def test_a_weighed_total_sets_its_own_field_alone(tmp_path: Path) -> None:
    # 16 ha at 10 Mg/ha dry are 160 Mg dry, 200 Mg at 20 % moisture
    total = {"field": "Away", "grain": "200 t", "moisture_pct": 20.0}
    result = run_season(weighed_farm(tmp_path, total), Report())
    means = [float(cluster.stack["grain_mg_ha"].mean()) for cluster in result.clusters]
    assert means == pytest.approx([8.0, 10.0], rel=0.01)
