"""Made-up ground for the siting tests: ideal everywhere, until a test spoils a part of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
import xarray as xr
from affine import Affine
from odc.geo.geobox import GeoBox

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.stack import new_stack, put
from stovergeo.inputs.plan.gather import Bale
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting import FoundYards, GroundRatings, find_yards, rate_ground

WEST, SOUTH, CRS = 500_000.0, 4_650_000.0, "EPSG:32615"
IDEAL = {
    "slope_pct": 3.0,
    "aspect_deg": 180.0,
    "ponding_m": 0.0,
    "wetness": 6.0,
    "drainage_height_m": 5.0,
    "concentrated_flow": 0.0,
    "sun_fraction": 1.0,
    "inside_property": 1.0,
    "drainage_class": 3.0,
    "clay_pct": 20.0,
    "water_table_cm": 200.0,
    "flooding_class": 0.0,
    "ponding_class": 0.0,
    "hydric": 0.0,
}
LAYERS = ("property", "trees", "buildings", "dwellings", "roads", "gates", "wells", "water", "overhead_lines")


@dataclass
class Ground:
    """A square of ground; x and y are meters from its south-west corner."""

    cells: int = 120
    cell_m: float = 5.0
    plan: dict[str, Any] = field(default_factory=dict)
    bale: Bale = field(default_factory=Bale)
    shapes: dict[str, list[tuple[Any, dict[str, Any]]]] = field(default_factory=dict)
    changes: dict[str, np.ndarray] = field(default_factory=dict)
    without: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        at = (np.arange(self.cells) + 0.5) * self.cell_m
        self.x, self.y = np.meshgrid(at, at[::-1])
        self.side = self.cells * self.cell_m

    def spoil(self, name: str, where: np.ndarray, value: float) -> Ground:
        """Set a variable on a part of the ground."""
        array = self.changes.setdefault(name, np.full(self.x.shape, IDEAL.get(name, np.nan)))
        array[where] = value
        return self

    def add(self, layer: str, shape: Any, **columns: Any) -> Ground:
        """Put a shape on the ground."""
        moved = shapely.transform(shape, lambda c: c + np.array([WEST, SOUTH]))
        self.shapes.setdefault(layer, []).append((moved, columns))
        return self

    def stack(self) -> xr.Dataset:
        grid = GeoBox(self.x.shape, Affine(self.cell_m, 0, WEST, 0, -self.cell_m, SOUTH + self.side), CRS)
        arrays = {n: np.full(self.x.shape, v) for n, v in IDEAL.items()} | self.changes
        return put(new_stack(grid), **{n: v for n, v in arrays.items() if n not in self.without})

    def surroundings(self) -> dict[str, gpd.GeoDataFrame]:
        """All layers: those with shapes, and the others given as empty ('there is none')."""
        frames = {}
        for layer in {*LAYERS, *self.shapes}:
            shapes = self.shapes.get(layer, [])
            columns = {"name": [c.get("name", f"{layer} {k}") for k, (_, c) in enumerate(shapes)]}
            columns["height_m"] = [c.get("height_m", np.nan) for _, c in shapes]
            frames[layer] = gpd.GeoDataFrame(columns, geometry=[s for s, _ in shapes], crs=CRS)
        if not self.shapes.get("property"):
            whole = shapely.box(WEST - 100, SOUTH - 100, WEST + self.side + 100, SOUTH + self.side + 100)
            frames["property"] = gpd.GeoDataFrame({"name": ["farm"]}, geometry=[whole], crs=CRS)
        return {n: f for n, f in frames.items() if n not in self.without}

    def rate(self, report: Report | None = None) -> tuple[xr.Dataset, GroundRatings]:
        plan = Yards(**self.plan)
        return rate_ground(
            self.stack(), self.surroundings(), plan, self.bale, load_handbook(), Report() if report is None else report
        )

    def find(self, bales: int = 150) -> tuple[FoundYards, xr.Dataset, GroundRatings]:
        stack, ratings = self.rate()
        return find_yards(stack, ratings, bales, Yards(**self.plan), self.bale, load_handbook()), stack, ratings

    def local(self, shape: Any) -> Any:
        """Return a shape in meters from the south-west corner."""
        return shapely.transform(shape, lambda c: c - np.array([WEST, SOUTH]))


@pytest.fixture
def ground() -> Callable[..., Ground]:
    return Ground
