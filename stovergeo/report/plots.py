"""Plots for engineers (extra ``plot``): stack, zones and yards, each on given axes, in the look of the map.

The tables of a `SeasonResult` are GeoDataFrames with a CRS and plain columns, so
``result.zones.explore("removal_mg_ha")`` works unchanged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import xarray as xr

from stovergeo.core.schemas import UNKNOWN
from stovergeo.core.stack import variable
from stovergeo.result import SeasonResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: light to dark, so that it survives gray print and color-blind eyes; the same as on the map
STRAW: Final = ("#f8f1d8", "#efd993", "#dfb75a", "#c28f3c", "#9b672b", "#6f431d")
_HATCHES: Final = ("", "///", "...", "|||", "xxx", "\\\\\\", "+++", "---")
_LEAVE: Final = "#f6f4ec"


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(layout="constrained")[1]


def plot_stack(stack: xr.Dataset, name: str, ax: Axes | None = None, **options: Any) -> Axes:
    """Draw one variable of the field stack, true to scale, with its meaning and unit on the color bar.

    Parameters
    ----------
    stack : xarray.Dataset
    name : str
        A variable of the stack; numbered reasons and rules are named on the bar.
    ax : matplotlib Axes, optional
    **options
        Passed on to ``pcolormesh``.
    """
    from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap

    ax = _axes(ax)
    band, kind = stack[name], variable(name)
    labels = band.attrs.get("rules") or band.attrs.get("reasons")
    ramp = LinearSegmentedColormap.from_list("straw", STRAW, N=max(256, len(labels or ())))
    options = {"cmap": ramp, "rasterized": True, **options}
    if labels:
        options.setdefault("norm", BoundaryNorm(np.arange(-0.5, len(labels)), ramp.N))
    mesh = ax.pcolormesh(stack["x"], stack["y"], band, **options)
    bar = ax.figure.colorbar(mesh, ax=ax, label=f"{kind.long_name}{f', {kind.unit}' if kind.unit != '1' else ''}")
    if labels:
        bar.set_ticks(range(len(labels)), labels=[str(text) or "none" for text in labels])
    return _ground(ax)


def plot_zones(result: SeasonResult, ax: Axes | None = None, column: str = "removal_mg_ha", **options: Any) -> Axes:
    """Draw the zones, colored by a column of numbers or hatched by a column of words, with their ids.

    Ground that is left alone is hatched and ground without a known yield dotted, so that nothing hangs on color alone.
    """
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patches import Patch

    ax = _axes(ax)
    zones = result.zones
    edge = {"edgecolor": "#2a2618", "linewidth": 1, **options}
    if zones[column].dtype.kind in "fiu":
        unknown, stays = zones["method"] == UNKNOWN, zones["method"] == "leave"
        ramp = LinearSegmentedColormap.from_list("straw", STRAW)
        for part, look in (
            (
                zones[~unknown & ~stays],
                {"column": column, "cmap": ramp, "legend": True, "legend_kwds": {"label": column}},
            ),
            (zones[stays], {"color": _LEAVE, "hatch": "///"}),
            (zones[unknown], {"color": "white", "hatch": ".."}),
        ):
            if len(part):
                part.plot(ax=ax, **look, **edge)
    else:
        keys = []
        for k, (word, part) in enumerate(zones.groupby(column, sort=False)):
            drawn: dict[str, Any] = {"facecolor": STRAW[k % len(STRAW)], "hatch": _HATCHES[k % len(_HATCHES)]}
            part.plot(ax=ax, **drawn, **edge)
            keys.append(Patch(**drawn, edgecolor="#2a2618", label=str(word)))
        ax.legend(handles=keys)
    for zone in zones.itertuples():
        at = zone.geometry.representative_point()
        ax.annotate(zone.zone_id, (at.x, at.y), ha="center", va="center", fontsize="small", fontweight="bold")
    return _ground(ax)


def plot_yards(result: SeasonResult, ax: Axes | None = None, yard_id: str | None = None, **options: Any) -> Axes:
    """Draw the yards with lanes, truck aprons and rows to scale: all of them, or the one named."""
    ax = _axes(ax)
    yards = result.yards
    if yard_id is not None:
        yards = yards[yards["yard_id"] == yard_id]
        if yards.empty:
            raise KeyError(f"there is no yard {yard_id!r}; there are {', '.join(result.yards['yard_id'])}")
    if len(yards):
        yards.plot(ax=ax, **{"facecolor": "white", "edgecolor": "#1f2f4d", "linewidth": 1.5, **options})
    for table, face, edge in (
        (result.siting.lanes, "#ece4cd", "#7d745c"),
        (result.siting.apron, "#cfd6dd", "#1f2f4d"),
        (result.siting.stacks, "#8a5a2b", "#3d2610"),
    ):
        part = table if yard_id is None or table.empty else table[table["yard_id"] == yard_id]
        if len(part):
            part.plot(ax=ax, facecolor=face, edgecolor=edge, linewidth=0.5)
    for yard in yards.itertuples():
        west, _, east, north = yard.geometry.bounds
        place: dict[str, Any] = {"xytext": (0, 3), "textcoords": "offset points", "ha": "center", "va": "bottom"}
        ax.annotate(yard.yard_id, ((west + east) / 2, north), fontweight="bold", **place)
    return _ground(ax)


def _ground(ax: Axes) -> Axes:
    ax.set_aspect("equal")
    ax.set_xlabel("easting, m")
    ax.set_ylabel("northing, m")
    return ax
