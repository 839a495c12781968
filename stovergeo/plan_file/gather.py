"""``[gather]``, ``[bale]``, ``[wrap]`` and ``[storage]``: from stover on the ground to bales in the stack."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stovergeo.plan_file.base import AreaHa, DensityKgM3, LengthM, Section

Method = Literal["single_pass", "second_pass", "rake_bale", "chop_and_rake"]


class Gather(Section):
    """How stover may be gathered."""

    methods: tuple[Method, ...] = Field(("single_pass", "second_pass", "rake_bale", "chop_and_rake"), min_length=1)
    working_width_m: LengthM = Field(9.144, alias="working_width", description='Width of the machines, e.g. "30 ft".')
    smallest_zone_ha: AreaHa = Field(2.0, alias="smallest_zone", description='No zone smaller than this, e.g. "5 ac".')


class Bale(Section):
    """The bale."""

    shape: Literal["round", "square"] = "round"
    width_m: LengthM = Field(1.524, alias="width", description="Round: width (axis). Square: width of the end.")
    diameter_m: LengthM = Field(1.8288, alias="diameter", description="Round only.")
    height_m: LengthM = Field(0.9144, alias="height", description="Square only: height of the end.")
    length_m: LengthM = Field(2.4384, alias="length", description="Square only.")
    density_dry_kg_m3: DensityKgM3 | None = Field(
        None, alias="dry_density", description='Own dry density, e.g. "7.3 lb/ft3".'
    )
    moisture_pct: float | None = Field(None, ge=5, le=60, description="Own moisture at baling; left out: by method.")


class Wrap(Section):
    """What holds the bale together and keeps the rain out."""

    kind: Literal["twine", "net", "full_cover", "stretch_film", "tarp", "best"] = Field(
        "net", description="'best' lets the plan choose."
    )
    turns: float | None = Field(
        None, gt=0, le=12, description="Turns of net; left out: four, or five for a year outside or a long haul."
    )
    long_haul: bool = False
    roll_length_m: LengthM = Field(3000.0, alias="roll_length", description='Net on a roll, e.g. "9840 ft".')
    overlap_m: LengthM = Field(0.4572, alias="overlap", description='Overlap at the end of the net, e.g. "18 in".')


class Storage(Section):
    """Where the bales wait, and for how long."""

    place: Literal["outside", "tarped rows", "open shed", "closed shed"] = "outside"
    base: Literal["best", "ground", "gravel", "tires"] = Field(
        "best", description="What the bales stand on; 'best' chooses by ground."
    )
    pattern: Literal["single row", "mushroom", "pyramid", "touching rows"] = "single row"
    baled: str = Field("11-05", pattern=r"^\d\d-\d\d$", description="Middle of baling, month-day.")
    last_used: str = Field("08-10", pattern=r"^\d\d-\d\d$", description="Last bale used, month-day of the year after.")
    rain_mm: tuple[float, ...] | None = Field(
        None, min_length=12, max_length=12, description="Rain and snow by calendar month, mm."
    )
    air_c: tuple[float, ...] | None = Field(
        None, min_length=12, max_length=12, description="Mean air temperature by calendar month, C."
    )
