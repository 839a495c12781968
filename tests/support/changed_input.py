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
        """Return row numbers: some strewn about, or a run of neighbors."""
        wanted = max(1, int(share * count))
        if self.rng.random() < 0.5:
            start = int(self.rng.integers(max(count - wanted, 1)))
            return np.arange(start, min(start + wanted, count))
        return self.rng.choice(count, wanted, replace=False)


#: by kind, in an order that the numbers of the changes hang on
CHANGES: dict[str, list[Callable[[Farm], str]]] = {
    kind: [] for kind in ("units", "crs", "columns", "values", "geometry", "encoding")
}


def change(kind: str) -> Callable:
    def keep(make: Callable[[Farm], str]) -> Callable[[Farm], str]:
        CHANGES[kind].append(make)
        return make

    return keep


def change_one_thing(source: Path, folder: Path, number: int) -> tuple[Farm, str]:
    """Copy the sample farm into a folder and make the change of this number; return it and what was changed."""
    rng = np.random.default_rng(number)
    farm = Farm(source, folder, rng)
    kind = list(CHANGES)[int(rng.integers(len(CHANGES)))]
    makers = CHANGES[kind]
    return farm, f"{kind}: {makers[int(rng.integers(len(makers)))](farm)}"
