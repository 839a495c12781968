"""stovergeo: which ground can give up corn stover, how, and where the bales should stand.

The rooms, in the order the data go through them (each usable alone):
`layers`, `yieldmap`, `terrain`, `residue`, `zones`, `bales`, `yards`, `supply`, `share`.
`stovergeo.season` walks the whole way from a plan file to the landowner's map.

The names listed in ``__all__`` are each room's front door. They are imported when first asked
for, so that ``import stovergeo`` costs next to nothing; the rest of a room is imported from
the room itself.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what type checkers and editors see of the lazy names below; a test compares the two
    from stovergeo.bales import bale_of as bale_of
    from stovergeo.bales import need_table as need_table
    from stovergeo.bales import wrap_table as wrap_table
    from stovergeo.errors import Report as Report
    from stovergeo.handbook import load_handbook as load_handbook
    from stovergeo.layers import read_layers as read_layers
    from stovergeo.plan_file import read_plan as read_plan
    from stovergeo.residue import RuleOptions as RuleOptions
    from stovergeo.residue import limits as limits
    from stovergeo.season import run_season as run_season
    from stovergeo.season import sample_plan_path as sample_plan_path
    from stovergeo.share import write_outputs as write_outputs
    from stovergeo.stack import new_stack as new_stack
    from stovergeo.stack import put as put
    from stovergeo.supply import choose as choose
    from stovergeo.terrain import season_sun as season_sun
    from stovergeo.terrain import slope_aspect as slope_aspect
    from stovergeo.terrain import water as water
    from stovergeo.yards import find_yards as find_yards
    from stovergeo.yards import rate_ground as rate_ground
    from stovergeo.yieldmap import clean_points as clean_points
    from stovergeo.yieldmap import grain_surface as grain_surface
    from stovergeo.zones import make_zones as make_zones
    from stovergeo.zones import zone_options as zone_options

__version__ = "0.1.0"

_BY_ROOM = {
    "season": ("run_season", "sample_plan_path"),
    "errors": ("Report",),
    "handbook": ("load_handbook",),
    "plan_file": ("read_plan",),
    "stack": ("new_stack", "put"),
    "layers": ("read_layers",),
    "yieldmap": ("clean_points", "grain_surface"),
    "terrain": ("slope_aspect", "water", "season_sun"),
    "residue": ("RuleOptions", "limits"),
    "zones": ("make_zones", "zone_options"),
    "bales": ("bale_of", "need_table", "wrap_table"),
    "yards": ("rate_ground", "find_yards"),
    "supply": ("choose",),
    "share": ("write_outputs",),
}
_ROOM_OF = {name: room for room, names in _BY_ROOM.items() for name in names}

__all__ = ["__version__", *_ROOM_OF]


def __getattr__(name: str) -> Any:
    """Import a front door when it is first asked for (PEP 562)."""
    if name not in _ROOM_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_ROOM_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
