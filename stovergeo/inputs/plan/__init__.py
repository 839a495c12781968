"""The plan file: one season of one farm, as validated models.

Each section has a file here; `read_plan` reads the TOML, and an unknown key is an error
that suggests the nearest known one. The sections stand here too, for those who use a package
alone: ``Limits(cover_pct=40)``, ``Bale(size="5x6")``.
"""

from stovergeo.inputs.plan.crop import Crop, Limits, Odds, SoilTest
from stovergeo.inputs.plan.gather import Bale, Gather, Storage, Wrap
from stovergeo.inputs.plan.money import Money
from stovergeo.inputs.plan.need import Contract, Herd, Need
from stovergeo.inputs.plan.plan import Plan, read_plan, starter_text
from stovergeo.inputs.plan.yards import Yards

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
    "SoilTest",
    "Storage",
    "Wrap",
    "Yards",
    "read_plan",
    "starter_text",
]
