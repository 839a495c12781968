"""What the terrain package needs of a raster, and how it returns one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import rioxarray  # noqa: F401  registers the .rio accessor
import xarray as xr
from pyproj import CRS, Proj, Transformer

from stovergeo.core.errors import ContractError
from stovergeo.core.stack import variable


@dataclass(frozen=True, slots=True)
class Raster:
    """A checked grid of heights: row 0 in the north, column 0 in the west, meters all over."""

    like: xr.DataArray  #: carries coordinates and CRS for the results
    dx: float  #: cell width, m
    dy: float  #: cell height, m
    west: float  #: outer edge, m
    north: float  #: outer edge, m
    crs: CRS | None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.like.sizes["y"], self.like.sizes["x"]

    def heights(self) -> np.ndarray:
        """Return the values as float32 with NaN where nothing is known (copied only when needed)."""
        return as_heights(self.like)

    def dataset(self, **values: np.ndarray) -> xr.Dataset:
        """Return results as a dataset on this grid, each with its unit and meaning from the stack's table."""
        out = xr.Dataset(coords={"y": self.like["y"], "x": self.like["x"]})
        if self.crs is not None:
            out = out.rio.write_crs(self.crs.to_wkt())  # before the values come in: it copies what is there
        for name, data in values.items():
            kind = variable(name)
            out[name] = (("y", "x"), data, {"units": kind.unit, "long_name": kind.long_name})
        return out


def as_heights(array: xr.DataArray) -> np.ndarray:
    """Return a raster's values as C-ordered float32, infinite heights and a declared no-data value as NaN."""
    data = np.ascontiguousarray(array.values, dtype=np.float32)
    nodata = array.rio.nodata
    bad = np.isinf(data)
    if nodata is not None and np.isfinite(nodata):
        bad |= data == np.float32(nodata)
    return np.where(bad, np.float32(np.nan), data) if bad.any() else data


def checked(array: xr.DataArray, who: str) -> Raster:
    """Check that a raster is a plain grid of meters, north up, and return what the kernels need of it.

    Parameters
    ----------
    array : xarray.DataArray, dims (y, x)
        Heights in meters. Without a CRS, x and y are taken as meters.
    who : str
        Named in the message when something is wrong.

    Raises
    ------
    ContractError
        For other dims, degrees or feet, a rotated or south-up grid, uneven spacing, fewer than 3 x 3 cells.
        The reader of layers mends all of these; a caller who brings own arrays does it with rioxarray.
    """
    if not isinstance(array, xr.DataArray) or array.dims != ("y", "x"):
        raise ContractError(
            f"{who} reads a DataArray with dims (y, x), not {getattr(array, 'dims', type(array).__name__)}"
        )
    if min(array.shape) < 3:
        raise ContractError(f"{who} reads a grid of at least 3 x 3 cells, not {array.shape}")
    unit = array.attrs.get("units", "m")
    if unit not in ("m", "metre", "meter", "metres", "meters"):
        raise ContractError(f"{who} reads heights in meters, but they are in {unit!r}; multiply them by the unit first")
    crs = None if array.rio.crs is None else CRS.from_user_input(array.rio.crs.to_wkt())
    if crs is not None and (not crs.is_projected or any(a.unit_conversion_factor != 1 for a in crs.axis_info[:2])):
        raise ContractError(f"{who} reads a projected grid in meters, but its CRS is {crs.name!r}; reproject it first")
    if _rotated(array):
        raise ContractError(f"{who} reads a north-up grid, but it is rotated; warp it first")
    x, y = (np.asarray(array[d].values, dtype=float) for d in ("x", "y"))
    dx, dy = (x[-1] - x[0]) / (len(x) - 1), (y[0] - y[-1]) / (len(y) - 1)
    if not (dx > 0 and dy > 0):
        raise ContractError(f"{who} reads rows from north to south and columns from west to east; sort the grid first")
    if not (np.allclose(np.diff(x), dx, rtol=1e-3) and np.allclose(-np.diff(y), dy, rtol=1e-3)):
        raise ContractError(f"{who} reads evenly spaced cells, but their spacing varies")
    return Raster(array, dx, dy, x[0] - dx / 2, y[0] + dy / 2, crs)


def _rotated(array: xr.DataArray) -> bool:
    if "x" not in array.coords or "y" not in array.coords or array["x"].dims != ("x",) or array["y"].dims != ("y",):
        return True  # a rotated grid has no coordinates of its own for rows and columns
    mapping = array.coords.get(array.rio.grid_mapping)
    terms = "" if mapping is None else mapping.attrs.get("GeoTransform", "")
    return bool(terms) and any(float(terms.split()[n]) != 0 for n in (2, 4))


def same_grid(raster: Raster, other: xr.DataArray, who: str) -> None:
    """Check that another raster stands on the same cells.

    Raises
    ------
    ContractError
        When it does not.
    """
    theirs = checked(other, who)
    if theirs.shape != raster.shape or not np.allclose(
        (theirs.west, theirs.north, theirs.dx, theirs.dy), (raster.west, raster.north, raster.dx, raster.dy), atol=1e-6
    ):
        raise ContractError(f"{who} reads rasters on one grid, but these differ in place or size")


def north_turn_deg(raster: Raster) -> float:
    """Return the angle from true north to grid north at the middle of the grid, clockwise, degrees.

    Solar azimuths count from true north, sweep directions from grid north. Zero without a CRS.
    """
    if raster.crs is None:
        return 0.0
    rows, cols = raster.shape
    middle = raster.west + raster.dx * cols / 2, raster.north - raster.dy * rows / 2
    lon, lat = Transformer.from_crs(raster.crs, raster.crs.geodetic_crs, always_xy=True).transform(*middle)
    return float(Proj(raster.crs).get_factors(lon, lat).meridian_convergence)
