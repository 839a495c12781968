"""Farms on real terrain: windows of the elevation model that matplotlib ships, laid down at other places on earth.

The model is public (a fault in Tennessee, three seconds of arc; `jacksboro_fault_dem.npz` among matplotlib's sample
data). Its windows are taken as they are, made finer by splines; where they lie on earth, the fields, crops and what a
grower holds there are rules of our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import geopandas as gpd
import matplotlib.cbook
import numpy as np
import rasterio
import shapely
from pyproj import CRS, Geod, Transformer
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter, zoom

from stovergeo.inputs.crs import working_crs

CELL_M = 10.0
#: cells of the model in a window, and the mean slopes between which a farm may lie
_WINDOW, _FACTOR = 16, 9
_SLOPES = (0.02, 0.06)
_SPACING_M = 90.0  #: what a cell of the model measures from south to north
GEOD = Geod(ellps="WGS84")


@cache
def _windows() -> list[np.ndarray]:
    """Return windows of the model that corn could grow on, in the order of their mean slope."""
    model = np.load(matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))["elevation"]
    found = []
    for row in range(0, model.shape[0] - _WINDOW, _WINDOW):
        for column in range(0, model.shape[1] - _WINDOW, _WINDOW):
            window = gaussian_filter(model[row : row + _WINDOW, column : column + _WINDOW].astype(float), 1.0)
            slope = float(np.hypot(*np.gradient(window, _SPACING_M)).mean())
            if _SLOPES[0] < slope < _SLOPES[1]:
                found.append((slope, window))
    return [window for _, window in sorted(found, key=lambda pair: pair[0])]


@dataclass(frozen=True)
class Ground:
    """Heights and two fields of a farm, in the UTM zone of its place."""

    crs: CRS
    west: float
    north: float
    height_m: np.ndarray
    fields: gpd.GeoDataFrame

    @property
    def area_ha(self) -> np.ndarray:
        """Area of each field on the ellipsoid."""
        shapes = self.fields.to_crs(4326).geometry
        return np.array([abs(GEOD.geometry_area_perimeter(shape)[0]) / 1e4 for shape in shapes])

    @property
    def slope_pct(self) -> np.ndarray:
        """Slope by central differences."""
        return 100 * np.hypot(*np.gradient(self.height_m, CELL_M))

    @property
    def falls_north(self) -> np.ndarray:
        """Part of the slope that falls to the north, m/m."""
        return np.gradient(self.height_m, CELL_M, axis=0)

    @property
    def centers(self) -> tuple[np.ndarray, np.ndarray]:
        rows, columns = self.height_m.shape
        x = self.west + (np.arange(columns) + 0.5) * CELL_M
        y = self.north - (np.arange(rows) + 0.5) * CELL_M
        return np.meshgrid(x, y)

    def inside(self, number: int) -> np.ndarray:
        """Cells whose middle lies in a field."""
        return shapely.contains_xy(self.fields.geometry.iloc[number], *self.centers)

    def write(self, path: Path, values: np.ndarray, rows: slice = slice(None), columns: slice = slice(None)) -> None:
        """Write a raster, or a part of it."""
        part = values[rows, columns].astype(np.float32)
        corner = from_origin(
            self.west + CELL_M * (columns.start or 0), self.north - CELL_M * (rows.start or 0), CELL_M, CELL_M
        )
        profile = {"driver": "GTiff", "width": part.shape[1], "height": part.shape[0], "count": 1, "dtype": "float32"}
        with rasterio.open(path, "w", crs=self.crs, transform=corner, nodata=np.nan, **profile) as out:
            out.write(part, 1)


def ground_at(latitude: float, longitude: float, number: int) -> Ground:
    """Return the ground of a farm: a window of the model at a place, with two fields on it."""
    height = zoom(_windows()[number], _FACTOR, order=3)
    crs = working_crs(longitude, latitude)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    west, north = round(x, -1), round(y, -1)
    east, south = west + CELL_M * height.shape[1], north - CELL_M * height.shape[0]
    middle = (west + east) / 2
    shapes = [
        shapely.Polygon([(west + 150, south + 180), (middle - 20, south + 150), (middle - 20, north - 160),
                         (west + 260, north - 150)]),
        shapely.box(middle + 20, south + 150, east - 150, north - 300),
    ]  # fmt: skip
    return Ground(crs, west, north, height, gpd.GeoDataFrame({"name": ["Upper", "Creek"]}, geometry=shapes, crs=crs))
