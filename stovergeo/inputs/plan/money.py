"""``[money]``: prices of the season; what is left out comes from the handbook with its year."""

from __future__ import annotations

from pydantic import Field

from stovergeo.inputs.plan.base import MoneyPerHa, MoneyPerMg, Section
from stovergeo.inputs.plan.gather import Method


class Money(Section):
    """Prices."""

    #: Of a dry ton where it is used, e.g. "70 $/ton".
    stover_value_per_mg: MoneyPerMg | None = Field(None, alias="stover_value")
    #: Of the nutrient, e.g. "0.55 $/lb".
    nitrogen_per_mg: MoneyPerMg | None = Field(None, alias="nitrogen")
    phosphate_per_mg: MoneyPerMg | None = Field(None, alias="phosphate")
    potash_per_mg: MoneyPerMg | None = Field(None, alias="potash")
    sulfur_per_mg: MoneyPerMg | None = Field(None, alias="sulfur")
    #: Own price on every dry ton that leaves the soil, e.g. "10 $/ton".
    soil_carbon_per_mg: MoneyPerMg | None = Field(None, alias="soil_carbon")
    #: Chopping stalks, e.g. "14 $/ac".
    chop_per_ha: MoneyPerHa | None = Field(None, alias="chop")
    #: Raking, e.g. "8 $/ac".
    rake_per_ha: MoneyPerHa | None = Field(None, alias="rake")
    #: Baling, $ a bale with net (squares: with twine).
    bale_each: float | None = Field(None, ge=0)
    #: Bringing a bale to the stack and setting it down, $.
    stage_each: float | None = Field(None, ge=0)
    #: Truck and driver, $ an hour.
    truck_per_h: float | None = Field(None, ge=0, alias="truck_hour")
    #: Bringing a method's machines to one more field, $.
    set_up: float | None = Field(None, ge=0)
    #: Opening a yard: mowing, a lane made passable, $.
    yard_opening: float | None = Field(None, ge=0)
    #: Days fit for gathering that there are; left out: no limit.
    crew_days: float | None = Field(None, gt=0)
    #: Sets of machines that work at once.
    crews: int = Field(1, ge=1, le=50)
    #: The way stover is gathered today, to compare with.
    today: Method | None = None
