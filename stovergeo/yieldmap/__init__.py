"""From raw combine points to a grain surface with a stated error."""

from stovergeo.yieldmap.boundary import boundary_from_points
from stovergeo.yieldmap.clean import Cleaned, clean_points, raw_summary
from stovergeo.yieldmap.ground import Ground, ground_from_points
from stovergeo.yieldmap.reasons import REASONS
from stovergeo.yieldmap.surface import Surface, grain_surface
from stovergeo.yieldmap.years import Years, compare_years

__all__ = [
    "REASONS",
    "Cleaned",
    "Ground",
    "Surface",
    "Years",
    "boundary_from_points",
    "clean_points",
    "compare_years",
    "grain_surface",
    "ground_from_points",
    "raw_summary",
]
