"""How much there is to work on, known before any raster is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FarmSize:
    """Counts that decide how much memory and time a run needs."""

    cells: int  #: of the farm's grid
    records: int  #: of the yield points
    raster_cells: int  #: that will be read from rasters, or warped


#: called with the size before rasters are read; returns whether to go on and read them
Sized = Callable[[FarmSize], bool]


def any_size(size: FarmSize) -> bool:
    """Go on whatever the size: the default for callers that read layers only."""
    return True
