"""``[yields]``: what the grower knows of the harvest beside its files: stated yields, weighed totals, known losses."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from stovergeo.core.units import CORN_MARKET_MOISTURE, Quantity
from stovergeo.inputs.plan.base import GrainMgHa, Section, WeighedMg


class Weighed(Section):
    """Grain weighed over a scale: of a field, of a machine, of a load, or of what they have in common."""

    field: str | None = Field(None, description="Name of the field it came from.")
    machine: str | None = Field(None, description="Machine that cut it, as the yield points name it.")
    load: str | None = Field(None, description="Load, as the yield points name it; of a folder of files, a file.")
    grain_mg: WeighedMg = Field(
        alias="grain",
        gt=0,
        description='As weighed, with moisture_pct: "812,000 lb"; or at market moisture: "14,500 bu".',
    )
    moisture_pct: float | None = Field(None, ge=5, le=45, description="Its moisture, percent, wet basis.")

    @model_validator(mode="after")
    def _can_be_used(self) -> Weighed:
        if not self.parts:
            raise ValueError("needs a field, a machine or a load that the grain came from")
        if self.in_bushels and self.moisture_pct is not None:
            raise ValueError("bushels count at market moisture; leave moisture_pct out, or give the weight")
        if not self.in_bushels and self.moisture_pct is None:
            raise ValueError("a weight needs the moisture_pct of the grain; or give bushels at market moisture")
        return self

    @property
    def in_bushels(self) -> bool:
        """Whether it is given in bushels at market moisture."""
        return isinstance(self.grain_mg, Quantity) and self.grain_mg.unit == "bu"

    @property
    def parts(self) -> dict[str, str]:
        """Return what it is the total of: "field", "machine" or "load" -> name."""
        given = {"field": self.field, "machine": self.machine, "load": self.load}
        return {kind: name for kind, name in given.items() if name is not None}

    def dry_mg(self, market_moisture_pct: float) -> float:
        """Return its oven-dry mass, Mg."""
        moisture = market_moisture_pct if self.moisture_pct is None else self.moisture_pct
        return float(self.grain_mg) * (1 - moisture / 100)


class Yields(Section):
    """The grower's own figures."""

    everywhere: GrainMgHa | None = Field(
        None,
        gt=0,
        le=40,
        description='Yield of every field not named below, at market moisture, e.g. "200 bu/ac"; yield data go first.',
    )
    by_field: dict[str, Annotated[GrainMgHa, Field(gt=0, le=40)]] = Field(
        default_factory=dict, description='Yield of single fields by name, e.g. "Home 80" = "185 bu/ac".'
    )
    weighed: tuple[Weighed, ...] = Field(
        (), description="Grain weighed over a scale, one entry a total; the yield map is set to it."
    )
    accept_losses: tuple[str, ...] = Field(
        (), description="Fields, machines or loads whose yields may be used although cleaning left out most records."
    )

    def stated(self, field: str) -> float | None:
        """Return the figure for a field as given, or None."""
        return self.by_field.get(field, self.everywhere)


def dry_yield(stated: float, market_moisture_pct: float) -> Quantity:
    """Return a stated yield as oven-dry Mg/ha that remembers the figure as given, with its moisture.

    Parameters
    ----------
    stated : float or Quantity
        As the plan file reads it: bushels count as 56 lb at 15.5 %, tonnes as dry.
    market_moisture_pct : float
        Moisture of the grain that the figure is stated for, percent, wet basis.
    """
    dry = 1 - market_moisture_pct / 100
    given, unit = (stated.given, stated.unit) if isinstance(stated, Quantity) else (None, "")
    bushels = unit.startswith("bu")
    traded = bushels and market_moisture_pct == 100 * CORN_MARKET_MOISTURE
    own = unit if traded else f"{unit} at {market_moisture_pct:g}%"
    return Quantity(float(stated) * (dry / (1 - CORN_MARKET_MOISTURE) if bushels else dry), given, own)
