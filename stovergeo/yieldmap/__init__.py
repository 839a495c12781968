"""From raw combine points to a grain surface with a stated error."""

from stovergeo.yieldmap.boundary import boundary_from_points as boundary_from_points
from stovergeo.yieldmap.clean import Cleaned as Cleaned
from stovergeo.yieldmap.clean import clean_points as clean_points
from stovergeo.yieldmap.clean import raw_summary as raw_summary
from stovergeo.yieldmap.drift import find_drift as find_drift
from stovergeo.yieldmap.ground import Ground as Ground
from stovergeo.yieldmap.ground import ground_from_points as ground_from_points
from stovergeo.yieldmap.reasons import REASONS as REASONS
from stovergeo.yieldmap.surface import Surface as Surface
from stovergeo.yieldmap.surface import grain_surface as grain_surface
from stovergeo.yieldmap.weighed import weighed_factors as weighed_factors
from stovergeo.yieldmap.years import Years as Years
from stovergeo.yieldmap.years import compare_years as compare_years
