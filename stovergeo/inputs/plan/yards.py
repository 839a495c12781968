"""``[yards]``: where bales may stand."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from stovergeo.inputs.plan.base import LengthM, MassMg, Section


class Setbacks(Section):
    """Clear distance from each hazard; left out: the handbook's default. Local rules decide."""

    well_m: LengthM | None = Field(None, alias="well")
    water_m: LengthM | None = Field(None, alias="water")
    building_m: LengthM | None = Field(None, alias="building")
    dwelling_m: LengthM | None = Field(None, alias="dwelling")
    road_m: LengthM | None = Field(None, alias="road")
    overhead_line_m: LengthM | None = Field(None, alias="overhead_line")
    property_line_m: LengthM | None = Field(None, alias="property_line")
    trees_m: LengthM | None = Field(None, alias="trees")
    waterway_m: LengthM | None = Field(None, alias="waterway")


class Place(Section):
    """A place the plan names, for example a kitchen window."""

    name: str
    lat: float = Field(ge=-90, le=90, description="Latitude, degrees.")
    lon: float = Field(ge=-180, le=180, description="Longitude, degrees.")


class Visibility(Section):
    """From where stacks should not be seen, or should be seen; weighed by ``weights.visibility``."""

    wish: Literal["hidden", "in view"] = Field(
        "hidden", description='"in view" where the owner wants to keep an eye on the stacks.'
    )
    seen_from: tuple[Literal["roads", "dwellings", "buildings", "gates"], ...] = Field(
        ("roads", "dwellings"), alias="from", description="Layers it is looked from."
    )
    places: tuple[Place, ...] = Field((), description="Places besides, by latitude and longitude.")
    reach_m: LengthM | None = Field(
        None, alias="reach", gt=0, le=2000, description="Farthest that a stack is noticed; left out: the handbook's."
    )


class Yards(Section):
    """The search for stack yards and the layout of rows."""

    most: int = Field(8, ge=1, le=200, description="Yards to offer.")
    min_bales: int = Field(40, ge=1, description="No yard for fewer bales than this.")
    stack_max_mg: MassMg = Field(
        90.718474, alias="stack_max", gt=0, description='As-is (wet) mass in one stack, e.g. "100 ton".'
    )
    fire_gap_m: LengthM | None = Field(None, alias="fire_gap", description="Between stacks; left out: the handbook's.")
    row_gap_m: LengthM | None = Field(None, alias="row_gap", description="Between rows; left out: the handbook's.")
    rows: Literal["north-south", "best angle", "down slope"] = "north-south"
    wind_from_deg: float | None = Field(None, ge=0, le=360, description="Prevailing storm wind, degrees from north.")
    weights: dict[str, Annotated[float, Field(ge=0)]] = Field(
        default_factory=dict, description="Weight by site criterion; left out: the criterion's own."
    )
    accept_base: bool = Field(
        False, description="Also use wet or heavy ground that only a base of stone makes fit; its cost is counted."
    )
    criteria: tuple[str, ...] | None = Field(
        None, description="Site criteria to use; left out: all that are installed."
    )
    visibility: Visibility = Field(default_factory=Visibility)
    setbacks: Setbacks = Field(default_factory=Setbacks)
