"""The field stack: one dataset on one grid that gains variables from package to package.

Dims are ``(y, x)``, north-up, float32, NaN = nothing known, CRS by rioxarray. A variable
may enter the stack only under a name this module knows, so that its unit and meaning
stand in one place; `docs/glossary` is rendered from the same table.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import rioxarray  # noqa: F401  registers the .rio accessor that carries the CRS
import xarray as xr
from odc.geo.geobox import GeoBox
from pyproj import CRS, Proj, Transformer

from stovergeo.core.errors import ContractError
from stovergeo.core.units import M2_PER_HA


@dataclass(frozen=True, slots=True)
class Variable:
    """What a variable of the stack is."""

    unit: str
    long_name: str
    low: float = -np.inf  #: smallest value that makes sense
    high: float = np.inf


#: every variable, by the package that makes it, in the order they are made
BY_PACKAGE: Final[dict[str, dict[str, Variable]]] = {
    "inputs": {
        "cell_area_ha": Variable("ha", "true (geodesic) area of the cell", 0),
        "field_number": Variable("1", "row of the field in the fields table, NaN outside all fields", 0),
        "inside_property": Variable("1", "1 on ground where a yard may be looked for, else 0", 0, 1),
        "elevation_m": Variable("m", "height of the bare ground"),
        "surface_m": Variable("m", "height of ground, trees and buildings, as the sun meets it"),
        "soil_number": Variable("1", "row of the soil in the soils table", 0),
        "drainage_class": Variable(
            "1", "natural drainage: 1 excessively ... 7 very poorly drained, 8 subaqueous", 1, 8
        ),
        "wettest_drainage_class": Variable(
            "1", "natural drainage, 1 to 8, of the wettest soil that covers 15 % or more", 1, 8
        ),
        "flooding_class": Variable(
            "1", "flooding: 0 none, 1 very rare, 2 rare, 3 occasional, 4 frequent, 5 very frequent", 0, 5
        ),
        "ponding_class": Variable("1", "ponding: 0 none, 1 rare, 2 occasional, 3 frequent", 0, 3),
        "water_table_cm": Variable("cm", "shallowest wet layer in the year (200 = deeper than seen)", 0),
        "clay_pct": Variable("%", "clay in the surface layer", 0, 100),
        "soil_carbon": Variable("Mg/ha", "organic carbon in the top 30 cm of the soil", 0, 600),
        "soil_carbon_tested": Variable("1", "1 where a soil test tells the carbon, else 0", 0, 1),
        "manure_carbon": Variable("Mg/(ha yr)", "carbon that manure brings, mean of all years", 0, 50),
        "hydric": Variable("1", "1 hydric, 0 not, 0.5 unranked", 0, 1),
        "hydrologic_group": Variable("1", "runoff group: 1 A, 2 B, 3 C, 4 D (dual groups count as undrained)", 1, 4),
        "soil_erodibility": Variable("Mg ha h/(ha MJ mm)", "K of the surface layer", 0, 0.15),
        "soil_loss_tolerance": Variable("Mg/(ha yr)", "T, tolerable soil loss", 0, 20),
        "wind_erodibility": Variable("Mg/(ha yr)", "wind erodibility index of the soil", 0, 700),
        "erodible_class": Variable("1", "soil survey's list: 2 highly erodible, 1 potentially, 0 not", 0, 2),
    },
    "yieldmap": {
        "grain_mg_ha": Variable("Mg/ha", "dry corn grain", 0, 40),
        "grain_error_mg_ha": Variable("Mg/ha", "standard error of the grain surface", 0),
        "grain_mean_mg_ha": Variable("Mg/ha", "dry corn grain in the mean of several years", 0, 40),
        "relative_yield": Variable("1", "yield over its field's mean, mean of several years", 0),
        "yield_variation": Variable("1", "coefficient of variation of relative yield between years", 0),
        "yield_stability": Variable("1", "1 steadily high, 2 steadily low, 3 unsteady between years", 1, 3),
    },
    "terrain": {
        "slope_pct": Variable("%", "slope of the ground", 0),
        "aspect_deg": Variable("degree", "direction the ground falls to, clockwise from north", 0, 360),
        "roughness_m": Variable("m", "largest height difference to the eight neighbors", 0),
        "ponding_m": Variable("m", "depth to which a depression fills before it spills", 0),
        "upslope_area_m2": Variable("m2", "ground that drains through the cell, multiple-flow", 0),
        "concentrated_flow": Variable("1", "1 where water concentrates and no sheet-erosion equation holds", 0, 1),
        "wetness": Variable("1", "topographic wetness index ln(a/tan slope)"),
        "drainage_height_m": Variable("m", "height above the nearest drainage along the flow path", 0),
        "ls_factor": Variable("1", "slope length and steepness factor of the soil-loss equation", 0),
        "sun_kwh_m2": Variable("kWh/m2", "direct beam on the ground over the storage season", 0),
        "sun_fraction": Variable("1", "direct beam of the season as a share of what open flat ground gets", 0),
    },
    "residue": {
        "stover_mg_ha": Variable("Mg/ha", "dry stover standing before grain harvest", 0, 60),
        "stover_typical_mg_ha": Variable(
            "Mg/ha", "dry stover of most years, at most what stands; limits count on it", 0, 60
        ),
        "retention_mg_ha": Variable("Mg/ha", "dry stover that must stay: the largest of all rules", 0),
        "binding_rule": Variable("1", "number of the rule that asks for most (attribute `rules` names them)", 0),
        "removable_mg_ha": Variable("Mg/ha", "dry stover that may leave: stover less keep, never below 0", 0),
    },
    "siting": {
        "yard_allowed": Variable("1", "1 where no hard reason forbids a stack", 0, 1),
        "yard_score": Variable("1", "weighted score of the ground as a stack yard", 0, 1),
        "yard_reason": Variable("1", "number of the first hard reason (attribute `reasons` names them), 0 none", 0),
    },
}
VARIABLES: Final[dict[str, Variable]] = {name: kind for made in BY_PACKAGE.values() for name, kind in made.items()}

#: families of names that rules and criteria make, each with its own name inside
_FAMILIES: Final[tuple[tuple[re.Pattern[str], Variable], ...]] = (
    (
        re.compile(r"retention_(?P<name>[a-z0-9_]+)_mg_ha"),
        Variable("Mg/ha", "dry stover asked for by the rule {name}", 0),
    ),
    (re.compile(r"score_(?P<name>[a-z0-9_]+)"), Variable("1", "score for the criterion {name}", 0, 1)),
)


def variable(name: str) -> Variable:
    """Return what a name stands for.

    Raises
    ------
    ContractError
        When the name is not one the stack knows.
    """
    if name in VARIABLES:
        return VARIABLES[name]
    for pattern, kind in _FAMILIES:
        match = pattern.fullmatch(name)
        if match:
            return Variable(kind.unit, kind.long_name.format(name=match["name"]), kind.low, kind.high)
    raise ContractError(f"the stack knows no variable {name!r}")


def new_stack(grid: GeoBox) -> xr.Dataset:
    """Return an empty stack on a grid: coordinates, CRS, true cell area.

    Parameters
    ----------
    grid : GeoBox
        North-up grid in a projected meter CRS.

    Returns
    -------
    xarray.Dataset
        With ``cell_area_ha``, dims ``(y, x)``.

    Raises
    ------
    ContractError
        When the grid has no coordinate reference system, one that is not projected in meters, or is not north-up.

    Examples
    --------
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import new_stack
    >>> grid = GeoBox.from_bbox((440_000, 4_650_000, 440_300, 4_650_200), crs="EPSG:32615", resolution=10)
    >>> stack = new_stack(grid)
    >>> dict(stack.sizes), round(float(stack["cell_area_ha"].sum()), 2)
    ({'y': 20, 'x': 30}, 6.0)
    """
    if grid.transform.a <= 0 or grid.transform.e >= 0 or grid.transform.b or grid.transform.d:
        raise ContractError("the grid of a stack must be north-up, its rows from north to south; resample it so")
    rows, cols = grid.shape
    x = grid.transform.c + grid.transform.a * (np.arange(cols) + 0.5)
    y = grid.transform.f + grid.transform.e * (np.arange(rows) + 0.5)
    stack = xr.Dataset(coords={"y": y, "x": x}).rio.write_crs(_wkt(grid)).rio.write_transform(grid.transform)
    return put(stack, cell_area_ha=_true_cell_area_ha(grid))


def put(stack: xr.Dataset, **values: np.ndarray | xr.DataArray) -> xr.Dataset:
    """Return the stack with variables added, each with its unit and meaning.

    Parameters
    ----------
    stack : xarray.Dataset
    **values : array, shape of the grid
        By variable name, in the unit of the glossary; kept as float32.

    Returns
    -------
    xarray.Dataset
        A new one; the stack given stays as it was.

    Raises
    ------
    ContractError
        For an unknown name, a shape that is not the grid's, or an array that says another unit or lies elsewhere.

    Examples
    --------
    >>> import numpy as np
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import new_stack, put
    >>> grid = GeoBox.from_bbox((440_000, 4_650_000, 440_300, 4_650_200), crs="EPSG:32615", resolution=10)
    >>> stack = put(new_stack(grid), grain_mg_ha=np.full((20, 30), 10.5))
    >>> stack["grain_mg_ha"].attrs
    {'units': 'Mg/ha', 'long_name': 'dry corn grain'}
    """
    shape = tuple(stack.sizes[d] for d in ("y", "x"))
    added = {}
    for name, value in values.items():
        kind = variable(name)
        data = np.asarray(value, dtype=np.float32)
        if data.shape != shape:
            raise ContractError(f"{name} has shape {data.shape}, the stack {shape}")
        if isinstance(value, xr.DataArray):
            _check_place(value, stack, name)
        extra = dict(value.attrs) if isinstance(value, xr.DataArray) else {}
        if extra.get("units", kind.unit) != kind.unit:
            raise ContractError(
                f"{name} stands in the stack in {kind.unit}, but what is put there says {extra['units']}; convert the "
                "values and set the attribute `units`"
            )
        added[name] = (("y", "x"), data, {**extra, "units": kind.unit, "long_name": kind.long_name})
    return stack.assign(added)


def need(stack: xr.Dataset, names: Iterable[str], who: str) -> None:
    """Check that a stack holds what a package reads, in the right unit.

    Raises
    ------
    ContractError
        Naming what is missing or carries another unit, and who asked; or that the stack is not in meters.
    """
    _check_holds(stack, names, who)
    for name in names:
        check_unit(stack[name], name, who)


def _check_holds(stack: xr.Dataset, names: Iterable[str], who: str) -> None:
    # asked of the coordinates alone: an accessor and its dataset hold each other, and with it every array, until the
    # collector finds them
    crs = stack.coords.to_dataset().rio.crs
    if crs is not None:
        _check_metric(crs, f"the stack that {who} reads")
    for name in names:
        if name not in stack:
            raise ContractError(
                f"{who} reads {name!r}, which the stack does not hold; run the package that makes it first"
            )


def check_unit(array: xr.DataArray, name: str, who: str) -> None:
    """Check that an array, if it says a unit, says the one of the variable it stands for.

    Raises
    ------
    ContractError
        Naming both units, who asked, and the cure.
    """
    said, wanted = array.attrs.get("units"), variable(name).unit
    if said is not None and said != wanted:
        cure = "convert the values and set the attribute `units`"
        raise ContractError(f"{who} reads {name!r} in {wanted}, but it is in {said}; {cure}")


def total(stack: xr.Dataset, name: str, where: np.ndarray | xr.DataArray | None = None) -> float:
    """Return the sum over true area of a per-hectare variable (Mg/ha -> Mg), unknown cells left out.

    Raises
    ------
    ContractError
        When the stack lacks the variable or the cells' area, or is not in meters.
    """
    _check_holds(stack, (name, "cell_area_ha"), "total")
    mass = stack[name] * stack["cell_area_ha"]
    if where is not None:
        mass = mass.where(where)
    return float(mass.sum(dtype=np.float64))


def grid_of(stack: xr.Dataset) -> GeoBox:
    """Return the grid a stack stands on."""
    return GeoBox((stack.sizes["y"], stack.sizes["x"]), stack.rio.transform(), stack.rio.crs.to_wkt())


def summary(*stacks: xr.Dataset) -> Mapping[str, tuple[str, float, float]]:
    """Return unit, least and greatest known value of each variable over all stacks given, for reports."""
    found: dict[str, tuple[str, float, float]] = {}
    for stack in stacks:
        for name, values in stack.data_vars.items():
            unit, low, high = found.get(str(name), (values.attrs.get("units", ""), np.nan, np.nan))
            here = float(values.min(skipna=True)), float(values.max(skipna=True))
            found[str(name)] = (unit, float(np.fmin(low, here[0])), float(np.fmax(high, here[1])))
    return found


def _check_metric(crs: object, what: str) -> None:
    """Refuse what is not in meters on a plane: areas and slopes would be off by orders of magnitude."""
    if crs is None:
        raise ContractError(f"{what} needs a coordinate reference system; set it, for instance with rio.write_crs")
    system = CRS.from_user_input(crs.to_wkt() if hasattr(crs, "to_wkt") else crs)
    if not system.is_projected or any(axis.unit_name not in ("metre", "meter") for axis in system.axis_info[:2]):
        raise ContractError(
            f"{what} is in {system.axis_info[0].unit_name}s ({system.name}); reproject it to a projected system in "
            "meters, such as the UTM zone"
        )


def _check_place(value: xr.DataArray, stack: xr.Dataset, name: str) -> None:
    """Refuse an array that says it lies in another reference system, or on other ground, than the stack."""
    crs, own = value.rio.crs, stack.rio.crs
    alike = crs is None or crs.to_wkt() == own.to_wkt()  # most are, and a look at the text is quick
    if not alike and CRS.from_user_input(crs.to_wkt()) != CRS.from_user_input(own.to_wkt()):
        raise ContractError(f"{name} is in {crs.to_string()}, the stack in {own.to_string()}; reproject it")
    for axis in ("x", "y"):
        if axis in value.coords and value[axis].size == stack[axis].size:
            cell = abs(float(stack[axis][1] - stack[axis][0])) if stack[axis].size > 1 else 1.0
            off = float(np.abs(value[axis].to_numpy() - stack[axis].to_numpy()).max())
            if not off <= 0.5 * cell:
                raise ContractError(f"{name} lies {off:,.6g} m off the stack's grid along {axis}; resample it onto it")


def _wkt(grid: GeoBox) -> str:
    _check_metric(grid.crs, "the grid of a stack")
    assert grid.crs is not None  # refused just now
    return grid.crs.to_wkt()


def _true_cell_area_ha(grid: GeoBox) -> np.ndarray:
    """Geodesic cell area: the plane cell divided by the projection's areal scale at the cell.

    The scale varies smoothly; it is computed on a coarse lattice and spread linearly.
    """
    crs = CRS.from_user_input(_wkt(grid))
    rows = np.unique(np.linspace(0, grid.shape[0] - 1, 9).round())
    cols = np.unique(np.linspace(0, grid.shape[1] - 1, 9).round())
    cc, rr = np.meshgrid(cols, rows)
    x, y = grid.transform * (cc + 0.5, rr + 0.5)
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    scale = np.asarray(Proj(crs).get_factors(lon, lat).areal_scale)
    full_rows = np.stack([np.interp(np.arange(grid.shape[1]), cols, line) for line in scale])
    spread = np.stack([np.interp(np.arange(grid.shape[0]), rows, line) for line in full_rows.T], axis=1)
    plane = abs(grid.resolution.x * grid.resolution.y) / M2_PER_HA
    return plane / spread
