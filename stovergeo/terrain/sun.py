"""The season's direct sun on the ground, under terrain, trees and buildings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.stack import variable
from stovergeo.terrain.beam import Season, Sector, monthly_shares, open_beam, season, sun_sectors, take_shade
from stovergeo.terrain.gradient import gradients
from stovergeo.terrain.horizon import NOTHING, Block, Direction, horizon_tangents
from stovergeo.terrain.rasters import Raster, as_heights, checked, north_turn_deg, same_grid
from stovergeo.terrain.sweep import NO_HORIZON
from stovergeo.terrain.tiles import steepest_slopes, transposed

#: cells along the side of a block; a grid up to half as large again is done in one piece
BLOCK_CELLS = 2048
#: the machine's threads beyond this gain little: the sweep waits for memory
THREADS = 2

Window = tuple[slice, slice]


@dataclass(frozen=True, slots=True, kw_only=True)
class SunOptions:
    """Where the sun is followed, and what clouds and bare trees let through."""

    latitude: float  #: of the middle of the farm, degrees north
    longitude: float  #: degrees east
    altitude_m: float  #: above the sea
    #: share of the clear-sky beam that comes through, by calendar month (see `cloud_from_sunshine`); left out: all
    cloud: dict[int, float] | None = None
    sectors: int = 64  #: of azimuth; 64 hold shadow edges of tree lines, 16 to 32 do on open hills
    #: leaf-off: share of the beam that passes the trees, by calendar month; a month left out counts as 0
    through_trees: dict[int, float] | None = None
    without_trees: xr.DataArray | None = None  #: surface with buildings and no trees, for that share; None: the ground

    def passes(
        self, surface: xr.DataArray | None, days: Season, turn_deg: float, by_month: bool
    ) -> list[tuple[xr.DataArray | None, list[Sector]]]:
        """Return the surfaces that shade the ground, each with the beam it shades; two where bare trees pass some."""
        if self.through_trees is None:
            return [(surface, sun_sectors(days, self.sectors, turn_deg, by_month))]
        opaque = {month: 1 - self.through_trees.get(month, 0.0) for month in range(1, 13)}
        closed = monthly_shares(opaque, "through_trees")
        return [
            (surface, sun_sectors(days, self.sectors, turn_deg, by_month, closed)),
            (self.without_trees, sun_sectors(days, self.sectors, turn_deg, by_month, 1 - closed)),
        ]


def season_sun(
    surface: xr.DataArray | None,
    ground: xr.DataArray,
    start: dt.date | str,
    end: dt.date | str,
    options: SunOptions,
    *,
    by_month: bool = False,
    coefficients: Handbook | None = None,
) -> xr.Dataset:
    """Return the direct beam that reaches the ground over a season.

    Parameters
    ----------
    surface : xarray.DataArray, dims (y, x), or None
        Heights with trees and buildings, m; it shades and is never stood on. None: the bare ground alone.
    ground : xarray.DataArray, dims (y, x)
        Bare ground on the same grid, m. The sun is counted on it, at each cell's middle. A cell that the
        surface covers higher than the handbook's ``terrain.cover_m`` lies in full shade; lower cover (a crop,
        a fence, noise of a survey) counts for nothing.
    start, end : date or ISO text
        First and last day, both included.
    options : SunOptions
        Where the sun is followed, and what clouds and bare trees let through.
    by_month : bool
        Return dims (month, y, x), month as text (``2026-10``), each share against open ground in that month.
    coefficients : Handbook, optional
        Numbers ``terrain.*``; the shipped ones when left out.

    Returns
    -------
    xarray.Dataset
        ``sun_kwh_m2`` per square meter of the sloping ground, and ``sun_fraction`` of what open flat ground
        gets (above 1 on slopes that face the sun). NaN where the ground is unknown. The attribute
        ``open_flat_kwh_m2`` holds the open ground's energy.

    Notes
    -----
    Nothing beyond the grid shades it; in grids larger than one block, nothing farther than ``terrain.reach_m``.
    The sun's path and the clear-sky beam are pvlib's; how shade is found stands on the page "Terrain".

    Raises
    ------
    ContractError
        When a grid is not projected in meters or not north-up, or the grids differ.

    Examples
    --------
    A tree line 15 m high, north to south, in November: open ground far from it, shade beside it.

    >>> import numpy as np
    >>> import rioxarray
    >>> import xarray as xr
    >>> from stovergeo import season_sun
    >>> from stovergeo.terrain import SunOptions
    >>> x, y = np.arange(440_005, 440_300, 10.0), np.arange(4_650_195, 4_650_000, -10.0)
    >>> ground = xr.DataArray(np.full((20, 30), 300.0), coords={"y": y, "x": x}, dims=("y", "x")).rio.write_crs(32615)
    >>> surface = ground.where(ground.x != 440_155, 315.0)
    >>> place = SunOptions(latitude=42.0, longitude=-93.0, altitude_m=300.0)
    >>> sun = season_sun(surface, ground, "2026-11-01", "2026-11-30", place)
    >>> far, beside, below = (float(sun.sun_fraction.sel(x=east, y=4_650_105)) for east in (440_005, 440_145, 440_155))
    >>> round(far, 1), beside < 0.8, below
    (1.0, True, 0.0)
    """
    raster = checked(ground, "season_sun")
    for other in (surface, options.without_trees):
        if other is not None:
            same_grid(raster, other, "season_sun")
    numbers = load_handbook() if coefficients is None else coefficients
    days = season(
        start,
        end,
        latitude=options.latitude,
        longitude=options.longitude,
        altitude_m=options.altitude_m,
        step_min=numbers.value("terrain.sun_step_min"),
        cloud=options.cloud,
    )
    passes = options.passes(surface, days, north_turn_deg(raster), by_month)
    cover_m = numbers.value("terrain.cover_m")
    energy = np.zeros((len(days.months) if by_month else 1, *raster.shape), dtype=np.float32)
    with ThreadPoolExecutor(THREADS) as pool:
        for core, around in blocks(raster, numbers.value("terrain.reach_m")):
            _add_block(raster, passes, core, around, cover_m, energy[:, core[0], core[1]], pool)
    flat = days.flat_kwh_m2()
    result = raster.dataset()
    dims: tuple[str, ...]
    open_flat: np.ndarray | np.float32
    if by_month:
        result = result.assign_coords(month=list(days.months))
        dims, values, open_flat = ("month", "y", "x"), energy, flat.astype(np.float32)[:, None, None]
    else:
        dims, values, open_flat = ("y", "x"), energy[0], np.float32(flat.sum())
    for name, data in (("sun_kwh_m2", values), ("sun_fraction", values / open_flat)):
        kind = variable(name)
        result[name] = (dims, data, {"units": kind.unit, "long_name": kind.long_name})
    result.attrs |= {"open_flat_kwh_m2": float(flat.sum()), "start": str(start), "end": str(end)}
    return result


def sun_by_month(
    surface: xr.DataArray | None,
    ground: xr.DataArray,
    start: dt.date | str,
    end: dt.date | str,
    options: SunOptions,
    *,
    coefficients: Handbook | None = None,
) -> xr.Dataset:
    """Return `season_sun` month by month, dims (month, y, x), from the same single pass of sweeps."""
    return season_sun(surface, ground, start, end, options, by_month=True, coefficients=coefficients)


def blocks(raster: Raster, reach_m: float) -> Iterator[tuple[Window, Window]]:
    """Yield the windows a grid is worked in: the core of each block, and the core with its halo."""
    halo = int(np.ceil(reach_m / min(raster.dx, raster.dy))) + 1
    if max(raster.shape) <= BLOCK_CELLS * 3 // 2:
        whole = slice(0, raster.shape[0]), slice(0, raster.shape[1])
        yield whole, whole
        return
    cuts = [np.linspace(0, n, -(-n // BLOCK_CELLS) + 1).astype(int) for n in raster.shape]
    for r0, r1 in pairwise(cuts[0]):
        for c0, c1 in pairwise(cuts[1]):
            wide = tuple(
                slice(max(a - halo, 0), min(b + halo, n))
                for a, b, n in ((r0, r1, raster.shape[0]), (c0, c1, raster.shape[1]))
            )
            yield (slice(int(r0), int(r1)), slice(int(c0), int(c1))), (wide[0], wide[1])


@dataclass(slots=True)
class _Face:
    """A block's arrays with its lines along the last axis."""

    block: Block
    east: np.ndarray
    north: np.ndarray
    slope: np.ndarray  #: steepest slope by tile of the block, tangent
    skip: np.ndarray
    energy: np.ndarray

    def turned(self) -> _Face:
        east, north, slope, skip = (transposed(a) for a in (self.east, self.north, self.slope, self.skip))
        energy = np.zeros_like(self.energy.transpose(0, 2, 1), order="C")
        return _Face(self.block.turned(), east, north, slope, skip, energy)


def _add_block(
    raster: Raster,
    passes: list[tuple[xr.DataArray | None, list[Sector]]],
    core: Window,
    around: Window,
    cover_m: float,
    energy: np.ndarray,
    pool: Executor,
) -> None:
    """Add the sun of one block to its part of the result."""
    window = {"y": around[0], "x": around[1]}
    ground = as_heights(raster.like.isel(window))
    inner = tuple(slice(c.start - a.start, c.stop - a.start) for c, a in zip(core, around, strict=True))
    east, north = _core_gradients(ground, inner, raster)
    unknown = np.isnan(ground[inner])
    for surface, sectors in passes:
        cover, skip = NOTHING, unknown
        if surface is not None:
            cover = as_heights(surface.isel(window)) - ground
            cover[~(cover > cover_m)] = 0  # low or unknown
            skip = unknown | (cover[inner] > 0)
            cover = cover if cover.any() else NOTHING
        block = Block.of(ground, cover, (inner[0], inner[1]), (around[0].start, around[1].start))
        slope = np.zeros(block.tiles.bare.shape, dtype=np.float32)
        steepest_slopes(east, north, inner[0].start, inner[1].start, slope)
        face = _Face(block, east, north, slope, skip, np.zeros(energy.shape, dtype=np.float32))
        open_beam(east, north, sectors, face.energy)
        face.energy[:, skip] = 0
        del block, cover
        directed = [(sector, Direction.of(sector.azimuth_deg, raster.dx, raster.dy)) for sector in sectors]
        for down in (False, True):
            if down:
                energy += face.energy
                face = face.turned()
            _add_sectors(face, [pair for pair in directed if pair[1].down == down], pool)
        for mine, turned in zip(energy, face.energy, strict=True):
            mine += transposed(turned)
    energy /= np.sqrt(1 + east**2 + north**2)  # length of the normal (-east, -north, 1)
    energy[:, unknown] = np.nan


def _core_gradients(ground: np.ndarray, core: tuple[slice, ...], raster: Raster) -> list[np.ndarray]:
    """Return the ground's rise towards east and north in the core; a rim of one cell is all it takes."""
    wide = tuple(slice(max(s.start - 1, 0), s.stop + 1) for s in core)
    cut = tuple(slice(s.start - w.start, s.stop - w.start) for s, w in zip(core, wide, strict=True))
    rises = gradients(np.ascontiguousarray(ground[wide]), raster.dx, raster.dy)
    return [np.ascontiguousarray(rise[cut]) for rise in rises]


def _add_sectors(face: _Face, directed: list[tuple[Sector, Direction]], pool: Executor) -> None:
    """Take from a face what the horizon hides of each sector, line by line."""
    tangent = np.full(face.skip.shape, NO_HORIZON)
    row, col = (s.start for s in face.block.core)
    parts = np.linspace(0, len(tangent), 2 * THREADS + 1).astype(int)
    for sector, direction in directed:
        least = np.float32(sector.least)
        if not np.isfinite(least):
            continue  # next to no sun ever stands there
        tiles = horizon_tangents(face.block, direction, tangent, pool, sector.least)
        tiles |= face.slope > least
        turn = np.radians(sector.azimuth_deg)
        sine, cosine = np.float32(np.sin(turn)), np.float32(np.cos(turn))
        jobs = []
        for a, b in pairwise(parts):
            mine = tangent[a:b], face.east[a:b], face.north[a:b], face.skip[a:b]
            energy = face.energy[:, a:b]
            jobs.append(pool.submit(take_shade, *mine, sector.beam, sine, cosine, least, tiles, row + a, col, energy))
        for job in jobs:
            job.result()
