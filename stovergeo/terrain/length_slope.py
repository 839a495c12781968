"""Slope length and steepness of the soil-loss equation: plain formulas on arrays and scalars.

By USDA Agriculture Handbook 703 (Renard et al. 1997, chapter 4). Slopes are rise over run (0.05 = 5 %), lengths
horizontal meters. It was read second-hand; its printed table is a test.

Where flow cannot be traced (heights from the combine's GPS are too coarse for flow paths) the ground still tells how
steep it is. Conservation planners then take a slope length by class of slope (Lightle & Weesies 1998).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.stack import check_unit, variable
from stovergeo.core.units import M_PER_FT

UNIT_PLOT_M = 72.6 * M_PER_FT  #: length of the unit plot, 72.6 ft (the handbook)
UNIT_PLOT_GRID_M = 22.13  #: the same as Desmet & Govers print it
SHORTEST_M = 15 * M_PER_FT  #: below 15 ft the printed table of Handbook 703 stops shrinking


def s_703(slope: Any) -> np.ndarray:
    """Return the steepness factor S of Handbook 703.

    Parameters
    ----------
    slope : array_like
        Rise over run, m per m.
    """
    tan = np.asarray(slope, dtype=float)
    sine = tan / np.hypot(1, tan)
    gentle = 10.8 * sine + 0.03  # AH-703 eq. 4-4, below 9 %
    steep = 16.8 * sine - 0.50  # AH-703 eq. 4-5, 9 % and over
    return np.where(tan < 0.09, gentle, steep)


def m_703(slope: Any, ratio: Any = 1.0) -> np.ndarray:
    """Return the slope-length exponent m of Handbook 703.

    Parameters
    ----------
    slope : array_like
        Rise over run, m per m.
    ratio : array_like
        Rill to interrill erosion against the moderate case: 0.5 low, 1 moderate, 2 high.
    """
    tan = np.asarray(slope, dtype=float)
    sine = tan / np.hypot(1, tan)
    beta = ratio * (sine / 0.0896) / (3.0 * sine**0.8 + 0.56)  # AH-703 eq. 4-3
    return beta / (1 + beta)  # AH-703 eq. 4-2


def ls_703(length_m: Any, slope: Any, ratio: Any = 1.0) -> np.ndarray:
    """Return LS of one uniform slope by Handbook 703.

    Parameters
    ----------
    length_m : array_like
        Horizontal slope length, m; shorter than 15 ft counts as 15 ft.
    slope, ratio : array_like
        As in `s_703` and `m_703`; all broadcast together.
    """
    length = np.maximum(length_m, SHORTEST_M)
    return (length / UNIT_PLOT_M) ** m_703(slope, ratio) * s_703(slope)  # AH-703 eq. 4-1


def l_grid(inflow_m2: Any, cell_m: float, exponent: Any, aspect_deg: Any = 0.0) -> np.ndarray:
    """Return the length factor L of a grid cell.

    Parameters
    ----------
    inflow_m2 : array_like
        Area that drains into the cell, the cell itself left out, m2.
    cell_m : float
        Cell size D, m.
    exponent : array_like
        Slope-length exponent m of the cell.
    aspect_deg : array_like
        Direction of fall, degrees from north; NaN (flat) counts as along the grid.

    Notes
    -----
    Desmet, P. J. J. & Govers, G. 1996, J. Soil Water Conserv. 51(5):427-433, finite-difference form.
    """
    turn = np.radians(np.nan_to_num(np.asarray(aspect_deg, dtype=float)))
    x = np.abs(np.sin(turn)) + np.abs(np.cos(turn))
    m1 = np.asarray(exponent, dtype=float) + 1
    inflow = np.asarray(inflow_m2, dtype=float)
    grown = (inflow + cell_m**2) ** m1 - inflow**m1
    return grown / (cell_m ** (m1 + 1) * x ** (m1 - 1) * UNIT_PLOT_GRID_M ** (m1 - 1))


def ls_grid(
    inflow_m2: Any, slope: Any, aspect_deg: Any, cell_m: float, *, longest_m: float = np.inf, ratio: Any = 1.0
) -> np.ndarray:
    """Return LS of grid cells: Desmet & Govers length with the steepness and exponent of Handbook 703.

    Parameters
    ----------
    inflow_m2, aspect_deg, cell_m
        As in `l_grid`.
    slope : array_like
        Rise over run, m per m.
    longest_m : float
        Slope length beyond which no more inflow is counted, m.
    ratio : array_like
        As in `m_703`.
    """
    most = max(longest_m - cell_m, 0.0) * cell_m  # a slope of that length, one cell wide
    inflow = np.minimum(inflow_m2, most)
    return l_grid(inflow, cell_m, m_703(slope, ratio), aspect_deg) * s_703(slope)


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


def ls_by_class(slope_pct: xr.DataArray, coefficients: Handbook) -> xr.DataArray:
    """Return the LS factor from slope alone, by the class's slope length.

    Parameters
    ----------
    slope_pct : DataArray
        NaN where unknown.
    coefficients : Handbook
        Group ``terrain.class_length``: one entry a class, named by its upper end in percent.

    Returns
    -------
    DataArray
        ``ls_factor``, AH-703 eqs. 4-1 to 4-5 with a moderate ratio of rill to interrill erosion.
    """
    check_unit(slope_pct, "slope_pct", "ls_by_class")
    classes = sorted((int(name.removeprefix("to_")), name) for name in coefficients.group("terrain.class_length"))
    length = np.array([coefficients.value(f"terrain.class_length.{name}") for _, name in classes])
    upper = np.array([up for up, _ in classes[:-1]], dtype=float)
    slope = slope_pct.to_numpy()
    known = np.isfinite(slope)
    ls = np.full(slope.shape, np.nan)
    ls[known] = ls_703(class_length_m(slope[known], upper, length), slope[known] / 100)
    kind = variable("ls_factor")
    attrs = {"units": kind.unit, "long_name": kind.long_name}  # not the slope's own
    return slope_pct.copy(data=ls).rename("ls_factor").drop_attrs().assign_attrs(attrs)
