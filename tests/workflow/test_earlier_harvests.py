"""Earlier harvests in the plan: limits count on what most years give, and never on more than this year gave."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import made_field
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from small_farm import CRS, PLAN, command, season_of, write_small_farm


def _other_year(folder: Path, name: str, factor: np.ndarray | float) -> None:
    with rasterio.open(folder / "yield.tif") as raster:
        profile, values = raster.profile, raster.read(1)
    with rasterio.open(folder / name, "w", **profile) as raster:
        raster.write((values * factor).astype(np.float32), 1)


def _map(year: int, path: str) -> dict:
    return {"year": year, "path": path, "unit": "bu/ac at 15.5 %"}


def test_a_surplus_over_most_years_stays_and_a_poor_year_counts_as_it_is(tmp_path: Path) -> None:
    plan = write_small_farm(tmp_path)
    alone = season_of(tmp_path, plan)
    _other_year(tmp_path, "poor.tif", 0.8)
    _other_year(tmp_path, "rich.tif", 1.3)
    plan["layers"]["earlier_maps"] = [_map(2024, "poor.tif")]
    good_now = season_of(tmp_path, plan)
    plan["layers"]["earlier_maps"] = [_map(2024, "rich.tif")]
    poor_now = season_of(tmp_path, plan)

    for result in (good_now, poor_now):  # what stands and can be gathered is this year's, whatever other years gave
        pd.testing.assert_series_equal(
            pd.Series(result.stack["stover_mg_ha"].values.ravel()),
            pd.Series(alone.stack["stover_mg_ha"].values.ravel()),
        )
    # 0.8 and 1 of this year's: the mean of the field's means is 0.9 of it everywhere, and so is the stover
    stack = good_now.stack
    known = np.isfinite(stack["removable_mg_ha"].values)
    assert stack["grain_mean_mg_ha"].values[known] == pytest.approx(0.9 * stack["grain_mg_ha"].values[known], rel=1e-4)
    asked = [str(n) for n in stack if str(n).startswith("retention_") and n != "retention_mg_ha"]
    largest = np.fmax.reduce([stack[n].values for n in asked])
    expected = np.maximum(stack["stover_typical_mg_ha"].values - largest, 0)
    assert stack["removable_mg_ha"].values[known] == pytest.approx(expected[known], abs=1e-4)
    total = stack["removable_mg_ha"] + stack["retention_mg_ha"]
    assert total.values[known] == pytest.approx(stack["stover_mg_ha"].values[known], abs=1e-4)
    assert good_now.totals["removable_mg"] < 0.99 * alone.totals["removable_mg"]
    assert any(m.key == "years.surplus" and m.values["stover"] > 0 for m in good_now.words["soil"])
    # the limit that decides for a zone, and its odds, count on the same
    assert good_now.residue.zone_methods["limit_mg_ha"].max() < alone.residue.zone_methods["limit_mg_ha"].max()
    assert poor_now.totals["removable_mg"] == pytest.approx(alone.totals["removable_mg"], rel=1e-5)
    assert poor_now.totals["bales"] == pytest.approx(alone.totals["bales"], abs=1)


def test_no_more_than_most_years_give_is_counted_on(tmp_path: Path) -> None:
    plan = write_small_farm(tmp_path)
    _other_year(tmp_path, "poor.tif", 0.5)
    plan["layers"]["earlier_maps"] = [_map(2024, "poor.tif")]
    stack = season_of(tmp_path, plan).stack
    known = np.isfinite(stack["removable_mg_ha"].values)
    assert (stack["removable_mg_ha"].values[known] <= stack["stover_typical_mg_ha"].values[known] + 1e-4).all()
    assert (stack["stover_typical_mg_ha"].values[known] <= stack["stover_mg_ha"].values[known] + 1e-4).all()


def test_points_of_an_earlier_year_take_columns_and_units_of_this_year_s(tmp_path: Path) -> None:
    now = made_field.harvest(made_field.smooth, width_m=200, height_m=200, seconds=2.0, seed=1)
    before = made_field.harvest(
        lambda x, y: 0.7 * made_field.smooth(x, y), width_m=200, height_m=200, seconds=2.0, seed=2
    )
    for name, points in {"now.csv": now, "before.csv": before}.items():
        place = shapely.get_coordinates(points.to_crs(4326).geometry.to_numpy())
        table = points.drop(columns="geometry")
        table.assign(lon=place[:, 0], lat=place[:, 1]).to_csv(tmp_path / name, index=False)
    side = shapely.box(made_field.EAST, made_field.NORTH, made_field.EAST + 200, made_field.NORTH + 200)
    gpd.GeoDataFrame({"name": ["all"]}, geometry=[side], crs=now.crs).to_file(tmp_path / "fields.gpkg")
    columns = {"x": "lon", "y": "lat", "yield": "grain_mg_ha", "swath": "swath_m", "distance": "distance_m"}
    units = {"yield": "t/ha dry", "swath": "m", "distance": "m"}
    plan = {
        "farm": {"name": "points", "season": 2026, "cell": "5 m"},
        "layers": {
            "fields": {"path": "fields.gpkg", "name_column": "name"},
            "yield_points": {
                "path": "now.csv",
                "crs": "EPSG:4326",
                "columns": columns,
                "units": units,
                "seconds": "2 s",
            },
            "earlier_points": [{"year": 2023, "path": "before.csv"}],
        },
        "soil": {
            "drainage_class": "well drained",
            "clay_pct": 24,
            "erodibility": "0.32 US",
            "tolerance": "5 ton/ac/yr",
        },
        "odds": {"samples": 0},
    }
    stack = season_of(tmp_path, plan).stack
    ratio = stack["grain_mean_mg_ha"] / stack["grain_mg_ha"]
    assert float(ratio.median()) == pytest.approx((1 + 0.7) / 2, abs=0.02)


@pytest.mark.parametrize(
    ("entries", "code"),
    [
        ([(2026, "yield.tif")], "years.not_earlier"),
        ([(2024, "yield.tif"), (2024, "yield.tif")], "years.twice"),
    ],
)
def test_wrong_years_are_refused(tmp_path: Path, entries: list, code: str) -> None:
    write_small_farm(tmp_path)
    more = "".join(
        f'[[layers.earlier_maps]]\nyear = {year}\npath = "{path}"\nunit = "bu/ac at 15.5 %"\n' for year, path in entries
    )
    (tmp_path / "plan.toml").write_text(PLAN + more)
    done = command("check", tmp_path / "plan.toml")
    assert done.returncode == 2
    assert code in done.stdout + done.stderr


def test_a_year_that_covers_too_little_is_reported(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    with rasterio.open(tmp_path / "yield.tif") as raster:
        profile, values = raster.profile, raster.read(1)
    values[:, values.shape[1] // 3 :] = np.nan
    with rasterio.open(tmp_path / "part.tif", "w", **{**profile, "nodata": np.nan}) as raster:
        raster.write(values, 1)
    more = '[[layers.earlier_maps]]\nyear = 2024\npath = "part.tif"\nunit = "bu/ac at 15.5 %"\n'
    (tmp_path / "plan.toml").write_text(PLAN + more)
    done = command("plan", tmp_path / "plan.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "years.little" in done.stdout + done.stderr


def test_two_harvests_in_one_file_are_refused(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    points = made_field.harvest(made_field.smooth, width_m=100, height_m=100, seconds=2.0, seed=1)
    place = shapely.get_coordinates(points.to_crs(CRS).geometry.to_numpy())
    table = points.drop(columns="geometry").assign(e=place[:, 0], n=place[:, 1])
    stamp = 1_760_000_000 + np.arange(len(table)) * 2.0
    both = pd.concat([table.assign(stamp=stamp - 365 * 86_400), table.assign(stamp=stamp)])
    both.to_csv(tmp_path / "both.csv", index=False)
    (tmp_path / "plan.toml").write_text(
        PLAN.replace('[layers.yield_raster]\npath = "yield.tif"\nunit = "bu/ac at 15.5 %"\n', "")
        + f"""
[layers.yield_points]
path = "both.csv"
crs = "{points.to_crs(CRS).crs.to_string()}"
allow_outside = true
seconds = "2 s"
columns = {{ x = "e", y = "n", yield = "grain_mg_ha", swath = "swath_m", distance = "distance_m", time = "stamp" }}
units = {{ yield = "t/ha dry", swath = "m", distance = "m", time = "unix s" }}
"""
    )
    done = command("check", tmp_path / "plan.toml")
    assert done.returncode == 2
    assert "years.one_file" in done.stdout + done.stderr


def test_the_map_shows_the_most_years_and_how_steady_they_are(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    with rasterio.open(tmp_path / "yield.tif") as raster:
        swing = np.where(np.arange(raster.width) < raster.width / 2, 0.3, 1.7)
    _other_year(tmp_path, "other.tif", swing)
    more = '[[layers.earlier_maps]]\nyear = 2024\npath = "other.tif"\nunit = "bu/ac at 15.5 %"\n'
    (tmp_path / "plan.toml").write_text(PLAN + more)
    done = command("plan", tmp_path / "plan.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "map.html").read_text("utf-8")
    for words in ("Grain in most years", "How steady the yield is", "Unsteady from year to year"):
        assert words in page
