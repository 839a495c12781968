"""The layers of a farm as read and checked, and how much there is to work on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import geopandas as gpd
import pandas as pd
import xarray as xr
from pyproj import CRS

from stovergeo.core.messages import Message

#: column of the no-go layer that may narrow a refusal, and its one value: no stack may stand there, baling goes on
KEEP_CLEAR_OF: Final = "keep_clear_of"
STACKS: Final = "stacks"


def only_stacks(no_go: gpd.GeoDataFrame) -> pd.Series:
    """Return which refused places are refused to stacks alone; where no such word stands, nothing is baled either."""
    if KEEP_CLEAR_OF not in no_go:
        return pd.Series(False, index=no_go.index)
    return no_go[KEEP_CLEAR_OF] == STACKS


@dataclass(frozen=True, slots=True)
class FarmLayers:
    """All layers of a farm, or of a cluster of its fields, checked, in the working CRS.

    Tables follow `stovergeo.core.schemas`. A farm of several clusters holds its rasters in `parts` alone.
    """

    crs: CRS  #: projected, meters
    soils: gpd.GeoDataFrame  #: SOILS, from the layer, the plan, or both
    fields: gpd.GeoDataFrame | None = None  #: FIELDS; None: draw them from the points
    points: gpd.GeoDataFrame | None = None  #: POINTS, raw, every corn record
    yield_raster: xr.DataArray | None = None  #: dry grain, Mg/ha
    #: earlier harvests by year: raw POINTS, or dry grain in Mg/ha
    earlier: dict[int, gpd.GeoDataFrame | xr.DataArray] = field(default_factory=dict)
    elevation: xr.DataArray | None = None  #: bare ground, m
    surface: xr.DataArray | None = None  #: ground with what stands on it, m
    surroundings: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)  #: by key of the plan's `[layers]`
    no_go: gpd.GeoDataFrame | None = None  #: places the landowner refuses
    not_checked: dict[str, Message] = field(default_factory=dict)  #: title of what was not given -> why it matters
    #: the layers cluster by cluster, each in a working CRS of its own; empty where all fields lie together
    parts: tuple[FarmLayers, ...] = ()

    @property
    def clusters(self) -> tuple[FarmLayers, ...]:
        """The layers of each cluster of fields."""
        return self.parts or (self,)


@dataclass(frozen=True, slots=True)
class FarmSize:
    """Counts that decide how much memory and time a run needs."""

    cells: int  #: of the farm's grid
    records: int  #: of the yield points
    raster_cells: int  #: that will be read from rasters, or warped


#: called with the size before rasters are read; returns whether to go on and read them
Sized = Callable[[FarmSize], bool]
