"""Errors of recording in places and bytes: another CRS, an outline that crosses itself, a file cut off."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from changed_input import GROUND, OUTLINES, POINTS, VECTORS, Farm, change

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
    return f"{name}: {true} labeled {said}"


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
    how = farm.pick("swapped", "west without its sign", "meters", "another hemisphere", "a degree off", "no CRS")
    if how == "swapped":
        table = table.rename(columns={"lon": "lat", "lat": "lon"})
    elif how == "west without its sign":
        table["lon"] = -table["lon"]
    elif how == "meters":
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
    return f"elevation: labeled {crs}"


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
        "upside down", "mirrored", "half of it", "coarse", "whole meters", "south up, said so", "moved 400 m"
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
    elif how == "whole meters":
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
