"""Supply: routes over the ground, what they cost, and the joint choice.

The season calls `haul_ground`, `haul_distances`, `supply_problem`, `choose`, `haul_lines`.
"""

from stovergeo.supply.alternatives import alternatives, trade_off
from stovergeo.supply.choice import Choice, optimize, with_yield
from stovergeo.supply.contracts import contract_messages, without_losses
from stovergeo.supply.decide import choose
from stovergeo.supply.haul import HaulGround, HaulOptions, haul_distances, haul_ground, haul_lines, haul_options
from stovergeo.supply.inputs import supply_problem, yard_grounds
from stovergeo.supply.inventory import inventory
from stovergeo.supply.problem import Capacity, Prices, SupplyProblem
from stovergeo.supply.shortage import conflict, reliefs

__all__ = [
    "Capacity",
    "Choice",
    "HaulGround",
    "HaulOptions",
    "Prices",
    "SupplyProblem",
    "alternatives",
    "choose",
    "conflict",
    "contract_messages",
    "haul_distances",
    "haul_ground",
    "haul_lines",
    "haul_options",
    "inventory",
    "optimize",
    "reliefs",
    "supply_problem",
    "trade_off",
    "with_yield",
    "without_losses",
    "yard_grounds",
]
