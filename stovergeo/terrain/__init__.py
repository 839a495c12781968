"""The ground under the farm: slope, water and sun, each usable alone.

`slope_aspect` and `water` read bare-ground heights, `season_sun` reads the ground and the
surface with trees and buildings on it. All take projected north-up DataArrays in meters and
return variables of the field stack.
"""

from stovergeo.terrain.beam import cloud_from_sunshine as cloud_from_sunshine
from stovergeo.terrain.gradient import slope_aspect as slope_aspect
from stovergeo.terrain.length_slope import ls_by_class as ls_by_class
from stovergeo.terrain.sun import SunOptions as SunOptions
from stovergeo.terrain.sun import season_sun as season_sun
from stovergeo.terrain.sun import sun_by_month as sun_by_month
from stovergeo.terrain.water import water as water
