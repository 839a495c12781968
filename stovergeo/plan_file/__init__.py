"""The plan file: one season of one farm, as validated models.

Each section has a file here; `read_plan` reads the TOML, and an unknown key is an error
that suggests the nearest known one. The sections stand here too, for those who use a room
alone: ``Limits(cover_pct=40)``, ``Bale(size="5x6")``.
"""

from stovergeo.plan_file.crop import Crop, Limits, Odds
from stovergeo.plan_file.gather import Bale, Gather, Storage, Wrap
from stovergeo.plan_file.money import Money
from stovergeo.plan_file.need import Contract, Herd, Need
from stovergeo.plan_file.plan import Plan, read_plan, starter_text
from stovergeo.plan_file.yards import Yards

__all__ = [
    "Bale",
    "Contract",
    "Crop",
    "Gather",
    "Herd",
    "Limits",
    "Money",
    "Need",
    "Odds",
    "Plan",
    "Storage",
    "Wrap",
    "Yards",
    "read_plan",
    "starter_text",
]
