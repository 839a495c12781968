"""Write the sample farm: a made-up farm on made-up ground, the same bytes each time.

Run ``python sample_layers/make_farm.py`` from anywhere; it writes the layers beside itself.
Nothing here was measured anywhere: place, names, heights, soils and yields are invented so
that every part of the job has something to decide. The ground has a knoll, a creek in a
valley, a heavy-clay flat with a shallow pothole, a tree line north of the farmstead, a
farmstead with wells, an overhead line and two roads; the yield points carry the faults
that raw combine points have. The thirty autumns of daily weather are made up by rule too.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import rasterio
import shapely
from pyproj import Transformer
from rasterio.transform import from_origin
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box, mapping
from shapely.geometry.base import BaseGeometry

HERE = Path(__file__).parent
CRS = "EPSG:32615"
EAST, NORTH = 436_000.0, 4_652_000.0  # south-west corner of the property
WIDTH, DEPTH = 2000.0, 1600.0
SEED = 20_261_015
SWATH_M = 12.192  # sixteen 30-inch rows
RECORD_S = 3.0
SPEED_M_S = 2.1
DELAY_RECORDS = 2  # grain reaches the sensor six seconds after it is cut
WEATHER_YEARS = range(1996, 2026)
LB_S = 1 / 0.45359237
FT = 1 / 0.3048


def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of the bare ground, m, at local coordinates in m."""
    z = 301 + 4.0 * np.sin(x / 310 + 0.4) * np.cos(y / 270) + 1.4 * np.sin((x + 1.7 * y) / 190)
    z += 7.5 * np.exp(-(((x - 1480) / 210) ** 2 + ((y - 300) / 150) ** 2))  # the knoll
    z += 0.0035 * (1600 - y)  # the farm falls to the north
    offset = x - creek_x(y)
    fall = 5.5 + 0.0034 * np.clip(y - 600, 0, None)
    z -= fall * np.exp(-((offset / 85) ** 2)) * smooth_step((y - 560) / 260)  # the creek's valley
    z -= 0.6 * np.exp(-((offset / 7) ** 2)) * smooth_step((y - 640) / 120)  # its channel
    flat = smooth_step((790 - x) / 160) * smooth_step((y - 800) / 120) * smooth_step((1370 - y) / 120)
    level = 298.6 + 0.0016 * x + 0.0006 * np.abs(y - 1100)  # drains west, to the ditch
    pothole = 0.55 * np.exp(-(((x - 520) / 60) ** 2 + ((y - 1120) / 45) ** 2))
    return z * (1 - flat) + (level - pothole) * flat


def creek_x(y: np.ndarray) -> np.ndarray:
    """Return the creek's easting at a northing."""
    return 1330 - 0.34 * (y - 600) + 46 * np.sin(y / 150)


def smooth_step(t: np.ndarray) -> np.ndarray:
    """Return 0 below 0, 1 above 1, and a smooth rise between."""
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


@dataclass(frozen=True)
class FarmField:
    """A field of the farm, in local coordinates."""

    name: str
    shape: Polygon
    combine: str
    bu_ac: float  # general level of the corn


def fields() -> list[FarmField]:
    """Return the four fields."""
    farmstead = box(860, 25, 1120, 215)
    bank = np.arange(650.0, 1581.0, 10.0)
    west_bank = Polygon([(825, 1580), (825, 650), *zip(creek_x(bank) - 16, bank, strict=True)])
    east_bank = Polygon([(1980, 1580), (1980, 650), *zip(creek_x(bank) + 16, bank, strict=True)])
    return [
        FarmField("Home Field", box(25, 25, 775, 790), "A", 204),
        FarmField("Knoll Field", box(825, 25, 1980, 610).difference(farmstead), "A", 198),
        FarmField("Creek East", east_bank.buffer(0), "B", 207),
        FarmField("Clay Flat", box(25, 835, 775, 1340), "B", 181),
        FarmField("Creek West", west_bank.buffer(0), "B", 201),
    ]


def true_yield(x: np.ndarray, y: np.ndarray, level: float) -> np.ndarray:
    """Return the corn that really stood there, bu/ac at market moisture."""
    bu = level + 9 * np.sin(x / 170 + 1.1) * np.sin(y / 140) + 5 * np.sin((x - y) / 75)
    bu -= 46 * np.exp(-(((x - 1480) / 150) ** 2 + ((y - 300) / 110) ** 2))  # droughty gravel knoll
    bu -= 85 * np.exp(-(((x - 520) / 60) ** 2 + ((y - 1120) / 45) ** 2))  # drowned pothole
    bu += 10 * np.exp(-(((x - creek_x(y)) / 110) ** 2))  # deep bottom soil
    return np.maximum(bu, 0)


def soils() -> list[dict]:
    """Return soil polygons that tile the property, with the national survey's attribute names."""
    whole = box(-120, -120, WIDTH + 120, DEPTH + 120)
    knoll = affinity.scale(Point(1480, 300).buffer(1, 32), 190, 140)
    clay = box(10, 815, 790, 1350)
    ys = np.arange(600.0, 1721.0, 20.0)
    bottom = LineString(list(zip(creek_x(ys), ys, strict=True))).buffer(38)
    slope = LineString(list(zip(creek_x(ys), ys, strict=True))).buffer(125)
    rest = whole.difference(knoll).difference(clay).difference(slope)
    swale = affinity.rotate(affinity.scale(Point(430, 430).buffer(1, 32), 210, 90), 25).intersection(rest)
    rows = [
        ("L10", "Larkrise loam, 2 to 5 percent slopes", rest.difference(swale),
         ("Well drained", "B", "None", "None", 203, "No", 22, 40, 9200, ".28", 5, 56)),
        ("L11", "Swale silt loam, 0 to 3 percent slopes", swale,
         ("Somewhat poorly drained", "C/D", "None", "Rare", 46, "No", 29, 15, 11000, ".32", 5, 48)),
        ("K20", "Gravel knoll sandy loam, 4 to 9 percent slopes", knoll,
         ("Somewhat excessively drained", "A", "None", "None", 203, "No", 12, 65, 4500, ".20", 3, 86)),
        ("C30", "Flat clay, 0 to 1 percent slopes", clay,
         ("Poorly drained", "D", "None", "Occasional", 15, "Yes", 52, 10, 13000, ".28", 5, 86)),
        ("S40", "Creek side loam, 5 to 12 percent slopes, eroded", slope.difference(bottom),
         ("Moderately well drained", "C", "None", "None", 120, "No", 26, 35, 6000, ".37", 4, 48)),
        ("B50", "Creek bottom silt loam, occasionally flooded", bottom,
         ("Poorly drained", "B/D", "Occasional", "Rare", 30, "Yes", 24, 20, 10000, ".32", 5, 48)),
    ]  # fmt: skip
    names = ("drainagecl", "hydgrp", "flodfreqcl", "pondfreqcl", "wtdepannmin", "hydricrating",
             "claytotal_r", "sandtotal_r", "soc0_30", "kwfact", "tfact", "wei")  # fmt: skip
    return [
        feature(shape, {"musym": symbol, "muname": name, **dict(zip(names, values, strict=True))})
        for symbol, name, shape, values in rows
    ]


def surroundings() -> dict[str, list[dict]]:
    """Return all that a stack must keep clear of, or be reached by."""
    ys = np.arange(640.0, 1601.0, 20.0)
    creek = LineString(list(zip(creek_x(ys), ys, strict=True)))
    grove = Polygon([(creek_x(np.float64(y)) - 30, y) for y in range(1240, 1421, 20)]
                    + [(creek_x(np.float64(y)) + 30, y) for y in range(1420, 1239, -20)])  # fmt: skip
    return {
        "property": [feature(box(0, 0, WIDTH, DEPTH), {"name": "Larkrise"})],
        "trees": [
            feature(box(840, 232, 1240, 250), {"name": "Farmstead windbreak", "height_ft": 46}),
            feature(grove, {"name": "Creek grove", "height_ft": 60}),
            feature(box(2, 1352, 420, 1364), {"name": "North hedge", "height_ft": 28}),
        ],
        "buildings": [
            feature(box(930, 60, 975, 85), {"name": "Cattle barn", "height_ft": 26}),
            feature(box(930, 105, 955, 122), {"name": "Machine shed", "height_ft": 20}),
            feature(box(1010, 70, 1024, 82), {"name": "Farm house", "height_ft": 24}),
        ],
        "dwellings": [
            feature(Point(1017, 76), {"name": "Farm house"}),
            feature(Point(2075, 1180), {"name": "Neighbour's house"}),
        ],
        "roads": [
            feature(LineString([(-110, -8), (WIDTH + 110, -8)]), {"name": "South road"}),
            feature(LineString([(WIDTH + 9, -110), (WIDTH + 9, DEPTH + 110)]), {"name": "East road"}),
            feature(LineString([(800, -8), (800, 1345)]), {"name": "Farm lane"}),
        ],
        "gates": [
            feature(Point(800, 2), {"name": "Lane gate"}),
            feature(Point(985, 8), {"name": "Farmstead drive"}),
            feature(Point(1998, 420), {"name": "Knoll gate"}),
            feature(Point(1998, 1010), {"name": "Creek East gate"}),
        ],
        "wells": [
            feature(Point(1040, 100), {"name": "House well"}),
            feature(Point(690, 700), {"name": "Stock well"}),
        ],
        "water": [
            feature(creek, {"name": "Lark creek"}),
            feature(LineString([(12, 1345), (12, 820), (12, 500)]), {"name": "West ditch"}),
        ],
        "overhead_lines": [
            feature(LineString([(-110, 4), (WIDTH + 110, 4)]), {"name": "Roadside line"}),
            feature(LineString([(120, 4), (300, 800), (340, 1600)]), {"name": "Cross-country line"}),
        ],
    }


_to_lonlat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def feature(shape: BaseGeometry, properties: dict) -> dict:
    """Return a GeoJSON feature in longitude and latitude, 7 decimals (about 1 cm)."""

    def place(xy: np.ndarray) -> np.ndarray:
        return np.column_stack(_to_lonlat.transform(xy[:, 0] + EAST, xy[:, 1] + NORTH)).round(7)

    return {"type": "Feature", "properties": properties, "geometry": mapping(shapely.transform(shape, place))}


def write_geojson(folder: Path, name: str, features: list[dict]) -> None:
    """Write a feature collection, one feature a line."""
    lines = ",\n".join(json.dumps(f, separators=(",", ":")) for f in features)
    text = f'{{"type":"FeatureCollection","name":"{name}","features":[\n{lines}\n]}}\n'
    (folder / f"{name}.geojson").write_text(text, encoding="utf-8")


def write_elevation(folder: Path) -> None:
    """Write the ground as a 4 m raster of heights in meters, to the centimeter."""
    cell, margin = 4.0, 120.0
    cols, rows = int((WIDTH + 2 * margin) / cell), int((DEPTH + 2 * margin) / cell)
    x = -margin + (np.arange(cols) + 0.5) * cell
    y = DEPTH + margin - (np.arange(rows) + 0.5) * cell
    noise = np.random.default_rng(SEED).normal(0, 0.015, (rows, cols))
    z = np.round(ground(*np.meshgrid(x, y)) + noise, 2).astype(np.float32)
    profile = {
        "driver": "GTiff", "width": cols, "height": rows, "count": 1, "dtype": "float32", "crs": CRS,
        "transform": from_origin(EAST - margin, NORTH + DEPTH + margin, cell, cell),
        "nodata": -9999.0, "compress": "deflate", "predictor": 3,
    }  # fmt: skip
    with rasterio.open(folder / "elevation.tif", "w", **profile) as out:
        out.write(z, 1)
        out.set_band_unit(1, "metre")


@dataclass(frozen=True)
class Pass:
    """One straight pass of the combine."""

    start: np.ndarray
    end: np.ndarray
    share: float  # of the swath that cuts new crop


def passes(shape: Polygon) -> list[Pass]:
    """Return up-and-down north-south passes over a field; the last one is a part swath."""
    inside = shape.buffer(-1.0)
    west, south, east, north = shape.bounds
    found: list[Pass] = []
    for number, x in enumerate(np.arange(west + SWATH_M / 2, east, SWATH_M)):
        share = min(1.0, (east - (x - SWATH_M / 2)) / SWATH_M)
        cut = LineString([(x, south - 1), (x, north + 1)]).intersection(inside)
        for part in getattr(cut, "geoms", [cut]):
            if part.length < 25:
                continue
            a, b = (np.array(c) for c in (part.coords[0], part.coords[-1]))
            found.append(Pass(a, b, share) if number % 2 == 0 else Pass(b, a, share))
    return found


def combine_records(field: FarmField, rng: np.random.Generator, clock: float) -> tuple[list[list], float]:
    """Return the raw records of a field, faults and all, and the time at its end."""
    records: list[list] = []
    for run in passes(field.shape):
        way = float(np.hypot(*(run.end - run.start)))
        heading = (run.end - run.start) / way
        speed = SPEED_M_S * rng.normal(1, 0.04)
        count = int(way / (speed * RECORD_S))
        step = speed * RECORD_S * rng.normal(1, 0.03, count).clip(0.85, 1.15)
        along = np.cumsum(step) - step / 2
        x, y = run.start[:, None] + heading[:, None] * along
        standing = true_yield(x, y, field.bu_ac) * rng.normal(1, 0.045, count)
        moisture = 17.5 + 1.6 * np.sin(x / 400) + rng.normal(0, 0.35, count)
        # dry bushels per acre on the ground truly cut -> wet pounds a second through the machine
        acres = step * SWATH_M * run.share / 4046.8564224
        flow = standing * acres * 56 * 0.845 / (1 - moisture / 100) / RECORD_S
        flow = np.concatenate([np.zeros(DELAY_RECORDS), flow])[:count]  # grain arrives late
        if count > 6:
            flow[DELAY_RECORDS : DELAY_RECORDS + 2] *= (0.45, 0.8)  # the machine fills
        if field.combine == "B":
            flow *= 1.05  # this combine's sensor reads high
        lon, lat = _to_lonlat.transform(x + EAST + rng.normal(0, 0.15, count), y + NORTH)
        height = ground(x, y) + rng.normal(0, 0.35) + rng.normal(0, 0.08, count)
        for i in range(count):
            clock += RECORD_S
            records.append([
                f"{lon[i]:.7f}", f"{lat[i]:.7f}", f"{flow[i] * fault(rng):.2f}",
                f"{moisture[i] if rng.random() > 0.002 else 4.0:.1f}", f"{step[i] * FT:.1f}", "40",
                f"{RECORD_S:.0f}", f"{clock:.0f}", f"{height[i] * FT:.1f}", field.combine, "down",
            ])  # fmt: skip
        for turn in range(4):  # header up on the headland, no grain
            clock += RECORD_S
            lon, lat = _to_lonlat.transform(*(run.end - heading * 3 * (turn + 1) + (3.0, 0) + (EAST, NORTH)))
            height_ft = float(ground(*run.end)) * FT
            records.append([
                f"{lon:.7f}", f"{lat:.7f}", "0.00", "17.0", "9.8", "40", f"{RECORD_S:.0f}",
                f"{clock:.0f}", f"{height_ft:.1f}", field.combine, "up",
            ])  # fmt: skip
    return records, clock + 3600


def fault(rng: np.random.Generator) -> float:
    """Return the factor by which a record's flow is off: now and then a surge or a plug."""
    chance = rng.random()
    if chance < 0.0015:
        return float(rng.uniform(2.5, 5))
    return float(rng.uniform(0, 0.2)) if chance < 0.004 else 1.0


def write_yield_points(folder: Path) -> None:
    """Write the records of both combines as one text table."""
    rng = np.random.default_rng(SEED + 1)
    header = [
        "lon",
        "lat",
        "grain_lb_s",
        "moist_pct",
        "dist_ft",
        "width_ft",
        "sec",
        "clock_s",
        "alt_ft",
        "combine",
        "head",
    ]
    clock = 0.0
    with (folder / "yield_points.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        for field in fields():
            records, clock = combine_records(field, rng, clock)
            repeated = rng.integers(0, len(records), 6)
            writer.writerows(records + [records[i] for i in repeated])


def write_weather(folder: Path) -> None:
    """Write thirty made-up autumns, 1 September to 15 December: rain in spells, cooler as autumn goes on."""
    with (folder / "weather.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["day", "rain_in", "high_f", "low_f"])
        for year in WEATHER_YEARS:
            writer.writerows(autumn(year, np.random.default_rng([SEED, year])))


def autumn(year: int, rng: np.random.Generator) -> list[tuple[str, str, str, str]]:
    """Return the days of one autumn: date, rain in inches, highest and lowest temperature in degrees F."""
    rows, raining, warmer_c = [], False, 0.0
    year_c, wet_share = rng.normal(0, 1.2), rng.uniform(0.11, 0.22)  # warm and cold, dry and wet years
    for k in range(106):
        day = date(year, 9, 1) + timedelta(days=k)
        raining = rng.random() < (0.42 if raining else wet_share)
        warmer_c = 0.7 * warmer_c + rng.normal(0, 2.5)
        mean_c = 21.0 - 0.215 * k + year_c + warmer_c - 1.5 * raining
        half_c = max(1.5, rng.normal(3.2 if raining else 6.8, 1.0))
        rain_mm = rng.exponential(7.5) + 0.3 if raining else 0.0
        high_f, low_f = (32 + 1.8 * (mean_c + side * half_c) for side in (1, -1))
        rows.append((day.isoformat(), f"{rain_mm / 25.4:.2f}", f"{high_f:.0f}", f"{low_f:.0f}"))
    return rows


def main(folder: Path = HERE) -> None:
    """Write every layer into a folder."""
    write_geojson(folder, "fields", [feature(f.shape, {"name": f.name}) for f in fields()])
    write_geojson(folder, "soils", soils())
    for name, features in surroundings().items():
        write_geojson(folder, name, features)
    write_elevation(folder)
    write_yield_points(folder)
    write_weather(folder)


if __name__ == "__main__":
    main()
