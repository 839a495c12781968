"""The direction of the rows: sun on both sides, water down between them, or whatever holds most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.siting.site import message


@dataclass(frozen=True, slots=True)
class Angle:
    """A direction of rows and why it was chosen."""

    degrees: float  #: clockwise from grid north, 0 to 180
    message: Message  #: a sentence


def wanted_angle(rows: str, stack: xr.Dataset, row: slice, col: slice) -> Angle | None:
    """Return the direction of rows in a window of the grid by the plan's wish; None for whichever holds most.

    Parameters
    ----------
    rows : {"north-south", "best angle", "down slope"}
    stack : xarray.Dataset
    row, col : slice
        The window.
    """
    if rows == "best angle":
        return None
    if rows == "north-south":
        return Angle(0.0, message("rows.north_south"))
    fall = mean_fall_deg(stack, row, col)
    if fall is None:
        return Angle(0.0, message("rows.level"))
    return Angle(round(fall, 1) % 180, message("rows.down_slope"))


def mean_fall_deg(stack: xr.Dataset, row: slice, col: slice, least_pct: float = 0.3) -> float | None:
    """Return the mean direction in which a window falls, weighed by slope; None where flat or unknown."""
    if "aspect_deg" not in stack or "slope_pct" not in stack:
        return None
    aspect = np.radians(stack["aspect_deg"].values[row, col])
    slope = stack["slope_pct"].values[row, col]
    if not np.isfinite(slope).any():
        return None
    east, north = np.nanmean(slope * np.sin(aspect)), np.nanmean(slope * np.cos(aspect))
    if not np.hypot(east, north) >= least_pct:
        return None
    return float(np.degrees(np.arctan2(east, north)) % 360)


def conflict(angle_deg: float, fall_deg: float | None, slope_pct: float, wind_from_deg: float | None) -> list[Message]:
    """Say what the direction of the rows is at odds with; an empty list where with nothing."""
    found = []
    if fall_deg is not None and slope_pct >= 2 and abs(np.sin(np.radians(angle_deg - fall_deg))) > 0.7:
        found.append(message("rows.across_slope"))
    if wind_from_deg is not None and abs(np.cos(np.radians(angle_deg - wind_from_deg))) > 0.9:
        found.append(message("rows.along_wind"))
    return found
