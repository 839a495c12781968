"""``[money]``: prices of the season; what is left out comes from the handbook with its year."""

from __future__ import annotations

from pydantic import Field

from stovergeo.inputs.plan.base import MoneyPerHa, MoneyPerMg, Section
from stovergeo.inputs.plan.gather import Method


class Money(Section):
    """Prices."""

    stover_value_per_mg: MoneyPerMg | None = Field(
        None, alias="stover_value", description='Of a dry ton where it is used, e.g. "70 $/ton".'
    )
    nitrogen_per_mg: MoneyPerMg | None = Field(None, alias="nitrogen", description='Of the nutrient, e.g. "0.55 $/lb".')
    phosphate_per_mg: MoneyPerMg | None = Field(None, alias="phosphate")
    potash_per_mg: MoneyPerMg | None = Field(None, alias="potash")
    sulfur_per_mg: MoneyPerMg | None = Field(None, alias="sulfur")
    soil_carbon_per_mg: MoneyPerMg | None = Field(
        None, alias="soil_carbon", description='Own price on every dry ton that leaves the soil, e.g. "10 $/ton".'
    )
    chop_per_ha: MoneyPerHa | None = Field(None, alias="chop", description='Chopping stalks, e.g. "14 $/ac".')
    rake_per_ha: MoneyPerHa | None = Field(None, alias="rake", description='Raking, e.g. "8 $/ac".')
    bale_each: float | None = Field(None, ge=0, description="Baling, $ a bale with net (squares: with twine).")
    stage_each: float | None = Field(None, ge=0, description="Bringing a bale to the stack and setting it down, $.")
    truck_per_h: float | None = Field(None, ge=0, alias="truck_hour", description="Truck and driver, $ an hour.")
    set_up: float | None = Field(None, ge=0, description="Bringing a method's machines to one more field, $.")
    yard_opening: float | None = Field(None, ge=0, description="Opening a yard: mowing, a lane made passable, $.")
    crew_days: float | None = Field(
        None, gt=0, description="Days fit for gathering that there are; left out: no limit."
    )
    crews: int = Field(1, ge=1, le=50, description="Sets of machines that work at once.")
    today: Method | None = Field(None, description="How stover is gathered today, to compare with.")
