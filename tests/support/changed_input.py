"""Single errors of recording made in the sample farm's layers: units, CRS, columns, values, geometry, encoding.

What would be another sound farm (a field fewer, a smaller tree, yields two per cent lower) is no error that anyone
could see, and is not among them.
"""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely

POINTS, GROUND = "yield_points.csv", "elevation.tif"
OUTLINES = ("fields", "property", "soils", "trees", "buildings")
VECTORS = (*OUTLINES, "dwellings", "roads", "gates", "wells", "water", "overhead_lines")
#: those that decide what may be taken; the others only say where a stack may stand
DECIDING = ("fields", "soils")
MEASURES = ("grain_lb_s", "moist_pct", "dist_ft", "width_ft", "sec")
SOIL_NUMBERS = ("claytotal_r", "kwfact", "tfact", "wei", "wtdepannmin")


class Farm:
    """A copy of the sample farm in a folder, to be changed in one thing."""

    def __init__(self, source: Path, folder: Path, rng: np.random.Generator) -> None:
        self.folder, self.rng = folder, rng
        for path in source.iterdir():
            if path.is_file() and path.suffix != ".py":
                shutil.copy(path, folder)
        self.plan = tomllib.loads((folder / "plan.toml").read_text("utf-8"))
        self.layers = self.plan["layers"]

    def pick(self, *among: object) -> object:
        return among[int(self.rng.integers(len(among)))]

    def table(self) -> pd.DataFrame:
        return pd.read_csv(self.folder / POINTS)

    def write_table(self, table: pd.DataFrame, **options: object) -> None:
        table.to_csv(self.folder / POINTS, index=False, **options)

    def scale(self, column: str, factor: float, share: float = 1.0) -> str:
        table = self.table()
        rows = self.rng.random(len(table)) < share
        table[column] = table[column].astype(float).where(~rows, table[column] * factor).round(6)
        self.write_table(table)
        return f"points: {column} times {factor:g} on {share:.0%}"

    def vector(self, name: str) -> gpd.GeoDataFrame:
        return gpd.read_file(self.folder / f"{name}.geojson")

    def write_vector(self, name: str, frame: gpd.GeoDataFrame) -> None:
        path = self.folder / f"{name}.gpkg"
        frame.to_file(path)
        self.layers[name]["path"] = path.name

    def ground(self) -> tuple[np.ndarray, dict]:
        with rasterio.open(self.folder / GROUND) as file:
            return file.read(1), file.profile | {"unit": file.units[0]}

    def write_ground(self, values: np.ndarray, profile: dict) -> None:
        (self.folder / GROUND).unlink()
        profile = dict(profile)
        unit = profile.pop("unit")
        with rasterio.open(self.folder / GROUND, "w", **profile) as file:
            file.write(values, 1)
            if unit:
                file.set_band_unit(1, unit)

    def some_rows(self, count: int, share: float) -> np.ndarray:
        """Return row numbers: some strewn about, or a run of neighbours."""
        wanted = max(1, int(share * count))
        if self.rng.random() < 0.5:
            start = int(self.rng.integers(max(count - wanted, 1)))
            return np.arange(start, min(start + wanted, count))
        return self.rng.choice(count, wanted, replace=False)


CHANGES: dict[str, list[Callable[[Farm], str]]] = {}


def change(kind: str) -> Callable:
    def keep(make: Callable[[Farm], str]) -> Callable[[Farm], str]:
        CHANGES.setdefault(kind, []).append(make)
        return make

    return keep


def change_one_thing(source: Path, folder: Path, number: int) -> tuple[Farm, str]:
    """Copy the sample farm into a folder and make the change of this number; return it and what was changed."""
    rng = np.random.default_rng(number)
    farm = Farm(source, folder, rng)
    kind = list(CHANGES)[int(rng.integers(len(CHANGES)))]
    makers = CHANGES[kind]
    return farm, f"{kind}: {makers[int(rng.integers(len(makers)))](farm)}"


# ---------------------------------------------------------------- units


@change("units")
def another_unit_in_a_column(farm: Farm) -> str:
    column = farm.pick(*MEASURES)
    factors = {"grain_lb_s": (0.453592, 2.20462), "moist_pct": (0.01, 100), "dist_ft": (0.3048, 12, 3.28084)}
    factors |= {"width_ft": (0.3048, 12, 3.28084, 30.48), "sec": (1000, 1 / 60)}
    return farm.scale(column, farm.pick(*factors[column]))


@change("units")
def another_unit_in_part_of_a_column(farm: Farm) -> str:
    column = farm.pick("grain_lb_s", "moist_pct", "dist_ft", "width_ft")
    factor = {"grain_lb_s": 0.453592, "moist_pct": 0.01, "dist_ft": 0.3048, "width_ft": 0.3048}[column]
    table = farm.table()
    rows = farm.some_rows(len(table), farm.pick(0.1, 0.3, 0.5))
    table[column] = table[column].astype(float)
    table.loc[rows, column] = (table.loc[rows, column] * factor).round(6)
    farm.write_table(table)
    return f"points: {column} times {factor} on {len(rows)} rows"


@change("units")
def another_unit_declared(farm: Farm) -> str:
    units = farm.layers["yield_points"]["units"]
    role = farm.pick("flow", "moisture", "distance", "swath", "seconds", "time", "height")
    other = {"flow": "kg/s", "moisture": "fraction", "distance": "m", "swath": "m", "seconds": "ms", "time": "unix s"}
    units[role] = other.get(role, "m")
    return f"plan: {role} declared in {units[role]}"


@change("units")
def a_unit_left_out(farm: Farm) -> str:
    role = farm.pick("flow", "moisture", "distance", "swath", "seconds", "height")
    del farm.layers["yield_points"]["units"][role]
    return f"plan: no unit for {role}"


@change("units")
def heights_in_another_unit(farm: Farm) -> str:
    values, profile = farm.ground()
    how = farm.pick("feet in the file", "no unit", "unit says feet", "plan says feet", "decimetres")
    if how in ("feet in the file", "decimetres"):
        values = np.where(values > -9000, values * (3.28084 if how == "feet in the file" else 10), values)
    farm.write_ground(values, profile | {"unit": {"no unit": "", "unit says feet": "ft"}.get(how, profile["unit"])})
    if how == "plan says feet":
        farm.layers["elevation"]["vertical_unit"] = "ft"
    return f"elevation: {how}"


@change("units")
def soils_in_another_unit(farm: Farm) -> str:
    column = farm.pick("claytotal_r", "kwfact", "tfact", "wei")
    factor = {"claytotal_r": farm.pick(0.01, 10), "kwfact": 0.1317, "tfact": 2.2417, "wei": 2.2417}[column]
    soils = farm.vector("soils")
    soils[column] = soils[column].astype(float) * factor
    farm.write_vector("soils", soils)
    return f"soils: {column} times {factor}"


# ---------------------------------------------------------------- CRS


@change("crs")
def no_crs(farm: Farm) -> str:
    name = farm.pick(*VECTORS)
    frame = farm.vector(name).to_crs(farm.pick(4326, 32615))
    farm.write_vector(name, frame.set_crs(None, allow_override=True))
    return f"{name}: no CRS"


@change("crs")
def a_wrong_label(farm: Farm) -> str:
    name = farm.pick(*VECTORS)
    true, said = farm.pick((32615, 32614), (32615, 32616), (32615, 4326), (4326, 32615), (32615, 3857), (32615, 2264))
    farm.write_vector(name, farm.vector(name).to_crs(true).set_crs(said, allow_override=True))
    return f"{name}: {true} labelled {said}"


@change("crs")
def a_sound_other_crs(farm: Farm) -> str:
    name, crs = farm.pick(*VECTORS), farm.pick(3857, 32614, 26915, 5070, 4269, 2264, 26975)
    farm.write_vector(name, farm.vector(name).to_crs(crs))
    return f"{name}: kept in EPSG:{crs}"


@change("crs")
def north_before_east(farm: Farm) -> str:
    name = farm.pick(*VECTORS)
    frame = farm.vector(name).to_crs(farm.pick(4326, 32615))
    turned = shapely.transform(frame.geometry.to_numpy(), lambda xy: xy[:, ::-1])
    farm.write_vector(name, frame.set_geometry(turned, crs=frame.crs))
    return f"{name}: north before east"


@change("crs")
def points_misplaced(farm: Farm) -> str:
    table = farm.table()
    how = farm.pick("swapped", "west without its sign", "metres", "another hemisphere", "a degree off", "no CRS")
    if how == "swapped":
        table = table.rename(columns={"lon": "lat", "lat": "lon"})
    elif how == "west without its sign":
        table["lon"] = -table["lon"]
    elif how == "metres":
        there = gpd.GeoSeries(gpd.points_from_xy(table["lon"], table["lat"]), crs=4326).to_crs(32615)
        table["lon"], table["lat"] = there.x, there.y
    elif how == "another hemisphere":
        table["lat"] = -table["lat"]
    elif how == "a degree off":
        table["lon"] += 1
    else:
        del farm.layers["yield_points"]["crs"]
    farm.write_table(table)
    return f"points: {how}"


@change("crs")
def ground_misplaced(farm: Farm) -> str:
    values, profile = farm.ground()
    crs = farm.pick(None, 32614, 32616, 4326, 3857, 26915)
    farm.write_ground(values, profile | {"crs": crs})
    return f"elevation: labelled {crs}"


# ---------------------------------------------------------------- columns


@change("columns")
def a_column_lost_or_renamed(farm: Farm) -> str:
    table = farm.table()
    column = farm.pick("lon", "lat", *MEASURES, "clock_s", "alt_ft", "combine", "head")
    new = farm.pick(None, column.upper(), f"{column} ", f"{column}.1", "x")
    farm.write_table(table.drop(columns=column) if new is None else table.rename(columns={column: new}))
    return f"points: {column} now {new!r}"


@change("columns")
def two_columns_swapped(farm: Farm) -> str:
    table = farm.table()
    one, two = farm.rng.choice([*MEASURES, "alt_ft", "clock_s"], 2, replace=False)
    farm.write_table(table.rename(columns={one: two, two: one}))
    return f"points: {one} and {two} swapped"


@change("columns")
def a_name_twice(farm: Farm) -> str:
    path = farm.folder / POINTS
    one, two = farm.rng.choice(list(MEASURES), 2, replace=False)
    text = path.read_text("utf-8")
    path.write_text(text.replace(str(one), str(two), 1), "utf-8")
    return f"points: {one} is named {two} too"


@change("columns")
def the_columns_in_another_order(farm: Farm) -> str:
    table = farm.table()
    farm.write_table(table[list(farm.rng.permutation(table.columns))])
    return "points: columns in another order"


@change("columns")
def a_column_moved_by_rows(farm: Farm) -> str:
    table = farm.table()
    column, by = farm.pick("grain_lb_s", "moist_pct"), int(farm.pick(5, 40))
    table[column] = table[column].shift(by)
    farm.write_table(table)
    return f"points: {column} moved by {by} rows"


@change("columns")
def a_soil_column_lost(farm: Farm) -> str:
    soils = farm.vector("soils")
    column = farm.pick(*[c for c in soils.columns if c not in ("geometry", "muname", "musym")])
    farm.write_vector("soils", soils.drop(columns=column))
    return f"soils: no {column}"


# ---------------------------------------------------------------- values


@change("values")
def wrong_values_in_a_column(farm: Farm) -> str:
    table = farm.table()
    column = farm.pick(*MEASURES)
    rows = farm.some_rows(len(table), farm.pick(0.02, 0.1, 0.4, 1.0))
    value = farm.pick(np.nan, 0, -1, -9999, 1e6, "n/a", "#REF!", "1e400")
    table[column] = table[column].astype(object)
    table.loc[rows, column] = value
    farm.write_table(table)
    return f"points: {column} is {value} on {len(rows)} rows"


@change("values")
def a_stuck_sensor(farm: Farm) -> str:
    table = farm.table()
    column = farm.pick("grain_lb_s", "moist_pct", "dist_ft")
    start = int(farm.rng.integers(len(table) // 2))
    rows = np.arange(start, start + int(farm.pick(3000, 12000)))
    table.loc[rows, column] = table[column].iloc[start]
    farm.write_table(table)
    return f"points: {column} stuck on {len(rows)} rows from {start}"


@change("values")
def outliers(farm: Farm) -> str:
    return farm.scale(farm.pick("grain_lb_s", "moist_pct", "dist_ft", "width_ft"), farm.pick(5, 20), 0.01)


@change("values")
def rows_doubled(farm: Farm) -> str:
    table = farm.table()
    rows = farm.some_rows(len(table), farm.pick(0.05, 0.3, 1.0))
    farm.write_table(pd.concat([table, table.iloc[rows]]))
    return f"points: {len(rows)} rows twice"


@change("values")
def gaps_in_the_ground(farm: Farm) -> str:
    values, profile = farm.ground()
    value = farm.pick(-9999.0, 0.0, -32768.0, 3.4e38, 9999.0)
    r, c, size = (int(farm.rng.integers(n)) for n in (350, 450, 100))
    values[r : r + size + 5, c : c + size + 5] = value
    farm.write_ground(values, profile | ({"nodata": None} if value == -9999.0 else {}))
    return f"elevation: {value:g} on {size + 5} by {size + 5} cells"


@change("values")
def wrong_soil_values(farm: Farm) -> str:
    soils = farm.vector("soils")
    column = farm.pick(*SOIL_NUMBERS, "drainagecl", "hydgrp", "flodfreqcl")
    value = farm.pick(None, "-9999", "unknown", "?")
    soils[column] = soils[column].astype(object)
    soils.loc[farm.some_rows(len(soils), farm.pick(0.2, 1.0)), column] = value
    farm.write_vector("soils", soils)
    return f"soils: {column} is {value}"


# ---------------------------------------------------------------- geometry


@change("geometry")
def rings_that_cross(farm: Farm) -> str:
    name = farm.pick(*OUTLINES)
    frame = farm.vector(name)
    row = int(farm.rng.integers(len(frame)))
    ring = list(frame.geometry.iloc[row].exterior.coords)[:-1]
    i = int(farm.rng.integers(len(ring) - 1))
    ring[i], ring[i + 1] = ring[i + 1], ring[i]
    shapes = frame.geometry.to_list()
    shapes[row] = shapely.Polygon(ring)
    farm.write_vector(name, frame.set_geometry(shapes, crs=4326))
    return f"{name}: corners {i} and {i + 1} of row {row} swapped"


@change("geometry")
def a_row_without_a_place(farm: Farm) -> str:
    name = farm.pick(*VECTORS)
    frame = farm.vector(name)
    shapes = frame.geometry.to_list()
    row = int(farm.rng.integers(len(shapes)))
    shapes[row] = farm.pick(None, shapely.Polygon())
    farm.write_vector(name, frame.set_geometry(shapes, crs=4326))
    return f"{name}: row {row} has no place"


@change("geometry")
def a_row_twice(farm: Farm) -> str:
    name = farm.pick(*VECTORS)
    frame = farm.vector(name)
    row = int(farm.rng.integers(len(frame)))
    farm.write_vector(name, pd.concat([frame, frame.iloc[[row]]], ignore_index=True))
    return f"{name}: row {row} twice"


@change("geometry")
def a_layer_moved(farm: Farm) -> str:
    name = farm.pick("fields", "soils", "property")
    frame = farm.vector(name).to_crs(32615)
    by = float(farm.pick(300, 2000, 100_000))
    farm.write_vector(name, frame.set_geometry(frame.translate(by, 0), crs=32615))
    return f"{name}: moved {by:g} m"


@change("geometry")
def another_form_of_the_same(farm: Farm) -> str:
    name = farm.pick(*OUTLINES)
    frame = farm.vector(name)
    how = farm.pick("reversed", "3d", "dense", "multi", "collection", "doubled corners")
    make = {
        "reversed": shapely.reverse,
        "3d": lambda g: shapely.force_3d(g, 300.0),
        "dense": lambda g: shapely.segmentize(g, 1e-5),
        "multi": lambda g: shapely.MultiPolygon(shapely.get_parts(g).tolist()),
        "collection": lambda g: shapely.GeometryCollection([g]),
        "doubled corners": lambda g: shapely.Polygon(np.repeat(shapely.get_coordinates(g), 2, axis=0)),
    }[how]
    farm.write_vector(name, frame.set_geometry([make(g) for g in frame.geometry], crs=4326))
    return f"{name}: {how}"


@change("geometry")
def a_spike(farm: Farm) -> str:
    name = farm.pick("fields", "soils", "property")
    frame = farm.vector(name)
    row = int(farm.rng.integers(len(frame)))
    ring = list(frame.geometry.iloc[row].exterior.coords)
    ring[1:1] = [(ring[0][0] + 0.01, ring[0][1] + 0.01), ring[0]]
    shapes = frame.geometry.to_list()
    shapes[row] = shapely.Polygon(ring)
    farm.write_vector(name, frame.set_geometry(shapes, crs=4326))
    return f"{name}: a spike on row {row}"


@change("geometry")
def points_in_another_order(farm: Farm) -> str:
    table = farm.table()
    how = farm.pick("shuffled", "reversed", "sorted by place")
    if how == "shuffled":
        table = table.sample(frac=1, random_state=int(farm.rng.integers(1000)))
    elif how == "reversed":
        table = table.iloc[::-1]
    else:
        table = table.sort_values(["lat", "lon"])
    farm.write_table(table)
    return f"points: {how}"


@change("geometry")
def points_lost_or_coarse(farm: Farm) -> str:
    table = farm.table()
    how = farm.pick("places to 3 decimals", "places to 4 decimals", "first half only", "every tenth", "wrong field")
    if how.startswith("places"):
        decimals = int(how.split()[2])
        table["lon"], table["lat"] = table["lon"].round(decimals), table["lat"].round(decimals)
    elif how == "first half only":
        table = table.iloc[: len(table) // 2]
    elif how == "every tenth":
        table = table.iloc[::10]
    else:
        table["lon"] += 0.012
    farm.write_table(table)
    return f"points: {how}"


@change("geometry")
def ground_turned_or_cut(farm: Farm) -> str:
    values, profile = farm.ground()
    how = farm.pick(
        "upside down", "mirrored", "half of it", "coarse", "whole metres", "south up, said so", "moved 400 m"
    )
    t = profile["transform"]
    if how == "upside down":
        values = values[::-1]
    elif how == "mirrored":
        values = values[:, ::-1]
    elif how == "half of it":
        values = values[:, : values.shape[1] // 2]
    elif how == "coarse":
        values, t = values[::40, ::40], t * t.scale(40)
    elif how == "whole metres":
        values = np.round(values)
    elif how == "south up, said so":
        values, t = values[::-1], t * t.translation(0, values.shape[0]) * t.scale(1, -1)
    else:
        t = t.translation(400, 0) * t
    shape = {"height": values.shape[0], "width": values.shape[1], "transform": t}
    farm.write_ground(np.ascontiguousarray(values), profile | shape | {"blockysize": 1})
    return f"elevation: {how}"


# ---------------------------------------------------------------- encoding


@change("encoding")
def a_table_from_another_program(farm: Farm) -> str:
    table = farm.table()
    how = farm.pick(
        "utf-16", "bom", "cp1252", "semicolons", "tabs", "decimal commas", "quotes", "crlf", "sep=", "units row"
    )
    path = farm.folder / POINTS
    if how == "semicolons":
        farm.write_table(table, sep=";")
    elif how == "tabs":
        farm.write_table(table, sep="\t")
    elif how == "decimal commas":
        farm.write_table(table, sep=";", decimal=",")
    elif how == "quotes":
        farm.write_table(table, quoting=1)
    elif how == "crlf":
        farm.write_table(table, lineterminator="\r\n")
    elif how in ("sep=", "units row"):
        lines = path.read_text("utf-8").splitlines()
        lines.insert(0, "sep=,") if how == "sep=" else lines.insert(1, "deg,deg,lb/s,%,ft,ft,s,s,ft,,")
        path.write_text("\n".join(lines), "utf-8")
    else:
        text = path.read_text("utf-8").replace(",A,", ",Caf\u00e9 A,")
        path.write_bytes(text.encode({"bom": "utf-8-sig"}.get(how, how)))
    return f"points: {how}"


@change("encoding")
def a_damaged_table(farm: Farm) -> str:
    path = farm.folder / POINTS
    data = path.read_bytes()
    how = farm.pick("cut", "nulls", "bytes", "names lost", "words between")
    place = int(farm.rng.integers(len(data) // 4, len(data)))
    if how == "cut":
        data = data[:place]
    elif how == "nulls":
        data = data[:place] + b"\0" * 5000 + data[place + 5000 :]
    elif how == "bytes":
        changed = bytearray(data)
        for at in farm.rng.integers(200, len(data), 2000):
            changed[at] = int(farm.rng.integers(256))
        data = bytes(changed)
    elif how == "names lost":
        data = data.split(b"\n", 1)[1]
    else:
        data = data[:place] + b"\nexported by a program, page 2\n" + data[place:]
    path.write_bytes(data)
    return f"points: {how}"


@change("encoding")
def a_damaged_layer(farm: Farm) -> str:
    name = farm.pick("fields", "soils", "property", "water")
    path = farm.folder / f"{name}.geojson"
    data = path.read_bytes()
    how = farm.pick("cut", "utf-16", "latin-1", "a byte")
    if how == "cut":
        data = data[: int(farm.rng.integers(len(data)))]
    elif how == "a byte":
        at = int(farm.rng.integers(len(data)))
        data = data[:at] + bytes([int(farm.rng.integers(256))]) + data[at + 1 :]
    else:
        data = data.decode("utf-8").replace("loam", "l\u00f6am").encode(how)
    path.write_bytes(data)
    return f"{name}: {how}"


@change("encoding")
def a_damaged_raster(farm: Farm) -> str:
    path = farm.folder / GROUND
    data = path.read_bytes()
    how = farm.pick("cut", "bytes")
    if how == "cut":
        data = data[: int(farm.rng.integers(200, len(data)))]
    else:
        changed = bytearray(data)
        for at in farm.rng.integers(5000, len(data), 20):
            changed[at] = int(farm.rng.integers(256))
        data = bytes(changed)
    path.write_bytes(data)
    return f"elevation: {how}"
