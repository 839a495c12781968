"""``[gather]``, ``[bale]``, ``[wrap]`` and ``[storage]``: from stover on the ground to bales in the stack."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated, Any, Final, Literal

from pydantic import Field, PrivateAttr, field_validator, model_validator

from stovergeo.core.bale_catalog import SHAPES, STANDARD_WRAP, WRAPS, covers_of_places, prepared_bases
from stovergeo.inputs.plan.base import AreaHa, DayOfYear, DensityKgM3, LengthM, Section, month_day, one_of

Method = Literal["single_pass", "second_pass", "rake_bale", "chop_and_rake"]

#: a year's rain on corn ground, mm, irrigated desert to gulf coast; twelve numbers in inches fall below it
YEAR_RAIN_MM: Final = (75.0, 4000.0)
#: days of baling and of the last bale used south of the equator: half a year from those north of it
_SOUTH: Final = {"baled": "05-05", "last_used": "02-10"}
#: a day of last use that comes sooner after baling is meant for the year after
_SHORTEST: Final = timedelta(days=28)


class Gather(Section):
    """How stover may be gathered."""

    methods: tuple[Method, ...] = Field(("single_pass", "second_pass", "rake_bale", "chop_and_rake"), min_length=1)
    working_width_m: LengthM = Field(
        9.144, alias="working_width", ge=1, le=60, description='Width of the machines, e.g. "30 ft".'
    )
    min_zone_ha: AreaHa = Field(2.0, alias="min_zone", description='No zone smaller than this, e.g. "5 ac".')


class Bale(Section):
    """The bale: one of the trade's sizes by name, or its own measures."""

    size: Annotated[str, one_of(lambda: (s for shape in SHAPES.values() for s in shape.sizes))] | None = Field(
        None,
        description="In feet: round width x diameter, square height x width x length; instead of the measures below.",
    )
    shape: Annotated[str, one_of(lambda: SHAPES)] = "round"
    width_m: LengthM = Field(
        1.524,
        alias="width",
        ge=0.3,
        le=2.5,
        description="Round: width (axis). Square: width of the end, left out: 4 ft.",
    )
    diameter_m: LengthM = Field(1.8288, alias="diameter", ge=0.6, le=2.5, description="Round only.")
    height_m: LengthM = Field(0.9144, alias="height", ge=0.3, le=2, description="Square only: height of the end.")
    length_m: LengthM = Field(2.4384, alias="length", ge=0.6, le=3.5, description="Square only.")
    density_dry_kg_m3: DensityKgM3 | None = Field(
        None, alias="dry_density", ge=40, le=350, description='Own dry density, e.g. "7.3 lb/ft3".'
    )
    moisture_pct: float | None = Field(None, ge=5, le=60, description="Own moisture at baling; left out: by method.")
    condition: Literal["fall", "spring"] = Field(
        "fall", description="When it is baled: spring stover is brittle and packs less."
    )
    setting: Literal["light", "normal", "tight"] = Field("normal", description="How hard the baler is set.")

    @model_validator(mode="before")
    @classmethod
    def _measures_of_size(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        size = given.get("size")
        of_size = next((shape for shape in SHAPES.values() if size in shape.sizes), None)
        if of_size is None:
            # nothing to fill in but what a shape has without a size, or an error that the field itself reports
            named = given.get("shape")
            return ({**SHAPES[named].defaults} | given) if isinstance(named, str) and named in SHAPES else given
        measures = of_size.measures_of(str(size)) | {"shape": of_size.name}
        doubled = sorted(key for key in measures if given.get(key, measures[key]) != measures[key])
        if doubled:
            raise ValueError(
                f"size {size!r} says another {' and '.join(doubled)}; give the size or the measures, not both"
            )
        return given | measures


class Wrap(Section):
    """What holds the bale together and keeps the rain out."""

    kind: Annotated[str, one_of(lambda: (*WRAPS, "best"))] = Field(
        STANDARD_WRAP, description="'best' lets the plan choose."
    )
    turns: float | None = Field(
        None, gt=0, le=12, description="Turns of net; left out: four, or five for a year outside or a long haul."
    )
    long_haul: bool = False
    roll_length_m: LengthM = Field(3000.0, alias="roll_length", ge=50, description='Net on a roll, e.g. "9840 ft".')
    overlap_m: LengthM = Field(
        0.4572, alias="overlap", ge=0, le=3, description='Overlap at the end of the net, e.g. "18 in".'
    )


class Storage(Section):
    """Where the bales wait, and for how long."""

    place: Annotated[str, one_of(lambda: ("outside", *covers_of_places()))] = "outside"
    base: Annotated[str, one_of(lambda: ("best", "ground", *prepared_bases()))] = Field(
        "best", description="What the bales stand on; 'best' chooses by ground."
    )
    pattern: Literal["single row", "mushroom", "pyramid", "touching rows"] = "single row"
    baled: DayOfYear = Field("11-05", description="Middle of baling, month-day; left out south of the equator: 05-05.")
    last_used: DayOfYear = Field(
        "08-10",
        description="Last bale used, month-day: the first such day four weeks or more after baling; left out south of "
        "the equator: 02-10.",
    )
    rain_mm: tuple[float, ...] | None = Field(
        None, min_length=12, max_length=12, description="Rain and snow by calendar month, mm."
    )
    air_c: tuple[float, ...] | None = Field(
        None, min_length=12, max_length=12, description="Mean air temperature by calendar month, C."
    )
    normals: str | None = Field(
        None,
        description="File of a weather station's monthly normals, for what of rain_mm and air_c is left out.",
    )
    normals_units: Literal["us", "metric"] = Field(
        "us", description="Units of that file: inches and degrees F, or mm and C."
    )
    sunshine_h: tuple[float, ...] | None = Field(
        None,
        min_length=12,
        max_length=12,
        description="Hours of bright sunshine a day, by calendar month; left out: no clouds.",
    )

    _south: bool = PrivateAttr(default=False)
    _borrowed: tuple[str, ...] = PrivateAttr(default=())

    def at_latitude(self, latitude: float) -> Storage:
        """Return the same for ground at a latitude, degrees north: south of the equator seasons lie half a year on."""
        south = latitude < 0
        days = {name: day for name, day in _SOUTH.items() if south and name not in self.model_fields_set}
        placed = self.model_copy(update=days)
        placed._south = south
        return placed

    def span(self, season: int) -> tuple[date, date]:
        """Return the day of baling and the day the last bale is used.

        North of the equator the grain harvest ends with the year, and what is baled before July was left over
        winter; south of it harvest and baling lie in one year.
        """
        (month, day), last = map(month_day, (self.baled, self.last_used))
        start = date(season if self._south or month >= 7 else season + 1, month, day)
        end = date(start.year, *last)
        return start, end if end - start >= _SHORTEST else end.replace(year=end.year + 1)

    def with_climate(
        self,
        rain_mm: tuple[float, ...] | None = None,
        air_c: tuple[float, ...] | None = None,
        borrowed: tuple[str, ...] = (),
    ) -> Storage:
        """Return the same with a climate in place of what the plan leaves out; `borrowed` names "rain" and "air"."""
        found = {"rain_mm": self.rain_mm or rain_mm, "air_c": self.air_c or air_c}
        placed = self.model_copy(update=found)
        placed._borrowed = borrowed
        return placed

    @property
    def is_south(self) -> bool:
        """Whether the ground lies south of the equator."""
        return self._south

    @property
    def borrowed(self) -> tuple[str, ...]:
        """What of the climate is another region's: "rain", "air"."""
        return self._borrowed

    @field_validator("rain_mm")
    @classmethod
    def _rain_in_mm(cls, given: tuple[float, ...] | None) -> tuple[float, ...] | None:
        if given is None:
            return given
        if min(given) < 0:
            raise ValueError("rain cannot be negative")
        if not YEAR_RAIN_MM[0] <= sum(given) <= YEAR_RAIN_MM[1]:
            raise ValueError(f"twelve months add up to {sum(given):g} mm, which no corn ground gets; are they inches?")
        return given
