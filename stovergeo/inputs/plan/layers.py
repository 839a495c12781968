"""``[layers]``: the files a grower brings, and what their columns mean."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stovergeo.inputs.plan.base import DurationS, LengthM, Section


class Layer(Section):
    """A vector layer."""

    #: File, relative to the plan file.
    path: str
    #: Layer inside the file, where it holds several.
    layer: str | None = None
    #: CRS, only where the file does not say it, e.g. "EPSG:4326".
    crs: str | None = None
    #: The file has latitude where longitude belongs.
    swap_xy: bool = False


class FieldsLayer(Layer):
    """Field boundaries."""

    #: Column with the field's name.
    name_column: str | None = None
    #: Column that says yes where a crop still stands when bales are carried: the way goes round.
    standing_column: str | None = None


class HeightLayer(Layer):
    """Trees or buildings, with heights."""

    #: Column with a name to show.
    name_column: str | None = None
    #: Column with the height.
    height_column: str | None = None
    #: Unit of that column; never guessed.
    height_unit: Literal["m", "ft"] | None = None
    #: One height for all, e.g. "45 ft".
    height_m: LengthM | None = Field(None, alias="height", gt=0, le=100)
    #: Trees only: direct sun that passes them without leaves, November to April, percent.
    bare_light_pct: float | None = Field(None, ge=0, le=100)


class NamedLayer(Layer):
    """Wells, gates, roads and the like."""

    #: Column with a name to show.
    name_column: str | None = None


class PointColumns(Section):
    """Which column of the yield points plays which role. Only what is given is used."""

    #: Easting or longitude (text tables only).
    x: str | None = None
    #: Northing or latitude (text tables only).
    y: str | None = None
    #: Wet grain flow.
    flow: str | None = None
    #: Wet grain mass of the record.
    mass: str | None = None
    #: Yield per area, where no flow is given.
    grain_yield: str | None = Field(None, alias="yield")
    #: Grain moisture.
    moisture: str | None = None
    #: Width cut.
    swath: str | None = None
    #: Way covered in the record.
    distance: str | None = None
    #: Ground speed, where no distance is given.
    speed: str | None = None
    #: Time the record covers.
    seconds: str | None = None
    #: Time stamp.
    time: str | None = None
    #: GPS height.
    height: str | None = None
    #: Combine.
    machine: str | None = None
    #: Load.
    load: str | None = None
    #: Header state: up or down.
    header: str | None = None
    #: Crop of the record.
    crop: str | None = None


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
    #: One width for all records, e.g. "30 ft".
    swath_m: LengthM | None = Field(None, alias="swath", gt=0, le=60)
    #: One duration for all records, e.g. "1 s".
    record_s: DurationS | None = Field(None, alias="seconds", gt=0, le=3600)
    #: Sheet of a spreadsheet that holds several.
    sheet: str | None = None
    #: One moisture for all records, where there is no column.
    moisture_pct: float | None = Field(None, ge=5, le=45)
    #: Text of the header column that means 'cutting'.
    header_down: str | None = None
    #: Go on although over a fifth of the records lies outside the fields.
    allow_outside: bool = False
    #: Text of the crop column that means corn, case ignored.
    corn: str = "corn"


class EarlierPoints(PointsLayer):
    """Raw combine points of an earlier harvest; columns and units left out are those of ``[layers.yield_points]``."""

    #: Year of that harvest.
    year: int = Field(ge=1990, le=2100)


class SoilsLayer(Layer):
    """Soil polygons with the survey's attributes, a survey download or database, or a raster of map-unit keys."""

    #: Folder or database with the survey's tables, where the polygons carry only keys.
    tables: str | None = None
    #: Band, where the soils are a raster of several.
    band: int | None = Field(None, ge=1)


class RasterLayer(Section):
    """A raster."""

    path: str
    crs: str | None = None
    #: Band, where the file holds several.
    band: int | None = Field(None, ge=1)


class YieldRaster(RasterLayer):
    """A finished yield map."""

    unit: Literal["bu/ac at 15.5 %", "bu/ac dry", "t/ha at 15.5 %", "t/ha dry", "kg/ha dry"]


class EarlierMap(YieldRaster):
    """A finished yield map of an earlier harvest."""

    #: Year of that harvest.
    year: int = Field(ge=1990, le=2100)


class ElevationLayer(RasterLayer):
    """Ground heights."""

    #: Unit of the heights, where the file does not say.
    vertical_unit: Literal["m", "ft", "us-ft"] | None = None
    #: Go on although it covers less than half of the fields.
    allow_partial: bool = False


class Layers(Section):
    """All layers. Fields are needed, or yield points to draw them from."""

    fields: FieldsLayer | None = None
    yield_points: PointsLayer | None = None
    yield_raster: YieldRaster | None = None
    #: Combine points of earlier harvests, one entry a year.
    earlier_points: list[EarlierPoints] = Field(default_factory=list)
    #: Finished yield maps of earlier harvests, one entry a year.
    earlier_maps: list[EarlierMap] = Field(default_factory=list)
    elevation: ElevationLayer | None = None
    #: Heights of the surface with trees and buildings.
    surface: ElevationLayer | None = None
    soils: SoilsLayer | None = None
    #: Property lines, as polygons.
    property: Layer | None = None
    trees: HeightLayer | None = None
    buildings: HeightLayer | None = None
    dwellings: NamedLayer | None = None
    roads: NamedLayer | None = None
    gates: NamedLayer | None = None
    wells: NamedLayer | None = None
    #: Streams, ditches, ponds, tile inlets.
    water: NamedLayer | None = None
    #: Where water passes that the survey shows blocked: culverts (lines), tile inlets (points).
    culverts: NamedLayer | None = None
    overhead_lines: NamedLayer | None = None
    #: Places the grower already uses or proposes.
    yards: NamedLayer | None = None


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
    #: Erodibility K as the US handbooks print it, e.g. 0.32.
    k_us: float = Field(gt=0, le=0.8)
    #: Tolerance T in ton/ac/yr, 1 to 5.
    t_us: float = Field(gt=0, le=5)
    flooding: Literal["none", "very rare", "rare", "occasional", "frequent", "very frequent"] = "none"
    ponding: Literal["none", "rare", "occasional", "frequent"] = "none"
    water_table_m: LengthM = Field(2.0, alias="water_table")
    hydric: bool = False
    hydrologic_group: Literal["A", "B", "C", "D", "A/D", "B/D", "C/D"] = "C"
    #: Wind erodibility index, ton/ac/yr.
    wind_erodibility_us: float = Field(48, ge=0, le=310)
