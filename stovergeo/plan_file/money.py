"""``[money]``: prices of the season; what is left out comes from the handbook with its year."""

from __future__ import annotations

from pydantic import Field

from stovergeo.plan_file.base import MoneyPerMg, Section


class Money(Section):
    """Prices."""

    stover_value_per_mg: MoneyPerMg | None = Field(
        None, alias="stover_value", description='Of a dry ton where it is used, e.g. "70 $/ton".'
    )
    nitrogen_per_mg: MoneyPerMg | None = Field(None, alias="nitrogen", description='Of the nutrient, e.g. "0.55 $/lb".')
    phosphate_per_mg: MoneyPerMg | None = Field(None, alias="phosphate")
    potash_per_mg: MoneyPerMg | None = Field(None, alias="potash")
    sulfur_per_mg: MoneyPerMg | None = Field(None, alias="sulfur")
