"""The plan file: one season of one farm, as validated models.

Each section has a file here; `read_plan` reads the TOML, and an unknown key is an error
that suggests the nearest known one.
"""

from stovergeo.plan_file.plan import Plan, read_plan, starter_text

__all__ = ["Plan", "read_plan", "starter_text"]
