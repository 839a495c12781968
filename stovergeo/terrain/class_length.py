"""Slope length where flow cannot be traced: the handbook's length for each class of slope.

A ground too coarse for flow paths (heights from the combine's GPS) still tells how steep it
is. Conservation planners then take a slope length by class of slope (Lightle & Weesies 1998).
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.stack import check_unit, variable
from stovergeo.terrain.length_slope import ls_703


def class_length_m(slope_pct: np.ndarray, upper_pct: np.ndarray, length_m: np.ndarray) -> np.ndarray:
    """Return the slope length of each slope's class, m.

    Parameters
    ----------
    slope_pct : array
    upper_pct : array, shape (k - 1,)
        Upper ends of the classes, rising; the last class is open.
    length_m : array, shape (k,)
    """
    return np.asarray(length_m)[np.searchsorted(upper_pct, slope_pct, side="right")]


def ls_by_class(slope_pct: xr.DataArray, book: Handbook) -> xr.DataArray:
    """Return the LS factor from slope alone, by the class's slope length.

    Parameters
    ----------
    slope_pct : DataArray
        NaN where unknown.
    book : Handbook
        Group ``terrain.class_length``: one entry a class, named by its upper end in percent.

    Returns
    -------
    DataArray
        ``ls_factor``, AH-703 eqs. 4-1 to 4-5 with a moderate ratio of rill to interrill erosion.
    """
    check_unit(slope_pct, "slope_pct", "ls_by_class")
    classes = sorted((int(name.removeprefix("to_")), name) for name in book.group("terrain.class_length"))
    length = np.array([book.value(f"terrain.class_length.{name}") for _, name in classes])
    upper = np.array([up for up, _ in classes[:-1]], dtype=float)
    slope = slope_pct.to_numpy()
    known = np.isfinite(slope)
    ls = np.full(slope.shape, np.nan)
    ls[known] = ls_703(class_length_m(slope[known], upper, length), slope[known] / 100)
    kind = variable("ls_factor")
    attrs = {"units": kind.unit, "long_name": kind.long_name}  # not the slope's own
    return slope_pct.copy(data=ls).rename("ls_factor").drop_attrs().assign_attrs(attrs)
