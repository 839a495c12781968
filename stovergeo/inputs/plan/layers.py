"""``[layers]``: the files a grower brings, and what their columns mean."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from stovergeo.core.units import parse_quantity
from stovergeo.inputs.plan.base import DurationS, LengthM, Section
from stovergeo.inputs.plan.erosion import Erodibility, Tolerance, WindIndex


def _tags(tags: dict[str, object]) -> dict[str, object]:
    for key, want in tags.items():
        listed = want if isinstance(want, list) else [want]
        if (
            not key.strip()
            or not listed
            or not all(isinstance(w, str | int | float) for w in listed)
            or False in listed
        ):
            raise ValueError(f'the tag {key[:40]!r} needs true for any value, one value, or a list like ["a", "b"]')
    if not tags:
        raise ValueError("needs at least one tag, such as { building = true }")
    return tags


#: column or tag -> true for any value, a value, or a list of values
Tags = Annotated[dict[str, object], AfterValidator(_tags)]


class Layer(Section):
    """A vector layer."""

    path: str = Field(description="File, relative to the plan file.")
    layer: str | None = Field(None, description="Layer inside the file or archive, where it holds several.")
    crs: str | None = Field(None, description='CRS, only where the file does not say it, e.g. "EPSG:4326".')
    swap_xy: bool = Field(False, description="The file has latitude where longitude belongs.")


class TaggedLayer(Layer):
    """A vector layer of which only some rows may be meant."""

    tags: Tags | None = Field(
        None,
        description="Rows to take, where the file mixes many things: columns or tags with true (any value), a value or "
        "a list. A row is taken if any of them fits.",
    )


class FieldsLayer(TaggedLayer):
    """Field boundaries."""

    name_column: str | None = Field(None, description="Column with the field's name.")
    standing_column: str | None = Field(
        None, description="Column that says yes where a crop still stands when bales are carried: the route goes round."
    )


class HeightLayer(TaggedLayer):
    """Trees or buildings, with heights."""

    name_column: str | None = Field(None, description="Column with a name to show.")
    height_column: str | None = Field(None, description="Column with the height.")
    height_unit: Literal["m", "ft"] | None = Field(None, description="Unit of that column; never guessed.")
    height_m: LengthM | None = Field(
        None, alias="height", gt=0, le=100, description='One height for all, e.g. "45 ft".'
    )
    bare_light_pct: float | None = Field(
        None,
        ge=0,
        le=100,
        description="Trees only: direct sun that passes them without leaves, November to April, percent.",
    )


class NamedLayer(TaggedLayer):
    """Wells, gates, roads and the like."""

    name_column: str | None = Field(None, description="Column with a name to show.")


class PointColumns(Section):
    """Which column of the yield points plays which role. Only what is given is used."""

    x: str | None = Field(None, description="Easting or longitude (text tables only).")
    y: str | None = Field(None, description="Northing or latitude (text tables only).")
    flow: str | None = Field(None, description="Wet grain flow.")
    mass: str | None = Field(None, description="Wet grain mass of the record.")
    grain_yield: str | None = Field(None, alias="yield", description="Yield per area, where no flow is given.")
    moisture: str | None = Field(None, description="Grain moisture.")
    swath: str | None = Field(None, description="Width cut.")
    distance: str | None = Field(None, description="Distance covered in the record.")
    speed: str | None = Field(None, description="Ground speed, where no distance is given.")
    seconds: str | None = Field(None, description="Time the record covers.")
    time: str | None = Field(None, description="Time stamp.")
    height: str | None = Field(None, description="GPS height.")
    machine: str | None = Field(None, description="Combine.")
    load: str | None = Field(None, description="Load.")
    header: str | None = Field(None, description="Header state: up or down.")
    crop: str | None = Field(None, description="Crop of the record.")


class PointUnits(Section):
    """The unit of each such column; a column whose unit is needed and not given is refused."""

    flow: Literal["lb/s", "kg/s", "t/h", "bu/h"] | None = None
    mass: Literal["lb", "kg"] | None = None
    grain_yield: (
        Literal[
            "bu/ac wet",
            "bu/ac at 15.5 %",
            "bu/ac dry",
            "t/ha wet",
            "t/ha at 15.5 %",
            "t/ha dry",
            "kg/ha wet",
            "kg/ha dry",
        ]
        | None
    ) = Field(None, alias="yield")
    moisture: Literal["%", "fraction"] | None = None
    swath: Literal["in", "ft", "m", "cm"] | None = None
    distance: Literal["in", "ft", "m", "cm"] | None = None
    speed: Literal["mph", "km/h", "m/s", "ft/s"] | None = None
    height: Literal["ft", "m"] | None = None
    seconds: Literal["s", "ms"] | None = None
    time: Literal["unix s", "gps s", "s", "iso"] | None = None


class PointsLayer(Layer):
    """Raw combine points."""

    columns: PointColumns = Field(default_factory=PointColumns)
    units: PointUnits = Field(default_factory=PointUnits)
    swath_m: LengthM | None = Field(
        None, alias="swath", gt=0, le=60, description='One width for all records, e.g. "30 ft".'
    )
    record_s: DurationS | None = Field(
        None, alias="seconds", gt=0, le=3600, description='One duration for all records, e.g. "1 s".'
    )
    sheet: str | None = Field(None, description="Sheet of a spreadsheet that holds several.")
    moisture_pct: float | None = Field(
        None, ge=5, le=45, description="One moisture for all records, where there is no column."
    )
    header_down: str | None = Field(None, description="Text of the header column that means 'cutting'.")
    allow_outside: bool = Field(
        False, description="Go on although over a fifth of the records lies outside the fields."
    )
    corn: str = Field("corn", description="Text of the crop column that means corn, case ignored.")


class EarlierPoints(PointsLayer):
    """Raw combine points of an earlier harvest; columns and units left out are those of ``[layers.yield_points]``."""

    year: int = Field(ge=1990, le=2100, description="Year of that harvest.")


class SoilColumns(Section):
    """Columns of soil polygons from elsewhere than the US soil survey, whose names are known; each with its unit."""

    erodibility: str | None = Field(None, description="Erodibility K.")
    tolerance: str | None = Field(None, description="Tolerable soil loss T.")
    wind_erodibility: str | None = Field(None, description="Wind erodibility index.")
    carbon: str | None = Field(None, description="Organic carbon in the top 30 cm (12 in).")


class SoilUnits(Section):
    """Units of these columns; left out for a column of the survey's own, it is in the survey's unit (US)."""

    erodibility: Literal["US", "t ha h/(ha MJ mm)"] | None = None
    tolerance: Literal["ton/ac/yr", "t/ha/yr"] | None = None
    wind_erodibility: Literal["ton/ac/yr", "t/ha/yr"] | None = None
    carbon: Literal["ton/ac", "t/ha", "kg/m2", "g/m2"] | None = None


class SoilsLayer(Layer):
    """Soil polygons with the survey's attributes, a survey download or database, or a raster of map-unit keys.

    A database may be a file geodatabase; a download and a geodatabase may be packed.
    """

    tables: str | None = Field(
        None,
        description="Folder or (geo)database with the survey's tables, where the polygons carry only keys.",
    )
    band: int | None = Field(None, ge=1, description="Band, where the soils are a raster of several.")
    columns: SoilColumns = Field(default_factory=SoilColumns)
    units: SoilUnits = Field(default_factory=SoilUnits)


class RasterLayer(Section):
    """A raster."""

    path: str = Field(description="File, relative to the plan file.")
    crs: str | None = Field(None, description='CRS, only where the file does not say it, e.g. "EPSG:4326".')
    band: int | None = Field(None, ge=1, description="Band, where the file holds several.")


class YieldRaster(RasterLayer):
    """A finished yield map."""

    unit: Literal["bu/ac at 15.5 %", "bu/ac dry", "t/ha at 15.5 %", "t/ha dry", "kg/ha dry"] = Field(
        description="Unit of the yields; never guessed."
    )


class EarlierMap(YieldRaster):
    """A finished yield map of an earlier harvest."""

    year: int = Field(ge=1990, le=2100, description="Year of that harvest.")


class ElevationTile(RasterLayer):
    """One raster of ground heights."""

    vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description="Unit of the heights, where the file does not say."
    )


class ElevationLayer(Section):
    """Ground heights, in one raster or in several tiles."""

    path: str | Annotated[tuple[str, ...], Field(min_length=1)] = Field(
        description="File, relative to the plan file; or a list of files, or a folder of .tif files. Where tiles "
        "overlap, the first that knows the height counts."
    )
    crs: str | None = Field(None, description='CRS, only where the files do not say it, e.g. "EPSG:4326".')
    band: int | None = Field(None, ge=1, description="Band, where the files hold several.")
    vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description="Unit of the heights, where the files do not say."
    )
    allow_partial: bool = Field(False, description="Go on although it covers less than half of the fields.")

    def tile(self, path: str) -> ElevationTile:
        """Return one of the rasters."""
        return ElevationTile(path=path, crs=self.crs, band=self.band, vertical_unit=self.vertical_unit)


class WeatherColumns(Section):
    """Which column of a plain daily table holds what."""

    date: str | None = Field(None, description="Day, year first.")
    rain_mm: str | None = Field(None, alias="rain", description="Rain and melted snow.")
    tmax_c: str | None = Field(None, alias="tmax", description="Highest air temperature.")
    tmin_c: str | None = Field(None, alias="tmin", description="Lowest air temperature.")
    dew_c: str | None = Field(None, alias="dew", description="Dew point, mean of the day.")
    humidity_pct: str | None = Field(None, alias="humidity", description="Relative humidity, mean of the day.")
    snow_depth_mm: str | None = Field(None, alias="snow_depth", description="Snow lying.")


class WeatherUnits(Section):
    """The unit of each such column; never guessed."""

    rain_mm: Literal["mm", "cm", "in"] | None = Field(None, alias="rain")
    tmax_c: Literal["C", "F"] | None = Field(None, alias="tmax")
    tmin_c: Literal["C", "F"] | None = Field(None, alias="tmin")
    dew_c: Literal["C", "F"] | None = Field(None, alias="dew")
    humidity_pct: Literal["%", "fraction"] | None = Field(None, alias="humidity")
    snow_depth_mm: Literal["mm", "cm", "in"] | None = Field(None, alias="snow_depth")


class WeatherLayer(Section):
    """A weather station's daily file, by which past autumns are replayed; see `[window]`."""

    path: str = Field(description="File, relative to the plan file.")
    form: Literal["ghcn", "ghcn_metric", "plain"] = Field(
        description="The public by-station file (GHCN-Daily) in tenths of mm and °C; the same in mm and °C; or a plain "
        "table whose columns and units are declared."
    )
    columns: WeatherColumns = Field(default_factory=WeatherColumns)
    units: WeatherUnits = Field(default_factory=WeatherUnits)
    reading_hour: float | None = Field(
        None, ge=0, le=24, description="Hour at which the observer reads, where the file does not say; 24: midnight."
    )

    @model_validator(mode="after")
    def _only_plain_declares(self) -> WeatherLayer:
        if self.form != "plain" and {"columns", "units"} & self.model_fields_set:
            raise ValueError('columns and units are declared for form = "plain" alone; the other forms know theirs')
        return self


class Layers(Section):
    """All layers. Fields are needed, or yield points to draw them from."""

    fields: FieldsLayer | None = None
    yield_points: PointsLayer | None = None
    yield_raster: YieldRaster | None = None
    earlier_points: list[EarlierPoints] = Field(
        default_factory=list, description="Combine points of earlier harvests, one entry a year."
    )
    earlier_maps: list[EarlierMap] = Field(
        default_factory=list, description="Finished yield maps of earlier harvests, one entry a year."
    )
    elevation: ElevationLayer | None = None
    surface: ElevationLayer | None = Field(None, description="Heights of the surface with trees and buildings.")
    soils: SoilsLayer | None = None
    property: TaggedLayer | None = Field(None, description="Property lines, as polygons.")
    trees: HeightLayer | None = Field(None, description="Woods, tree rows and single trees, with heights.")
    buildings: HeightLayer | None = Field(None, description="Buildings of every kind, with heights.")
    dwellings: NamedLayer | None = Field(None, description="Homes, also those of neighbors.")
    roads: NamedLayer | None = Field(None, description="Roads, lanes and tracks that a truck can use.")
    gates: NamedLayer | None = Field(None, description="Field entrances.")
    wells: NamedLayer | None = Field(None, description="Wells.")
    water: NamedLayer | None = Field(None, description="Streams, ditches, ponds, tile inlets.")
    culverts: NamedLayer | None = Field(
        None, description="Where water passes that the survey shows blocked: culverts (lines), tile inlets (points)."
    )
    overhead_lines: NamedLayer | None = Field(None, description="Overhead wires.")
    yards: NamedLayer | None = Field(None, description="Places the grower already uses or proposes.")
    weather: WeatherLayer | None = None


class Soil(Section):
    """One soil for the whole farm, where no soil layer is given, or what a soil layer lacks."""

    drainage_class: Literal[
        "excessively drained",
        "somewhat excessively drained",
        "well drained",
        "moderately well drained",
        "somewhat poorly drained",
        "poorly drained",
        "very poorly drained",
    ]
    clay_pct: float = Field(ge=0, le=100)
    erodibility: Erodibility = Field(description='Erodibility K, e.g. "0.32 US" or "0.042 t ha h/(ha MJ mm)".')
    tolerance: Tolerance = Field(description='Tolerable soil loss T, e.g. "5 ton/ac/yr" or "11 t/ha/yr".')
    flooding: Literal["none", "very rare", "rare", "occasional", "frequent", "very frequent"] = "none"
    ponding: Literal["none", "rare", "occasional", "frequent"] = "none"
    water_table_m: LengthM = Field(2.0, alias="water_table")
    hydric: bool = False
    hydrologic_group: Literal["A", "B", "C", "D", "A/D", "B/D", "C/D"] = "C"
    wind_erodibility: WindIndex = Field(
        parse_quantity("48 ton/ac/yr", "soil loss"),
        description='Wind erodibility index, e.g. "48 ton/ac/yr" or "108 t/ha/yr".',
    )
