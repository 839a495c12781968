"""The autumn baling window: on which days stover is dry enough to bale, and the chance to finish by a date.

Past autumns of a weather station are replayed whole. In each, stover dries and is rained on hour by hour, ground
carries machines or does not, and the crew bales on what fit hours there are. It is not a forecast, and the season's
plan does not use it yet.
"""

from stovergeo.window.autumns import Autumns as Autumns
from stovergeo.window.autumns import autumns as autumns
from stovergeo.window.autumns import check_station as check_station
from stovergeo.window.autumns import with_this_season as with_this_season
from stovergeo.window.chance import Chance as Chance
from stovergeo.window.chance import bales_by_day as bales_by_day
from stovergeo.window.chance import chance as chance
from stovergeo.window.chance import chance_messages as chance_messages
from stovergeo.window.chance import days_done as days_done
from stovergeo.window.chance import idle_hours as idle_hours
from stovergeo.window.chance import likely_days as likely_days
from stovergeo.window.chance import sure_bales as sure_bales
from stovergeo.window.chance import wilson as wilson
from stovergeo.window.compare import Order as Order
from stovergeo.window.compare import Wait as Wait
from stovergeo.window.compare import baler_table as baler_table
from stovergeo.window.compare import balers_needed as balers_needed
from stovergeo.window.compare import best_order as best_order
from stovergeo.window.compare import cost_of_waiting as cost_of_waiting
from stovergeo.window.compare import unfinished as unfinished
from stovergeo.window.drying import METHODS as METHODS
from stovergeo.window.drying import Drying as Drying
from stovergeo.window.drying import drying_of as drying_of
from stovergeo.window.drying import equilibrium_pct as equilibrium_pct
from stovergeo.window.drying import moisture_at_combining_pct as moisture_at_combining_pct
from stovergeo.window.humidity import air_by_day as air_by_day
from stovergeo.window.humidity import air_of as air_of
from stovergeo.window.humidity import humidity_messages as humidity_messages
from stovergeo.window.humidity import saturation_kpa as saturation_kpa
from stovergeo.window.messages import Lever as Lever
from stovergeo.window.messages import baler_messages as baler_messages
from stovergeo.window.messages import day_at as day_at
from stovergeo.window.messages import fewest_messages as fewest_messages
from stovergeo.window.messages import likely_messages as likely_messages
from stovergeo.window.messages import loosen_messages as loosen_messages
from stovergeo.window.messages import order_messages as order_messages
from stovergeo.window.messages import wait_messages as wait_messages
from stovergeo.window.moisture import daily_moisture as daily_moisture
from stovergeo.window.moisture import fit_calendar as fit_calendar
from stovergeo.window.moisture import fit_days as fit_days
from stovergeo.window.moisture import standing_moisture as standing_moisture
from stovergeo.window.pace import pace_mg_h as pace_mg_h
from stovergeo.window.progress import NEVER as NEVER
from stovergeo.window.replay import Replay as Replay
from stovergeo.window.replay import replay as replay
from stovergeo.window.replay import replay_balers as replay_balers
from stovergeo.window.replay import setting as setting
from stovergeo.window.work import SUNDAY as SUNDAY
from stovergeo.window.work import Crew as Crew
from stovergeo.window.work import FieldToBale as FieldToBale
from stovergeo.window.work import limit_pct as limit_pct
from stovergeo.window.work import start_order as start_order
