"""Residue: how much stover grows, how much must stay and why, and what may leave.

The season calls `limits` on the stack, then, once zones are drawn, `sample_limits`, `zone_limits`,
`zone_methods`, `odds_table`, `sensitivity`, `harvest_calendar` and `nutrients`.
"""

from stovergeo.residue.carbon import harvest_calendar as harvest_calendar
from stovergeo.residue.carbon_goal import zone_carbon as zone_carbon
from stovergeo.residue.carbon_opinion import SoilClimate as SoilClimate
from stovergeo.residue.carbon_opinion import soil_opinions as soil_opinions
from stovergeo.residue.collection import Method as Method
from stovergeo.residue.collection import methods as methods
from stovergeo.residue.collection import take as take
from stovergeo.residue.cover_counts import check_counts as check_counts
from stovergeo.residue.cover_counts import cover_counts as cover_counts
from stovergeo.residue.erodible_land import State as State
from stovergeo.residue.erodible_land import erodible_land_messages as erodible_land_messages
from stovergeo.residue.erodible_land import field_states as field_states
from stovergeo.residue.monte_carlo import DrawnLimits as DrawnLimits
from stovergeo.residue.monte_carlo import odds_table as odds_table
from stovergeo.residue.monte_carlo import sample_limits as sample_limits
from stovergeo.residue.monte_carlo import sensitivity as sensitivity
from stovergeo.residue.nutrients import nutrients as nutrients
from stovergeo.residue.options import RuleOptions as RuleOptions
from stovergeo.residue.production import stover as stover
from stovergeo.residue.removable import CELLS_AT_ONCE as CELLS_AT_ONCE
from stovergeo.residue.removable import NamedRule as NamedRule
from stovergeo.residue.removable import check_rules as check_rules
from stovergeo.residue.removable import limits as limits
from stovergeo.residue.removable import removable_if as removable_if
from stovergeo.residue.removable import rules_for as rules_for
from stovergeo.residue.zone_tables import gain_without as gain_without
from stovergeo.residue.zone_tables import limit_totals as limit_totals
from stovergeo.residue.zone_tables import recommended as recommended
from stovergeo.residue.zone_tables import zone_limits as zone_limits
from stovergeo.residue.zone_tables import zone_methods as zone_methods
