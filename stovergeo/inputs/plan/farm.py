"""``[farm]`` and ``[landowner]``: whose ground, which season, which units to print."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from stovergeo.core.printing import UNIT_SYSTEMS
from stovergeo.inputs.plan.base import LengthM, MoneyPerHa, MoneyPerMg, Section, one_of


class Farm(Section):
    """The farm and the season."""

    name: str = Field(description="Farm name, as it shall stand on the map.")
    season: int = Field(ge=1950, le=2100, description="Year of the grain harvest.")
    units: Annotated[str, one_of(lambda: UNIT_SYSTEMS)] = Field("us", description="Units of tables and map.")
    crs: str | None = Field(
        None, description="Working CRS, projected and in metres; left out: the UTM zone of the fields."
    )
    cell_m: LengthM = Field(5.0, alias="cell", ge=0.5, le=100, description='Grid cell, e.g. "5 m".')
    margin_m: LengthM = Field(
        80.0, alias="margin", le=5000, description="Ground looked at beyond the fields and the property."
    )
    memory_max_gb: float | None = Field(
        None, gt=0, description="Memory that a run may take, GB; left out: what this machine has free."
    )
    market_moisture_pct: float = Field(
        15.5, ge=5, le=30, description="Moisture of the grain that yields at market moisture are stated for, percent."
    )
    ask: str = Field("", description="Whom to ask about this plan: name and telephone, printed on the map.")


class Landowner(Section):
    """What the landowner is offered and shown."""

    name: str = Field("", description="Who is asked.")
    price_per_mg: MoneyPerMg | None = Field(
        None, alias="price", description='Offered for the dry ton, e.g. "15 $/ton".'
    )
    price_per_ha: MoneyPerHa | None = Field(None, alias="rent", description='Or per acre, e.g. "20 $/ac".')
    no_go: str | None = Field(
        None,
        description="Layer file of places the landowner refuses: nothing is baled, stacked or hauled there. Rows whose "
        'column `keep_clear_of` says "stacks" are refused to stacks alone. `stovergeo answer` fills it.',
    )
