"""Regions of the earth in which something holds that does not hold elsewhere, from ``regions.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

import shapely


def lies_in(region: str, longitude: float, latitude: float) -> bool:
    """Return whether a place lies in a region; degrees.

    Examples
    --------
    >>> lies_in("handbook_climate", -93.6, 42.0), lies_in("handbook_climate", -61.5, -33.5)
    (True, False)
    """
    return bool(shapely.contains_xy(_regions()[region], longitude, latitude))


@cache
def _regions() -> dict[str, shapely.MultiPolygon]:
    table = tomllib.loads(files("stovergeo.core").joinpath("regions.toml").read_text("utf-8"))
    return {
        name: shapely.MultiPolygon([shapely.Polygon(corners) for corners in region["parts"]])
        for name, region in table.items()
    }
