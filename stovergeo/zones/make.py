"""Fields to zones."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import rasterio.features
import shapely
import xarray as xr
from affine import Affine
from shapely.geometry.base import BaseGeometry

from stovergeo.core.coefficients import Handbook
from stovergeo.core.schemas import check_table
from stovergeo.core.stack import grid_of, need
from stovergeo.core.units import M2_PER_HA
from stovergeo.zones.divide import FieldCells, ZoneOptions, best_division
from stovergeo.zones.ground import cautious_limit, smooth_known
from stovergeo.zones.messages import ground_messages
from stovergeo.zones.outline import divide_field, outlines, zone_numbers


def zone_options(coefficients: Handbook) -> ZoneOptions:
    """Return the handbook's way of dividing ground.

    Parameters
    ----------
    coefficients : Handbook
        The `zones` group.

    Returns
    -------
    ZoneOptions

    Examples
    --------
    >>> from stovergeo import load_handbook, zone_options
    >>> 0 < zone_options(load_handbook()).over_fraction < 0.5
    True
    """
    return ZoneOptions(
        over_fraction=coefficients.value("zones.over_fraction"),
        classes=round(coefficients.value("zones.classes")),
        min_step_mg_ha=coefficients.value("zones.min_step"),
        smoothing_widths=coefficients.value("zones.smoothing"),
        worth_apart=coefficients.value("zones.worth_apart"),
        corner_cells=coefficients.value("zones.corner"),
    )


def make_zones(
    stack: xr.Dataset,
    fields: gpd.GeoDataFrame,
    *,
    working_width_m: float,
    min_zone_ha: float,
    options: ZoneOptions,
    refused: BaseGeometry | None = None,
) -> gpd.GeoDataFrame:
    """Divide each field into zones that one crew can gather one way.

    Parameters
    ----------
    stack : Dataset
        With field_number, cell_area_ha, stover_mg_ha, retention_mg_ha, removable_mg_ha and,
        where terrain was known, concentrated_flow; binding_rule where rules were run.
    fields : GeoDataFrame, FIELDS schema
    working_width_m : float
        Width of the machines; no zone is narrower than two of them, measured as the
        largest disc that fits inside, unless its whole field is.
    min_zone_ha : float
        No zone is smaller, unless its whole field is.
    options : ZoneOptions
    refused : Polygon or MultiPolygon, optional
        Ground the landowner keeps free, in the fields' CRS. It is cut out of the zones and is, in each field it meets,
        one zone of its own with the flag `kept_free`; less than a cell of it is cut out only.

    Returns
    -------
    GeoDataFrame, ZONES schema
        In the order of the fields, each field's most giving zone first, ground kept free last. `method` is
        "leave" and `removal_mg_ha` 0 until `assign_methods` fills them. `removable_mg_ha` is
        the cautious limit (`cautious_limit`) of an even take over the zone.

    Raises
    ------
    ContractError
        When the stack or the fields lack what is read.

    Examples
    --------
    A field of which the east can spare 3 Mg/ha and the west nothing:

    >>> import geopandas as gpd
    >>> import numpy as np
    >>> import shapely
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import load_handbook, make_zones, new_stack, put, zone_options
    >>> outline = shapely.box(440_000, 4_650_000, 440_400, 4_650_300)
    >>> columns = {"field_id": ["F1"], "name": ["home"], "area_ha": [12.0]}
    >>> field = gpd.GeoDataFrame(columns, geometry=[outline], crs=32615)
    >>> stack = new_stack(GeoBox.from_bbox(outline.bounds, crs="EPSG:32615", resolution=10))
    >>> spare = np.where(stack.x > 440_200, 3.0, 0.0) * np.ones((30, 1))
    >>> stack = put(stack, field_number=0 * spare, stover_mg_ha=9 + 0 * spare, retention_mg_ha=9 - spare)
    >>> stack = put(stack, removable_mg_ha=spare)
    >>> how = {"working_width_m": 9.0, "min_zone_ha": 1.0, "options": zone_options(load_handbook())}
    >>> drawn = make_zones(stack, field, **how)
    >>> drawn[["zone_id", "area_ha", "removable_mg_ha"]].round(1).values.tolist()
    [['F1-a', 6.0, 3.0], ['F1-b', 6.0, 0.0]]
    """
    need(stack, ("field_number", "cell_area_ha", "stover_mg_ha", "retention_mg_ha", "removable_mg_ha"), "make_zones")
    check_table(fields, "fields", "make_zones")
    cell_m = abs(float(stack.rio.transform().a))
    min_width_m = 2 * working_width_m
    kept: dict[int, BaseGeometry] = {}
    free = list(fields.geometry)
    for row, outline in enumerate(fields.geometry if refused is not None else ()):
        own, free[row] = divide_field(outline, refused, min_width_m=min_width_m, min_ha=min_zone_ha)
        if not own.is_empty:
            kept[row] = own
    field_number = _without(stack, kept)
    spare = stack["removable_mg_ha"].values.astype(float)
    left = _left_whole(stack)

    smooth = np.full(spare.shape, np.nan)
    windows = [_window(field_number == row) for row in range(len(fields))]
    for row, window in enumerate(windows):
        if window is not None:
            inside = field_number[window] == row
            weight = np.where(inside, stack["cell_area_ha"].values[window], 0.0)
            calm = smooth_known(spare[window], weight, options.smoothing_widths * min_width_m / cell_m)
            smooth[window] = np.where(inside, calm, smooth[window])
    drawn: list[tuple[int, dict[int, BaseGeometry]]] = []
    for row, window in enumerate(windows):
        if window is None:  # smaller than a cell: one zone of which nothing is known
            if row in kept:
                kept[row] = fields.geometry.iloc[row]
            else:
                drawn.append((row, {0: free[row]}))
            continue
        inside = field_number[window] == row
        area_ha = stack["cell_area_ha"].values[window].astype(float)
        cells = FieldCells(spare[window], smooth[window], left[window] & inside, inside, area_ha, cell_m)
        numbers = best_division(cells, min_width_m=min_width_m, min_ha=min_zone_ha, options=options)
        transform = stack.rio.transform() * Affine.translation(window[1].start, window[0].start)
        pieces = outlines(numbers, transform, free[row], options.corner_cells * cell_m, min_width_m**2)
        drawn.append((row, pieces))
    kept = {row: own for row, own in kept.items() if own.area >= cell_m**2}
    return _table(stack, fields, drawn, kept, options.over_fraction)


def _without(stack: xr.Dataset, kept: dict[int, BaseGeometry]) -> np.ndarray:
    """Return the field of each cell, NaN where its middle lies on ground kept free."""
    numbers = stack["field_number"].values
    if not kept:
        return numbers
    shape, transform = numbers.shape, stack.rio.transform()
    return np.where(rasterio.features.rasterize(list(kept.values()), shape, transform=transform) == 1, np.nan, numbers)


def spare_of(stack: xr.Dataset) -> np.ndarray:
    """Return what each cell can spare, Mg/ha: 0 where nothing may leave, NaN where nothing is known."""
    spare = stack["removable_mg_ha"].values.astype(float)
    return np.where(_left_whole(stack) & np.isfinite(spare), 0.0, spare)


def _left_whole(stack: xr.Dataset) -> np.ndarray:
    """Cells from which nothing may leave: no spare stover, nothing known, or gathered water."""
    left = ~(stack["removable_mg_ha"].values > 0)
    if "concentrated_flow" in stack:
        left = left | (stack["concentrated_flow"].values == 1)
    return left


def _window(mask: np.ndarray) -> tuple[slice, slice] | None:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    return slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)


def _table(
    stack: xr.Dataset,
    fields: gpd.GeoDataFrame,
    drawn: list[tuple[int, dict[int, BaseGeometry]]],
    kept: dict[int, BaseGeometry],
    over_fraction: float,
) -> gpd.GeoDataFrame:
    """Measure the drawn zones on the grid and put them in the ZONES table."""
    geometry = [*(g for _, pieces in drawn for g in pieces.values()), *kept.values()]
    owner = [*(row for row, pieces in drawn for _ in pieces), *kept]
    loose = gpd.GeoDataFrame(geometry=geometry, crs=fields.crs)
    numbers = zone_numbers(loose, grid_of(stack)).values
    area = stack["cell_area_ha"].values.astype(float)
    plane_ha = abs(float(stack.rio.transform().determinant)) / M2_PER_HA
    left = _left_whole(stack)
    unknown, spare = ~np.isfinite(stack["removable_mg_ha"].values), spare_of(stack)
    rules = _rule_names(stack)

    rows = []
    for i, (field, outline) in enumerate(zip(owner, geometry, strict=True)):
        cells = numbers == i
        weight = area[cells]
        scale = float(weight.mean() / plane_ha) if len(weight) else float(area.mean() / plane_ha)
        limit = cautious_limit(spare[cells], weight, over_fraction) if len(weight) else 0.0
        row = {
            "field_id": fields["field_id"].iloc[field],
            "order": field,
            "area_ha": shapely.area(outline) / M2_PER_HA * scale,
            "stover_mg_ha": _mean(stack["stover_mg_ha"].values[cells], weight),
            "retention_mg_ha": _mean(stack["retention_mg_ha"].values[cells], weight),
            "removable_mg_ha": limit,
            "spare_mean_mg_ha": _mean(np.nan_to_num(spare[cells]), weight),
            "left_fraction": _mean(left[cells].astype(float), weight),
            "unknown_fraction": _mean(unknown[cells].astype(float), weight),
            "binding_rule": _max(stack, cells, weight, rules),
            "kept_free": i >= len(geometry) - len(kept),
        }
        rows.append(row)
    table = gpd.GeoDataFrame(rows, geometry=geometry, crs=fields.crs)
    table["gives"] = table["removable_mg_ha"] * table["area_ha"]
    order = {"by": ["order", "kept_free", "gives"], "ascending": [True, True, False]}
    table = table.sort_values(**order, kind="stable").reset_index(drop=True)
    rank = table.groupby("field_id", sort=False).cumcount()
    table["zone_id"] = [f"{f}-{_letters(n)}" for f, n in zip(table["field_id"], rank, strict=True)]
    table["method"], table["removal_mg_ha"], table["removal_mg"] = "leave", 0.0, 0.0
    titles = _rule_titles(stack)
    table["reason"] = [ground_messages(row, titles) for row in table.to_dict("records")]
    columns = ["zone_id", "field_id", "area_ha", "stover_mg_ha", "retention_mg_ha", "removable_mg_ha", "method"]
    columns += ["removal_mg_ha", "removal_mg", "binding_rule", "reason", "spare_mean_mg_ha", "left_fraction"]
    columns += ["unknown_fraction", "kept_free"]
    return table[[*columns, "geometry"]]


def _mean(values: np.ndarray, weight: np.ndarray) -> float:
    known = np.isfinite(values)
    return float(np.average(values[known], weights=weight[known])) if known.any() else 0.0


def _rule_names(stack: xr.Dataset) -> list[str]:
    rules = stack["binding_rule"].attrs.get("rules", ()) if "binding_rule" in stack else ()
    return rules.split(",") if isinstance(rules, str) else list(rules)


def _rule_titles(stack: xr.Dataset) -> dict[str, str]:
    """Return each rule's title, its name where the stack tells none."""
    names = _rule_names(stack)
    titles = stack["binding_rule"].attrs.get("titles", names) if names else names
    return dict(zip(names, titles, strict=True))


def _max(stack: xr.Dataset, cells: np.ndarray, weight: np.ndarray, rules: list[str]) -> str:
    """Name of the rule that binds on most of the zone's ground, "" where none is known."""
    if not rules:
        return ""
    number = stack["binding_rule"].values[cells]
    known = np.isfinite(number)
    if not known.any():
        return ""
    return rules[int(np.bincount(number[known].astype(int), weights=weight[known]).argmax())]


def _letters(n: int) -> str:
    """0, 1, ... as a, b, ... z, aa, ab, ..."""
    word = ""
    n += 1
    while n:
        n, rest = divmod(n - 1, 26)
        word = chr(ord("a") + rest) + word
    return word
