"""Farms whose computed values are frozen: the sample farm, and a small made farm with one thing changed at a time."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import geopandas as gpd
import made_field
import numpy as np
import pandas as pd
import rasterio
from as_user import write_plan
from frozen_values import CHOICE, DETAIL, SUMS, Value, values_of
from made_field import CRS, EAST, NORTH
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, Polygon, box

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.result import SeasonResult
from stovergeo.workflow import replan_with_answer, run_season, sample_plan_path

TESTS = Path(__file__).parents[1]
WIDE_M, HIGH_M = 240.0, 300.0
#: west edge of each field; the third has no yield record at all
WEST_M = {"East of the lane": 270.0, "West of the lane": 0.0, "Not harvested": 540.0}
SOILS = {
    "musym": ["A", "B", "C"],
    "drainagecl": ["Well drained", "Somewhat poorly drained", "Poorly drained"],
    "hydgrp": ["B", "C/D", "D"],
    "flodfreqcl": ["None", "None", "Occasional"],
    "pondfreqcl": ["None", "Rare", "Frequent"],
    "wtdepannmin": [200, 46, 15],
    "hydricrating": ["No", "No", "Yes"],
    "claytotal_r": [22, 29, 48],
    "kwfact": [".32", ".37", ".28"],
    "tfact": [5, 4, 5],
    "wei": [48, 56, 86],
}
HERD = {"name": "cows", "head": 14, "months": ["Nov", "Dec", "Jan", "Feb", "Mar", "Apr", "May", "Jun"]}
CONTRACT = {
    "name": "plant",
    "dry_mass": "7 ton",
    "months": ["Jan", "Feb"],
    "price": "90 $/ton",
    "distance_km": 30,
    "fill_at_a_loss": True,
}
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
COLUMNS = {
    "flow": ("flow_kg_s", "kg/s"),
    "moisture": ("moisture_pct", "%"),
    "distance": ("distance_m", "m"),
    "swath": ("swath_m", "m"),
    "seconds": ("seconds", "s"),
    "time": ("time_s", "s"),
    "height": ("height_m", "m"),
    "machine": ("machine", None),
}
PLAN = {
    "farm": {"name": "made", "season": 2026, "cell": "10 m", "margin": "60 m"},
    "layers": {
        "fields": {"path": "fields.gpkg", "name_column": "name"},
        "yield_points": {
            "path": "points.csv",
            "crs": CRS,
            "columns": {"x": "x", "y": "y", **{role: name for role, (name, _) in COLUMNS.items()}},
            "units": {role: unit for role, (_, unit) in COLUMNS.items() if unit},
        },
        "elevation": {"path": "ground.tif", "vertical_unit": "m"},
        "soils": {"path": "soils.gpkg"},
        "property": {"path": "property.gpkg"},
        "trees": {"path": "trees.gpkg", "height": "12 m"},
        "roads": {"path": "roads.gpkg"},
        "wells": {"path": "wells.gpkg"},
        "water": {"path": "water.gpkg"},
    },
    "crop": {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 2.0},
    "gather": {"working_width": "9 m", "min_zone": "1.5 ha"},
    "wrap": {"kind": "best"},
    "odds": {"samples": 40},
    "yards": {"most": 3, "min_bales": 15},
    "need": {"herd": [HERD], "contract": [CONTRACT]},
    "money": {"stover_value": "75 $/ton"},
    "landowner": {"price": "12 $/ton"},
}


#: what each made farm has other than `PLAN`; None takes a key away
CHANGES: dict[str, dict[str, Any]] = {
    "made": {},
    "shortage": {"need": {"herd": [HERD | {"head": 300}]}},
    "no_need": {"need": None},
    "contract_only": {"need": {"herd": [], "contract": [CONTRACT | {"dry_mass": "14 ton"}]}},
    "two_wraps": {
        "need": {"herd": [HERD | {"months": MONTHS}], "contract": []},
        "storage": {"last_used": "10-31", "base": "ground"},
        "handbook": {"wrap.price.full_cover": 3.0},
    },
    "nothing_leaves": {"limits": {"harvest_from_bu_ac": 300}},
    "single_pass_only": {"gather": {"methods": ["single_pass"]}, "bale": {"moisture_pct": 18}},
    "square_bales": {"bale": {"size": "3x4x8"}, "storage": {"place": "tarped rows"}, "need": {"herd": [HERD]}},
    "one_year_in_two": {
        "crop": {
            "rotation": "corn-soybean",
            "tillage": ["chisel_straight", "field_cultivator", "planter"],
            "harvest_years": "1 of 2",
        },
        "odds": {"samples": 40, "cautious_pct": 25},
    },
    "earlier_harvest": {
        "layers": {"earlier_maps": [{"year": 2024, "path": "before.tif", "unit": "t/ha dry"}]},
        "need": None,
    },
    "no_elevation": {"layers": {"elevation": None}},
    "yield_map_alone": {
        "layers": {
            "yield_points": None,
            "yield_raster": {"path": "yield.tif", "unit": "t/ha dry"},
            **dict.fromkeys(("elevation", "soils", "property", "trees", "roads", "wells", "water")),
        },
        "soil": {
            "drainage_class": "well drained",
            "clay_pct": 24,
            "erodibility": "0.32 US",
            "tolerance": "5 ton/ac/yr",
        },
    },
    "soil_half_known": {"layers": {"soils": {"path": "soils_in_part.gpkg"}}},
    "no_boundary": {"layers": {"fields": None}},
    "no_time": {"layers": {"yield_points": {"columns": {"time": None}, "units": {"time": None}}}},
    "refused_ground": {"landowner": {"no_go": "refused.gpkg"}, "need": None},
    "own_numbers": {
        "crop": {"contoured": True, "cut_height": "14 in", "wind_loss": "8 ton/ac/yr", "nutrient_basis": "maturity"},
        "limits": {
            "retention_min": "1 ton/ac",
            "removal_max": "2.5 ton/ac",
            "cover_pct": 35,
            "potash_max": "60 lb/ac",
            "phosphate_max": "12 lb/ac",
            "tolerance_fraction": 0.8,
            "take_erodible": True,
        },
        "bale": {"size": "5x5", "setting": "tight", "condition": "spring"},
        "wrap": {"kind": "net", "turns": 3, "overlap": "2 ft"},
        "storage": {"pattern": "pyramid", "rain_mm": [70.0] * 12, "air_c": [8.0] * 12, "sunshine_h": [5.0] * 12},
        "yards": {
            "accept_base": True,
            "rows": "best angle",
            "wind_from_deg": 315,
            "weights": {"visibility": 1},
            "setbacks": {"road": "60 m", "well": "40 m"},
        },
        "money": {
            "nitrogen": "0.5 $/lb",
            "phosphate": "0.6 $/lb",
            "potash": "0.4 $/lb",
            "sulfur": "0.3 $/lb",
            "soil_carbon": "4 $/ton",
            "chop": "14 $/ac",
            "rake": "8 $/ac",
            "bale_each": 12,
            "stage_each": 3,
            "truck_hour": 110,
            "set_up": 90,
            "yard_opening": 80,
            "crew_days": 0.2,
            "today": "rake_bale",
        },
        "landowner": {"price": None, "rent": "20 $/ac"},
        "handbook": {"residue.factor": 0.95},
    },
}
#: farms of which every table is frozen; of the rest what `frozen_values.DETAIL` names is left out
WHOLE = {"sample", "made", "square_bales", "own_numbers"}
#: left out although the farm is frozen whole: two ways of one effort differ in length by half a meter there, and
#: which of them is taken hangs on the last digit that a version of numpy computes
TIED = {"own_numbers": {"yard zone"}}
#: farms that differ from another by their need or by an answer: what neither changes is frozen there
BY_NEED = {"shortage", "no_need", "contract_only", "two_wraps", "answered", "sample_answered"}
#: ground that the made farm's landowner refuses, from the corner of its fields: a yard in use, and one not in use
YARD_REFUSED, DRAWN = (398, 304, 426, 325), (30, 130, 80, 165)
#: the same on the sample farm, in longitude and latitude
SAMPLE_YARD_REFUSED = (-93.76298, 42.02488, -93.76208, 42.02606)
SAMPLE_DRAWN = (-93.7506, 42.0220, -93.7490, 42.0236)


def ground_m(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return heights: long slopes, steep in the east, and a hollow that holds water."""
    hollow = 1.2 * np.exp(-((x - 90) ** 2 + (y - 90) ** 2) / 900)
    return 300 + 0.012 * y + 3 * np.sin(x / 140) + 2e-7 * np.maximum(x - 250, 0) ** 3 - hollow


def write_made_farm(folder: Path) -> None:
    """Write three small fields, two of them harvested by two combines with faults, and what lies around them."""
    fields = [box(EAST + west, NORTH, EAST + west + WIDE_M, NORTH + HIGH_M) for west in WEST_M.values()]
    west, east = EAST - 60, EAST + 540 + WIDE_M + 60
    bands = [box(west, NORTH + low - 200, east, NORTH + high) for low, high in ((300, 700), (140, 300), (-60, 140))]
    shapes = {
        "fields": ({"name": list(WEST_M)}, fields),
        "soils": (SOILS, bands),
        "soils_in_part": ({name: values[::2] for name, values in SOILS.items()}, bands[::2]),
        "refused": ({"name": ["refused"]}, [_from_corner(-10, 100, 150, 310)]),
        "property": ({"name": ["own"]}, [box(west + 20, NORTH - 40, east - 20, NORTH + HIGH_M + 40)]),
        "trees": ({"name": ["grove"]}, [box(EAST + 300, NORTH + 302, EAST + 380, NORTH + 314)]),
        "roads": ({"name": ["road"]}, [LineString([(west, NORTH - 20), (east, NORTH - 20)])]),
        "wells": ({"name": ["well"]}, [Point(EAST + 255, NORTH + 150)]),
        "water": ({"name": ["ditch"]}, [LineString([(west, NORTH + 330), (EAST + 200, NORTH + 330)])]),
    }
    for name, (columns, geometry) in shapes.items():
        gpd.GeoDataFrame(columns, geometry=geometry, crs=CRS).to_file(folder / f"{name}.gpkg")
    made_points().to_csv(folder / "points.csv", index=False)
    write_raster(folder / "ground.tif", ground_m)
    write_raster(folder / "yield.tif", lambda x, y: np.where(x < 530, made_field.patchy(x, y), np.nan))
    write_raster(folder / "before.tif", lambda x, y: 0.8 * made_field.smooth(x, y))


def made_points() -> pd.DataFrame:
    """Return the records of the first two fields; here and there grain is missing, moisture wrong, a record doubled."""
    parts = []
    for number, (truth, west) in enumerate(
        zip((made_field.patchy, made_field.low_spot), WEST_M.values(), strict=False)
    ):
        drive = {"width_m": WIDE_M, "height_m": HIGH_M, "seconds": 2.0, "delay_s": 12.0, "mixing_s": 3.0}
        records = made_field.harvest(truth, seed=number + 1, machines=(1.0, 0.94), **drive)
        table = pd.DataFrame(records.drop(columns="geometry"))
        place = {"x": records.geometry.x + west, "y": records.geometry.y}
        parts.append(table.assign(**place, time_s=table["time_s"] + 1e5 * number))
    points = pd.concat(parts, ignore_index=True)
    points["height_m"] = ground_m(points["x"] - EAST, points["y"] - NORTH)
    points.loc[::97, "flow_kg_s"] = 0.0
    points.loc[::131, "moisture_pct"] = 60.0
    points.loc[::211, "flow_kg_s"] *= 3
    return pd.concat([points, points.iloc[::401].assign(time_s=lambda t: t["time_s"] + 0.5)])


def write_raster(path: Path, surface: Callable[[np.ndarray, np.ndarray], np.ndarray], cell_m: float = 10.0) -> None:
    """Write a surface over the made farm and 150 m around it."""
    across, down = (round((side + 300) / cell_m) for side in (540 + WIDE_M, HIGH_M))
    x = -150 + cell_m * (np.arange(across) + 0.5)
    y = HIGH_M + 150 - cell_m * (np.arange(down) + 0.5)
    transform = from_origin(EAST - 150, NORTH + HIGH_M + 150, cell_m, cell_m)
    profile = {"driver": "GTiff", "width": across, "height": down, "count": 1, "dtype": "float32", "nodata": np.nan}
    with rasterio.open(path, "w", crs=CRS, transform=transform, **profile) as out:
        out.write(surface(*np.meshgrid(x, y)).astype(np.float32), 1)


def _from_corner(west: float, south: float, east: float, north: float) -> Polygon:
    return box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def merged(plan: dict, changes: dict) -> dict:
    """Return a plan with changes at any depth; None takes a key away."""
    out = dict(plan)
    for key, value in changes.items():
        if value is None:
            out.pop(key, None)
        else:
            out[key] = merged(out.get(key, {}), value) if isinstance(value, dict) else value
    return out


def season_of_made(folder: Path, changes: dict) -> SeasonResult:
    """Plan the season of the made farm with changes."""
    return run_season(plan_from(merged(PLAN, changes), folder, Report()), Report())


def season_of_sample(folder: Path, changes: dict) -> SeasonResult:
    """Plan the season of the sample farm with changes; nothing is written to the folder."""
    path = sample_plan_path()
    plan = merged(tomllib.loads(path.read_text("utf-8")), changes)
    return run_season(plan_from(plan, path.parent, Report()), Report())


def made_answered(folder: Path) -> SeasonResult:
    """Plan the made farm again after its landowner's answer."""
    yard, drawn = gpd.GeoSeries([_from_corner(*YARD_REFUSED), _from_corner(*DRAWN)], crs=CRS).to_crs(4326)
    return _answered(write_plan(PLAN, folder), folder, "Y2", yard, drawn)


def sample_answered(folder: Path) -> SeasonResult:
    """Plan the sample farm again after its landowner's answer."""
    return _answered(sample_plan_path(), folder, "Y1", box(*SAMPLE_YARD_REFUSED), box(*SAMPLE_DRAWN))


def _answered(plan: Path, folder: Path, yard_id: str, yard: Polygon, drawn: Polygon) -> SeasonResult:
    marks = [({"kind": "yard", "yard_id": yard_id, "answer": "no"}, yard), ({"kind": "no_go"}, drawn)]
    features = [{"type": "Feature", "properties": p, "geometry": shape.__geo_interface__} for p, shape in marks]
    answer = folder / "answer.json"
    answer.write_text(json.dumps({"type": "FeatureCollection", "stovergeo_answer": 1, "features": features}), "utf-8")
    return replan_with_answer(plan, answer, Report(), folder / "answered", overwrite=True)


def real_field_is_here() -> bool:
    """Return whether the real field stands beside the project."""
    return (TESTS.parents[1] / "shared" / "real_field").is_dir()


def real_field(folder: Path) -> SeasonResult:
    """Plan the real field that may stand beside the project; nothing is written to the folder."""
    return run_season(TESTS / "real_field.toml", Report())


Season = Callable[[Path], SeasonResult]
#: farm -> its season, from the folder that `write_made_farm` filled
SHORT: dict[str, Season] = {
    "sample": partial(season_of_sample, changes={}),
    **{name: partial(season_of_made, changes=changes) for name, changes in CHANGES.items()},
    "answered": made_answered,
}
LONG: dict[str, Season] = {"sample_answered": sample_answered, "real_field": real_field}


def computed(name: str, folder: Path) -> list[Value]:
    """Return the values of a farm that are frozen."""
    values = values_of((SHORT | LONG)[name](folder))
    if name == "real_field":  # share-alike data: only what they add up to
        return [v for v in values if v.table in SUMS]
    if name in BY_NEED:
        return [v for v in values if v.table in CHOICE]
    left_out = TIED.get(name, set()) if name in WHOLE else DETAIL
    return [v for v in values if v.table not in left_out]


def frozen_path(name: str) -> Path:
    """Return the file of a farm's frozen values."""
    return TESTS / "frozen" / f"{name}.csv"
