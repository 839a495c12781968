"""Zones: cells that can spare about the same become compact ground one crew can work one way.

`make_zones` samples them, `zone_numbers` lays them back on the grid for the packages that
compute per zone, and `assign_methods` writes into them how each is gathered.
"""

from stovergeo.zones.assign import assign_methods
from stovergeo.zones.divide import ZoneOptions
from stovergeo.zones.ground import cautious_limit
from stovergeo.zones.make import make_zones, zone_options
from stovergeo.zones.outline import zone_numbers

__all__ = ["ZoneOptions", "assign_methods", "cautious_limit", "make_zones", "zone_numbers", "zone_options"]
