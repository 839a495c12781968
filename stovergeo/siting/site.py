"""What a site criterion is given, and what it returns."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol

import geopandas as gpd
import numpy as np
import shapely
import xarray as xr
from pyproj import Transformer
from rasterio.features import rasterize

from stovergeo.core.coefficients import Handbook
from stovergeo.core.distance import distance_to_cells
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import grid_of
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting.pattern import Pattern

message = Catalog("stovergeo.siting")
#: by eighths of a turn from north
SIDES = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
#: sides of the polygon that stands for a quarter circle
_QUARTER_SIDES = 16
_ROWS_AT_ONCE = 32
#: the rasterizer keeps state of its own; two threads in it at once confuse each other
_BURNING = threading.Lock()


@dataclass(frozen=True, slots=True)
class SiteOptions:
    """The user's wishes and the numbers a criterion may look up."""

    yards: Yards
    pattern: Pattern  #: how the bales would be stacked, for its height
    coefficients: Handbook

    def values(self, group: str, *names: str) -> list[float]:
        """Return coefficients of one group of the handbook."""
        return [self.coefficients.value(f"{group}.{name}") for name in names]


@dataclass(frozen=True, slots=True)
class Rating:
    """What one criterion says of every cell. All arrays have dims ``(y, x)``."""

    score: xr.DataArray  #: 0 (bad) to 1 (good); NaN where unknown
    allowed: xr.DataArray  #: False where the criterion forbids a stack
    value: xr.DataArray  #: what was looked at, with `units`; NaN where unknown
    limit: float = np.nan  #: the value at which the ground becomes forbidden, as the plan or the handbook gives it
    added: float = 0.0  #: what is added to the limit everywhere: the height of the stack, under wires
    keep_out: Any = None  #: exact forbidden ground as a shapely geometry, where it comes from vector layers
    #: shapes and the distance asked from each, against which every row of bales is measured once more
    clear_of: tuple[np.ndarray, np.ndarray] | None = None


@dataclass(frozen=True, slots=True)
class NotChecked:
    """What a criterion returns when it lacks what it reads."""

    message: Message  #: what is lacking, as a sentence; the criterion's title says what was not checked


def no_layer(*layers: str) -> NotChecked:
    """Return the answer of a criterion that none of the layers it reads was given to."""
    return NotChecked(message("not_checked.no_layer", layers=tuple(message(f"layer.{name}") for name in layers)))


class Criterion(Protocol):
    """A plug-in of the group `stovergeo.site_criteria`.

    Optional attributes: ``order`` (a whole number; hard reasons are looked at in this
    order, 50 where left out), ``weight`` (1 where left out; the handbook's
    ``yards.weight.<name>`` and the plan come first), ``mitigable`` (True where a base or
    a drain could answer the hard reason), ``optional`` (True where it is asked only when
    it has a weight above 0 or the plan's ``yards.criteria`` names it), ``of_yard`` (how
    cells make a yard, see `stovergeo.siting.sheet.value_on`).
    """

    name: str  #: lower-case letters, digits and _
    title: str  #: a few words for tables and the map
    reads: tuple[str, ...]  #: variables of the stack
    source: str  #: who says so

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Rate every cell."""
        ...

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Return one cell's or yard's rating as a sentence that a landowner understands.

        Parameters
        ----------
        value, score, allowed
            Of the cell, or of the whole yard, as `rate` gave them.
        limit : float
            As `rate` gave it; put it into the message as it is, so that it prints as the plan or the handbook gives it.
        """
        ...


@dataclass
class Site:
    """The ground that is searched: the field stack and what stands around it."""

    stack: xr.Dataset
    surroundings: dict[str, gpd.GeoDataFrame]
    _distances: dict[str, np.ndarray] = field(default_factory=dict, repr=False)
    _layers: dict[str, gpd.GeoDataFrame | None] = field(default_factory=dict, repr=False)
    _lock: threading.RLock = field(default_factory=threading.RLock, repr=False)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the grid."""
        return self.stack.sizes["y"], self.stack.sizes["x"]

    @property
    def cell_m(self) -> float:
        """Side of a cell."""
        return abs(float(self._transform.a))

    def everywhere(self, value: float | bool) -> np.ndarray:
        """Return one value for all cells, in place of one."""
        return np.broadcast_to(np.asarray(value, bool if isinstance(value, bool) else np.float32), self.shape)

    @cached_property
    def latitude(self) -> float:
        """Latitude of the middle of the ground, degrees north."""
        to_lonlat = Transformer.from_crs(grid_of(self.stack).crs, 4326, always_xy=True)
        return float(to_lonlat.transform(float(self.x.mean()), float(self.y.mean()))[1])

    def array(self, name: str) -> np.ndarray:
        """Return a variable of the stack as a plain float32 array."""
        return np.asarray(self.stack[name].values)

    def __post_init__(self) -> None:
        # looked up once: criteria run in threads, and the accessor that knows the grid keeps state of its own
        self._transform = grid_of(self.stack).transform
        self.x, self.y = self.stack["x"].values, self.stack["y"].values  #: middles of the columns and rows

    def layer(self, name: str) -> gpd.GeoDataFrame | None:
        """Return a layer of the surroundings, or None when it was not given or is empty of shapes."""
        with self._lock:
            if name not in self._layers:
                frame = self.surroundings.get(name)
                if frame is not None:
                    frame = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
                self._layers[name] = frame if frame is not None and len(frame) else None
            return self._layers[name]

    def given(self, name: str) -> bool:
        """Return whether a layer was given at all; a layer given with nothing in it says 'there is none'."""
        return self.surroundings.get(name) is not None

    def row_col(self, xy: np.ndarray) -> np.ndarray:
        """Return rows and columns of points (n, 2), whole numbers at the middles of cells."""
        t = self._transform
        return np.stack([(xy[:, 1] - t.f) / t.e - 0.5, (xy[:, 0] - t.c) / t.a - 0.5], axis=1)

    def touched(self, shapes: Sequence[Any]) -> np.ndarray:
        """Return the cells that any of the shapes touches, however slightly."""
        shapes = [shape for shape in shapes if shape is not None and not shape.is_empty]
        if not shapes:
            return np.zeros(self.shape, bool)
        with _BURNING:
            burned = rasterize(shapes, out_shape=self.shape, transform=self._transform, all_touched=True, dtype="uint8")
        return burned.astype(bool)

    def covered(self, *names: str) -> np.ndarray:
        """Return the cells that any shape of these layers touches."""
        frames = [frame for name in names if (frame := self.layer(name)) is not None]
        return self.touched([shape for frame in frames for shape in frame.geometry])

    def distance_m(self, name: str) -> np.ndarray:
        """Return the distance from each cell to the nearest shape of a layer, to about half a cell."""
        with self._lock:
            if name not in self._distances:
                self._distances[name] = distance_to_cells(self.covered(name), self.cell_m)
            return self._distances[name]

    def rating(
        self,
        score: np.ndarray,
        allowed: np.ndarray,
        value: np.ndarray,
        units: str,
        *,
        limit: float = np.nan,
        added: float = 0.0,
        keep_out: Any = None,
        clear_of: tuple[np.ndarray, np.ndarray] | None = None,
    ) -> Rating:
        """Put a criterion's arrays on the grid as a `Rating`."""
        scores, marks, values = (
            xr.DataArray(np.asarray(data, kind), dims=("y", "x"), coords=self.stack.coords, attrs={"units": unit})
            for data, kind, unit in ((score, np.float32, "1"), (allowed, bool, "1"), (value, np.float32, units))
        )
        return Rating(scores, marks, values, limit, added, keep_out, clear_of)


def around(shapes: gpd.GeoSeries, distance_m: np.ndarray | float) -> shapely.Geometry:
    """Return all ground within a distance of the shapes, never less than the true circle.

    shapely draws an arc as a polygon inside it; the radius is lengthened so that the
    polygon's sides, not its corners, lie at the distance asked for. The sides of a short
    arc may be half as long again as those of a full quarter.
    """
    outside = 1 / np.cos(1.5 * np.pi / (4 * _QUARTER_SIDES))
    grown = shapely.buffer(shapes.to_numpy(), np.asarray(distance_m) * outside, quad_segs=_QUARTER_SIDES)
    return shapely.union_all(grown)


def ramp(value: np.ndarray, at: Sequence[float], score: Sequence[float]) -> np.ndarray:
    """Return straight-line interpolation of scores between values, ends held, NaN kept."""
    out = np.empty(value.shape, np.float32)
    for k in range(0, len(value), _ROWS_AT_ONCE):  # numpy works in double: a strip at a time stays in the cache
        out[k : k + _ROWS_AT_ONCE] = np.interp(value[k : k + _ROWS_AT_ONCE], at, score)
    return out
