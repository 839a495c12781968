"""Farms on ground that is not ours, north and south: what a grower there holds, and numbers worked out by hand.

The ground is public (see `terrain_farm.py`). Each number that is expected is worked out here, without the package.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from as_user import write_plan
from made_files import gpx, kml, pack, ring, shapefile
from made_tasks import MadeData, MadeTask, log_of
from terrain_farm import CELL_M, Ground, ground_at

from stovergeo.core.errors import Report
from stovergeo.report import write_outputs
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

pytestmark = pytest.mark.long
BU_MG = 56 * 0.45359237 / 1000  #: mass of a bushel of corn at 15.5 % (US grain standards)
ACRE_HA = 0.40468564224
SLOPE, INTERCEPT = 0.85, 0.65  #: stover of dry grain, Mg/ha (docs/handbook/residue.md)


@dataclass
class Farm:
    """A farm: where it lies, what its grower holds, and what must come of it."""

    place: tuple[float, float]
    window: int
    write: Callable[[Ground, Path], dict]
    dry_mg_ha: Callable[[Ground], np.ndarray]  #: dry grain of each cell
    plan: dict = field(default_factory=dict)
    south: bool = False


def falling_yield(ground: Ground, top: float) -> np.ndarray:
    """Yield that is `top` on the level and 4 % of it less for each percent of slope."""
    return top * (1 - 0.04 * np.minimum(ground.slope_pct, 12))


def survey_farm(ground: Ground, folder: Path) -> dict:
    """United States: boundaries, a finished yield map, elevation and the soil survey."""
    ground.fields.to_file(folder / "fields.gpkg")
    ground.write(folder / "yield.tif", falling_yield(ground, 210))
    ground.write(folder / "dem.tif", ground.height_m)
    west, south, east, north = ground.fields.total_bounds
    middle = (south + north) / 2
    halves = [shapely.box(west - 300, a, east + 300, b) for a, b in ((south - 300, middle), (middle, north + 300))]
    soils = {"musym": ["A", "B"], "drainagecl": ["Well drained", "Somewhat poorly drained"], "hydgrp": ["B", "C"]}
    soils |= {"claytotal_r": [22, 30], "kwfact": [".32", ".28"], "tfact": [5, 5], "wei": [48, 48]}
    gpd.GeoDataFrame(soils, geometry=halves, crs=ground.crs).to_file(folder / "soils.gpkg")
    return {
        "fields": {"path": "fields.gpkg", "name_column": "name"},
        "yield_raster": {"path": "yield.tif", "unit": "bu/ac at 15.5 %"},
        "elevation": {"path": "dem.tif", "vertical_unit": "m"},
        "soils": {"path": "soils.gpkg"},
    }


def records(ground: Ground, wet_t_ha: np.ndarray) -> pd.DataFrame:
    """Return what a combine with a header of 6 m would write each 2 s at 2 m/s, up and down both fields."""
    rows = []
    second = 0
    for number in range(len(ground.fields)):
        shape = ground.fields.geometry.iloc[number]
        west, south, east, north = shape.bounds
        for k, x in enumerate(np.arange(west + 3, east, 6.0)):
            y = np.arange(south + 2, north, 4.0)[:: 1 if k % 2 else -1]
            inside = gpd.GeoSeries.from_xy(np.full(len(y), x), y).within(shape.buffer(-1)).to_numpy()
            second += 60
            rows.append(pd.DataFrame({"x": x, "y": y[inside], "Time": second + 2 * np.arange(inside.sum())}))
            second += 2 * int(inside.sum())
    table = pd.concat(rows, ignore_index=True)
    column = ((table["x"] - ground.west) // CELL_M).astype(int)
    row = ((ground.north - table["y"]) // CELL_M).astype(int)
    table["wet"] = wet_t_ha[row, column]
    places = gpd.GeoSeries.from_xy(table["x"], table["y"], crs=ground.crs).to_crs(4326)
    return table.assign(Longitude=places.x, Latitude=places.y, Moisture=16.0, Time=table["Time"] + 1_790_000_000.0)


def metric_points_without_time(ground: Ground, folder: Path) -> dict:
    """Ontario: a packed Shapefile, and a table of places and yields of an older monitor."""
    pack(folder / "fields.zip", shapefile(ground.fields, folder))
    table = records(ground, falling_yield(ground, 12.0))
    table[["Longitude", "Latitude", "wet", "Moisture"]].to_csv(folder / "points.csv", index=False)
    ground.write(folder / "dem.tif", ground.height_m)
    return {
        "fields": {"path": "fields.zip", "name_column": "name"},
        "elevation": {"path": "dem.tif", "vertical_unit": "m"},
        "yield_points": {
            "path": "points.csv", "crs": "EPSG:4326", "swath": "6 m",
            "columns": {"x": "Longitude", "y": "Latitude", "yield": "wet", "moisture": "Moisture"},
            "units": {"yield": "t/ha wet", "moisture": "%"},
        },
    }  # fmt: skip


def kmz_and_a_number(ground: Ground, folder: Path) -> dict:
    """Pampas: outlines drawn over a picture of the earth, elevation, and what the scale said."""
    pack(folder / "fields.kmz", {"doc.kml": kml(ground.fields, folder / "doc.kml")})
    ground.write(folder / "dem.tif", ground.height_m)
    return {"fields": {"path": "fields.kmz"}, "elevation": {"path": "dem.tif", "vertical_unit": "m"}}


def track_and_task_data(ground: Ground, folder: Path) -> dict:
    """Hungary: tracks of a receiver around the fields, and the folder of the combine's terminal."""
    shapes = ground.fields.to_crs(4326)
    tracks = [(name, ring(shape)) for name, shape in zip(shapes["name"], shapes.geometry, strict=True)]
    gpx(folder / "fields.gpx", tracks=tracks)
    table = records(ground, falling_yield(ground, 11.0))
    table["Flow"], table["Swath"], table["Speed"] = table["wet"] / 10 * 6.0 * 2.0, 6.0, 2.0
    columns = {"Flow": ("0057", "DET-2", 1e6), "Moisture": ("0063", "DET-2", 1e4), "Swath": ("0043", "DET-1", 1e3)}
    columns |= {"Speed": ("018D", "DET-1", 1e3)}
    MadeData([MadeTask([log_of(table, columns)], "Harvest")]).write(folder / "TASKDATA")
    ground.write(folder / "dem.tif", ground.height_m)
    return {
        "fields": {"path": "fields.gpx"},
        "elevation": {"path": "dem.tif", "vertical_unit": "m"},
        "yield_points": {"path": "TASKDATA"},
    }


def old_map_and_tiles(ground: Ground, folder: Path) -> dict:
    """Highveld: outlines for the web, four tiles of heights, and the yield map of two seasons ago."""
    ground.fields.to_crs(4326).to_file(folder / "fields.geojson")
    ground.write(folder / "old.tif", falling_yield(ground, 8.0))
    half = ground.height_m.shape[0] // 2
    (folder / "heights").mkdir()
    for name, rows in (("north", slice(0, half + 3)), ("south", slice(half, None))):
        for side, columns in (("west", slice(0, half + 3)), ("east", slice(half, None))):
            ground.write(folder / "heights" / f"{name}_{side}.tif", ground.height_m, rows, columns)
    return {
        "fields": {"path": "fields.geojson", "name_column": "name"},
        "elevation": {"path": "heights", "vertical_unit": "m"},
        "earlier_maps": [{"year": 2024, "path": "old.tif", "unit": "t/ha dry"}],
    }


def boundary_alone(ground: Ground, folder: Path) -> dict:
    """Nebraska: a boundary."""
    ground.fields.to_crs(4326).to_file(folder / "fields.fgb", driver="FlatGeobuf")
    return {"fields": {"path": "fields.fgb", "name_column": "name"}}


def stated(*dry_mg_ha: float) -> Callable[[Ground], np.ndarray]:
    def of(ground: Ground) -> np.ndarray:
        return np.select([ground.inside(k) for k in range(len(dry_mg_ha))], dry_mg_ha, np.nan)

    return of


def old_pattern(ground: Ground) -> np.ndarray:
    """The old map's pattern on a level of 9 t/ha at 12.5 % moisture, field by field."""
    old, out = falling_yield(ground, 8.0), np.full(ground.height_m.shape, np.nan)
    for k in range(len(ground.fields)):
        inside = ground.inside(k)
        out[inside] = old[inside] / old[inside].mean() * 9 * 0.875
    return out


METRIC_SOIL = {"drainage_class": "well drained", "clay_pct": 24, "tolerance": "11 t/ha/yr"}
METRIC_SOIL |= {"erodibility": "0.042 t ha h/(ha MJ mm)"}
FARMS = {
    "Missouri": Farm(
        (39.2, -92.6), 3, survey_farm, lambda g: falling_yield(g, 210) * BU_MG * 0.845 / ACRE_HA,
        {"farm": {"units": "us"}, "need": {"herd": [{"name": "cows", "head": 60, "months": ["Jan", "Feb"]}]}},
    ),
    "Ontario": Farm(
        (43.2, -81.0), 6, metric_points_without_time, lambda g: falling_yield(g, 12.0) * 0.84,
        {"farm": {"units": "metric", "currency": "C$"}, "soil": METRIC_SOIL},
    ),
    "Pampas": Farm(
        (-33.8, -61.9), 0, kmz_and_a_number, stated(10 * 0.855, 11 * 0.855),
        {"farm": {"units": "metric", "market_moisture_pct": 14.5}, "soil": METRIC_SOIL,
         "yields": {"by_field": {"Upper": "10 t/ha", "Creek": "11 t/ha"}}},
        south=True,
    ),
    "Hungary": Farm(
        (46.9, 20.4), 9, track_and_task_data, lambda g: falling_yield(g, 11.0) * 0.84,
        {"farm": {"units": "metric", "currency": "€"}, "soil": METRIC_SOIL},
    ),
    "Highveld": Farm(
        (-26.8, 28.6), 12, old_map_and_tiles, old_pattern,
        {"farm": {"units": "metric", "currency": "R", "market_moisture_pct": 12.5}, "soil": METRIC_SOIL,
         "yields": {"everywhere": "9 t/ha"}},
        south=True,
    ),
    "Nebraska": Farm(
        (41.0, -98.2), 15, boundary_alone, stated(*[220 * BU_MG * 0.845 / ACRE_HA] * 2),
        {"farm": {"units": "us"}, "yields": {"everywhere": "220 bu/ac"},
         "soil": METRIC_SOIL | {"erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}},
    ),
}  # fmt: skip


@pytest.fixture(scope="module", params=FARMS)
def season(request, tmp_path_factory) -> tuple[Farm, Ground, SeasonResult, Report, Path]:
    farm = FARMS[request.param]
    folder = tmp_path_factory.mktemp(request.param)
    ground = ground_at(*farm.place, farm.window)
    plan = {
        "layers": farm.write(ground, folder),
        "crop": {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 2.0},
        "odds": {"samples": 60},
        "yards": {"most": 3},
        **farm.plan,
    }
    plan["farm"] = {"name": request.param, "season": 2026, "cell": "10 m", "margin": "120 m", **plan["farm"]}
    report = Report()
    result = run_season(write_plan(plan, folder), report)
    return farm, ground, result, report, folder


def by_name(result: SeasonResult) -> pd.DataFrame:
    return result.fields.set_index("name")


def test_areas_are_those_on_the_ellipsoid(season) -> None:
    _, ground, result, report, _ = season
    assert not report.refused
    area = by_name(result)["area_ha"]
    # the readings of a receiver round the track to a centimeter, the outline from points is none here
    assert [area["Upper"], area["Creek"]] == pytest.approx(list(ground.area_ha), rel=2e-3)


def test_grain_and_stover_are_what_the_files_say(season) -> None:
    farm, ground, result, _, _ = season
    dry = farm.dry_mg_ha(ground)
    means = [float(np.nanmean(dry[ground.inside(k)])) for k in range(2)]
    by_hand = float(np.dot(means, ground.area_ha))
    # a record holds the yield of the cell its place lies in, and the ground at the ends of passes lies beside it
    within = 0.006 if result.yields.cleaning is None else 0.015
    assert result.totals["grain_mg"] == pytest.approx(by_hand, rel=within)
    stover = float(np.dot([SLOPE * mean + INTERCEPT for mean in means], ground.area_ha))
    assert result.totals["stover_mg"] == pytest.approx(stover, rel=within)


def test_nothing_leaves_beyond_what_may(season) -> None:
    _, _, result, _, _ = season
    zones = result.zones
    assert 0 <= result.totals["removal_mg"] <= result.totals["removable_mg"] + 1e-6
    known = zones["removable_mg_ha"].notna()
    assert (zones.loc[known, "stover_mg_ha"] - zones.loc[known, "removable_mg_ha"] > -1e-9).all()
    table = zones[zones["method"] != "leave"]
    assert result.totals["removal_mg"] == pytest.approx(float(table["removal_mg"].sum()), rel=1e-6)


def test_slopes_are_those_of_the_heights(season) -> None:
    _, ground, result, _, _ = season
    if result.plan.layers.elevation is None:
        assert "slope_pct" not in result.stack
        assert any("slope" in line.lower() for line in result.not_checked)
        return
    stack = result.stack
    number = stack["field_number"].to_numpy()
    for k in range(2):
        mean = float(np.nanmean(stack["slope_pct"].to_numpy()[number == k]))
        assert mean == pytest.approx(float(ground.slope_pct[ground.inside(k)].mean()), rel=0.04)


def test_the_sunny_side_is_that_of_the_hemisphere(season) -> None:
    farm, _, result, _, _ = season
    if result.plan.layers.elevation is None:
        assert "sun_fraction" not in result.stack
        return
    sun, number = result.stack["sun_fraction"].to_numpy(), result.stack["field_number"].to_numpy()
    height = result.stack["elevation_m"].to_numpy()
    falls_north = np.gradient(height, CELL_M, axis=0)
    steep = (number >= 0) & (abs(falls_north) > 0.02) & np.isfinite(sun)
    north, south = sun[steep & (falls_north > 0)], sun[steep & (falls_north < 0)]
    sunny, shady = (north, south) if farm.south else (south, north)
    assert sunny.mean() > 1.005 > 0.995 > shady.mean()


def test_pages_speak_the_growers_units_and_money(season, tmp_path: Path) -> None:
    farm, _, result, _, _ = season
    written = write_outputs(result, tmp_path / "out")
    crew = re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<(style|script).*?</\1>", " ", written["crew.html"].read_text("utf-8")))
    metric = farm.plan["farm"]["units"] == "metric"
    assert bool(re.search(r"\d ha\b", crew)) == metric
    assert bool(re.search(r"\d ac\b", crew)) != metric
    assert f'"{farm.plan["farm"].get("currency", "$")}' in written["map.html"].read_text("utf-8")
