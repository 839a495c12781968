"""``[[need.herd]]`` and ``[[need.contract]]``: who needs the stover, and when."""

from __future__ import annotations

from typing import Final, Literal, get_args

from pydantic import Field, model_validator

from stovergeo.inputs.plan.base import MassMg, MoneyPerMg, Section

Month = Literal["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
MONTHS: Final[tuple[Month, ...]] = get_args(Month)

BEDDING = ("deep_bedded_barn", "open_lot", "winter_pack")
FEEDING = ("ring_feeder", "mixed_ration")


class Herd(Section):
    """Cattle to bed or feed."""

    name: str
    head: int = Field(gt=0, le=1_000_000)
    use: Literal["bedding", "feed"] = "bedding"
    housing: Literal["deep_bedded_barn", "open_lot", "winter_pack", "ring_feeder", "mixed_ration"] = "deep_bedded_barn"
    kg_head_day: float | None = Field(
        None, gt=0, le=20, description="Own rate as fed or bedded; left out: the handbook's."
    )
    months: tuple[Month, ...] = Field(MONTHS, min_length=1)

    @model_validator(mode="after")
    def _housing_fits_use(self) -> Herd:
        if (self.use == "feed") != (self.housing in FEEDING):
            fitting = " or ".join(repr(h) for h in (FEEDING if self.use == "feed" else BEDDING))
            raise ValueError(f"{self.use} does not go with housing {self.housing!r}; give {fitting}")
        return self


class Contract(Section):
    """Stover sold to a plant."""

    name: str
    dry_mg: MassMg = Field(alias="dry_mass", gt=0, description='Oven-dry mass over the season, e.g. "800 ton".')
    months: tuple[Month, ...] = Field(MONTHS, min_length=1)
    price_per_mg: MoneyPerMg | None = Field(None, alias="price", description='Delivered, e.g. "85 $/ton".')
    fill_at_a_loss: bool = Field(
        False, description="Fill it although its price does not cover what its tons add to the cost."
    )
    moisture_max_pct: float = Field(20, gt=0, le=50)
    ash_max_pct: float = Field(12, gt=0, le=40)
    distance_km: float = Field(0, ge=0, le=5000, description="Road haul from the farm, one way.")


class Need(Section):
    """All needs of the season."""

    herd: tuple[Herd, ...] = ()
    contract: tuple[Contract, ...] = ()

    @property
    def given(self) -> bool:
        """Whether anyone is said to need stover; without a need the plan is an inventory of what could leave."""
        return bool(self.herd or self.contract)

    @property
    def longest_haul_km(self) -> float:
        """Longest road haul of any contract, km; 0 where there is none."""
        return max((c.distance_km for c in self.contract), default=0.0)

    @model_validator(mode="after")
    def _names_differ(self) -> Need:
        names = [*(herd.name for herd in self.herd), *(contract.name for contract in self.contract)]
        if len(set(names)) < len(names):
            raise ValueError("two needs have the same name; each needs its own")
        return self
