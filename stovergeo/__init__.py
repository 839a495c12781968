"""stovergeo: which ground can give up corn stover, how, and where the bales should stand.

The packages, in the order the data go through them (each usable alone):
`inputs`, `yieldmap`, `terrain`, `residue`, `zones`, `bales`, `window`, `siting`, `supply`, `report`.
`stovergeo.workflow` runs a whole season, from a plan file to the pages.

The names listed in ``__all__`` are the public functions most users need. They are imported when first
asked for, so that ``import stovergeo`` costs next to nothing; the rest is imported from its package.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what type checkers and editors see of the lazy names below; a test compares the two
    from stovergeo.bales import bale_of as bale_of
    from stovergeo.bales import need_table as need_table
    from stovergeo.bales import wrap_table as wrap_table
    from stovergeo.core.coefficients import load_handbook as load_handbook
    from stovergeo.core.errors import Report as Report
    from stovergeo.core.stack import new_stack as new_stack
    from stovergeo.core.stack import put as put
    from stovergeo.inputs.plan import read_plan as read_plan
    from stovergeo.inputs.read import read_layers as read_layers
    from stovergeo.report import write_outputs as write_outputs
    from stovergeo.residue import RuleOptions as RuleOptions
    from stovergeo.residue import limits as limits
    from stovergeo.siting import find_yards as find_yards
    from stovergeo.siting import rate_ground as rate_ground
    from stovergeo.supply import choose as choose
    from stovergeo.terrain import season_sun as season_sun
    from stovergeo.terrain import slope_aspect as slope_aspect
    from stovergeo.terrain import water as water
    from stovergeo.workflow import run_season as run_season
    from stovergeo.workflow import sample_plan_path as sample_plan_path
    from stovergeo.yieldmap import clean_points as clean_points
    from stovergeo.yieldmap import grain_surface as grain_surface
    from stovergeo.zones import make_zones as make_zones
    from stovergeo.zones import zone_options as zone_options

__version__ = "0.1.0"

_BY_PACKAGE = {
    "workflow": ("run_season", "sample_plan_path"),
    "core.errors": ("Report",),
    "core.coefficients": ("load_handbook",),
    "inputs.plan": ("read_plan",),
    "core.stack": ("new_stack", "put"),
    "inputs.read": ("read_layers",),
    "yieldmap": ("clean_points", "grain_surface"),
    "terrain": ("slope_aspect", "water", "season_sun"),
    "residue": ("RuleOptions", "limits"),
    "zones": ("make_zones", "zone_options"),
    "bales": ("bale_of", "need_table", "wrap_table"),
    "siting": ("rate_ground", "find_yards"),
    "supply": ("choose",),
    "report": ("write_outputs",),
}
_PACKAGE_OF = {name: package for package, names in _BY_PACKAGE.items() for name in names}

__all__ = ["__version__", *_PACKAGE_OF]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for (PEP 562)."""
    if name not in _PACKAGE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_PACKAGE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
