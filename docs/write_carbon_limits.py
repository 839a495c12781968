"""Write ``docs/carbon-limits.md``: what the soil-carbon rule lets leave on made farms, by the table alone and now.

Run ``python docs/write_carbon_limits.py`` after a change of the rule or its numbers; a test compares the page with what
this script writes.
"""

from __future__ import annotations

from pathlib import Path

import xarray as xr

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, stover
from stovergeo.residue.carbon_stock.goal import lognormal
from stovergeo.residue.retention import soil_carbon

PAGE = Path(__file__).with_name("carbon-limits.md")
ROTATIONS = ("continuous corn", "corn-soybean")
BUSHELS = (180, 220)
#: soil -> carbon in the top 30 cm, Mg/ha (made up); None: not known
SOILS = {"light, 50 t/ha": 50.0, "heavy, 100 t/ha": 100.0, "not known": None}
#: nine in ten of the table's spread as it was, a triangle of .66, 1 and 1.34
OLD_FACTOR = 1.34 - (0.1 * 0.68 * 0.34) ** 0.5
COEFFICIENTS = load_handbook()


def removals(rotation: str, bushels: float, carbon: float | None, manure: float = 0.0) -> list[float | str]:
    """Return stover, what may leave by the table alone (middle, and surely as it was) and now, and which binds."""
    line = COEFFICIENTS.value("residue.slope"), COEFFICIENTS.value("residue.intercept")
    grown = float(stover(bushels * MG_HA_DRY_PER_BU_ACRE, *line))
    known = {} if carbon is None else {"soil_carbon": (("y", "x"), [[carbon]])}
    ground = xr.Dataset({"stover_typical_mg_ha": (("y", "x"), [[grown]]), **known})
    crop = Crop.model_validate({"rotation": rotation, "manure_c_mg_ha": manure})
    spread = COEFFICIENTS["retention.carbon.factor"]

    def leaves(factor: float, rule: object) -> float:
        drawn = RuleOptions(crop, Limits(), COEFFICIENTS, drawn={"retention.carbon.factor": factor})
        return max(grown - float(rule(ground, drawn).values[0, 0]), 0.0)  # type: ignore[operator]

    table, goal = leaves(1.0, soil_carbon.by_table), leaves(1.0, soil_carbon.by_goal)
    surely = float(lognormal(0.9, spread.value, spread.sd_ln))
    now = [leaves(factor, soil_carbon.keep) for factor in (1.0, surely)]
    return [grown, table, leaves(OLD_FACTOR, soil_carbon.by_table), *now, "goal" if goal < table else "table"]


def page() -> str:
    """Return the page as Markdown."""
    rows = [
        (rotation, bushels, soil, *removals(rotation, bushels, carbon))
        for rotation in ROTATIONS
        for bushels in BUSHELS
        for soil, carbon in SOILS.items()
    ]
    manured = removals("continuous corn", 220, 100.0, manure=1.0)
    rows.append(("continuous corn, 1 t/ha of manure carbon", 220, "heavy, 100 t/ha", *manured))
    lines = [
        f"| {rotation} | {bushels} | {soil} | " + " | ".join(f"{v:.1f}" for v in numbers) + f" | {binds} |"
        for rotation, bushels, soil, *numbers, binds in rows
    ]
    return "\n".join([HEAD, *lines, "", FOOT, ""])


HEAD = """# What the soil-carbon rule lets leave

*Written by `docs/write_carbon_limits.py`; a test keeps it current.* Dry t/ha in a year of harvest, every corn
year, no-till or conservation tillage, no manure where none is named, a goal of 5 %; other rules are left out.
*Middle* is the limit on the map, *surely* the one that is met in 90 of 100 cases of the table's spread. *Table
alone* has the spread as it was, a triangle (decision [130](decisions/0130-soil-carbon-in-the-season.md)).

| rotation | bu/ac | soil | grown | table alone, middle | table alone, surely | now, middle | now, surely | binds |
| --- | --- | --- | --- | --- | --- | --- | --- | --- |"""

FOOT = """The farms are made up, the carbon of their soils too. Where the carbon is not known, 60 t/ha is taken. Manure
carbon counts with 1.13 in all columns.

The sample farm has carbon in its soils, and the manure of its herd goes to four of its five fields; what was set and
why stands in decision [130](decisions/0130-soil-carbon-in-the-season.md)."""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
