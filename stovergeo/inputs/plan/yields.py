"""``[yields]``: what fields without yield data give, as their grower states it."""

from __future__ import annotations

from pydantic import Field

from stovergeo.core.units import CORN_MARKET_MOISTURE, Quantity
from stovergeo.inputs.plan.base import GrainMgHa, Section


class Yields(Section):
    """The grower's own figures, at the market moisture of ``[farm]``; a field's yield data go before them."""

    everywhere: GrainMgHa | None = Field(
        None, gt=0, le=40, description='Yield of every field not named below, e.g. "200 bu/ac".'
    )
    by_field: dict[str, GrainMgHa] = Field(
        default_factory=dict, description='Yield of single fields by name, e.g. "Home 80" = "185 bu/ac".'
    )

    def stated(self, field: str) -> float | None:
        """Return the figure for a field as given, or None."""
        return self.by_field.get(field, self.everywhere)


def dry_yield(stated: float, market_moisture_pct: float) -> float:
    """Return a stated yield as oven-dry Mg/ha.

    Parameters
    ----------
    stated : float or Quantity
        As the plan file reads it: bushels count as 56 lb at 15.5 %, tonnes as dry.
    market_moisture_pct : float
        Moisture of the grain that the figure is stated for, percent, wet basis.
    """
    dry = 1 - market_moisture_pct / 100
    bushels = isinstance(stated, Quantity) and stated.unit.startswith("bu")
    return float(stated) * (dry / (1 - CORN_MARKET_MOISTURE) if bushels else dry)
