"""Zones: cells that can spare about the same become compact ground one crew can work one way.

`make_zones` samples them, `zone_numbers` lays them back on the grid for the packages that
compute per zone, and `assign_methods` writes into them how each is gathered.
"""

from stovergeo.zones.assign import assign_methods as assign_methods
from stovergeo.zones.divide import ZoneOptions as ZoneOptions
from stovergeo.zones.ground import cautious_limit as cautious_limit
from stovergeo.zones.make import make_zones as make_zones
from stovergeo.zones.make import spare_of as spare_of
from stovergeo.zones.make import zone_options as zone_options
from stovergeo.zones.outline import zone_numbers as zone_numbers
