"""Errors of recording in numbers and columns: another unit, a column lost, a value that is none."""

from __future__ import annotations

import numpy as np
import pandas as pd
from changed_input import MEASURES, POINTS, SOIL_NUMBERS, Farm, change

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
