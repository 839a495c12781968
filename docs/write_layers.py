"""Write ``docs/layers.md``: the formats that are read, and for each layer its keys, columns and units.

Run ``python docs/write_layers.py`` after a change of these; a test compares the page.
"""

from __future__ import annotations

import types
import typing
from pathlib import Path

from pydantic.fields import FieldInfo

from stovergeo.core.printing import render
from stovergeo.inputs import archive, fields, open_file, soils, surroundings, tags, tracks
from stovergeo.inputs.plan.base import Section
from stovergeo.inputs.plan.layers import (
    Layer,
    Layers,
    PointColumns,
    PointUnits,
    RasterLayer,
    TaggedLayer,
    WeatherColumns,
    WeatherUnits,
)
from stovergeo.inputs.soil_survey import WANTED
from stovergeo.inputs.surroundings import FAMILIES

PAGE = Path(__file__).with_name("layers.md")
VECTOR = "any layer of shapes"
#: driver that `open_file` names -> format, ending, what it may hold, what to know
FORMATS = {
    "GPKG": ("GeoPackage", ".gpkg", f"{VECTOR}, soil survey", "the safest choice; `layer` names one of several"),
    "ESRI Shapefile": ("Shapefile", ".shp with .shx, .dbf, .prj", VECTOR, "copy all its files, or pack them"),
    "GeoJSON": ("GeoJSON", ".geojson, .json", VECTOR, "in degrees"),
    "LIBKML": ("KML, KMZ", ".kml, .kmz", VECTOR, "all folders of one map are read together"),
    "FlatGeobuf": ("FlatGeobuf", ".fgb", VECTOR, ""),
    "Parquet": ("GeoParquet", ".parquet", VECTOR, "needs the extra `parquet`"),
    "OpenFileGDB": (
        "file geodatabase",
        "folder .gdb, also packed",
        f"{VECTOR}, soil survey",
        "`layer` names one of several",
    ),
    "GPX": ("GPX of a receiver", ".gpx", "fields, property, roads, gates, wells ...", "see *Tracks and waypoints*"),
    "OSM": ("OpenStreetMap extract", ".osm, .osm.pbf", "what stands around the fields", "see *Mixed files*"),
    "text": (
        "text table",
        ".csv, .txt, .tsv",
        "points, weather",
        "comma, semicolon, tab or bar; decimal point or comma",
    ),
    "Excel": ("Excel", ".xlsx", "points, weather", "needs the extra `excel`; `sheet` names one of several"),
    "GTiff": ("GeoTIFF", ".tif", "rasters, keys of soil map units", ""),
    "AAIGrid": ("ASCII grid", ".asc", "rasters", ""),
    "HFA": ("Imagine", ".img", "rasters", ""),
    "SRTMHGT": ("height tile", ".hgt", "elevation", ""),
    "SQLite": ("SQLite", ".sqlite, .db", "soil survey", "with the survey's tables and polygons"),
    "TASKDATA": (
        "task data of machines, ISO 11783-10",
        "folder or .zip with TASKDATA.XML",
        "points",
        "see [there](task-data.md)",
    ),
    "folder": ("folder", "", "points, elevation tiles, soil survey download", "one file a load, machine or tile"),
}
UNITS = {
    "soil_erodibility": "US units, as the handbooks print it, or as `units` says",
    "soil_loss_tolerance": "ton/ac a year, or as `units` says",
    "soil_carbon": "g/m2 in the top 30 cm, or as `units` says",
    "sand_pct": "%",
    "wind_erodibility": "ton/ac a year, or as `units` says",
    "slope_length_m": "m",
    "slope_low_pct": "%",
    "slope_high_pct": "%",
    "slope_length_low_m": "m",
    "slope_length_high_m": "m",
    "water_table_cm": "cm",
    "clay_pct": "%",
}


def row(*cells: str) -> str:
    """Return a row of a table."""
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """Return a table."""
    return "\n".join([row(*head), "|" + "---|" * len(head), *(row(*cells) for cells in rows)])


def values(name: str, field: FieldInfo) -> str:
    """Return what a key may be."""
    words = literals(field.annotation)
    if words:
        return ", ".join(f'`"{w}"`' for w in words)
    flat = inner(field.annotation)
    if name == "tags":
        return "section"
    if bool in flat:
        return "true or false"
    if name.endswith("_m"):
        return 'length with its unit, `"30 ft"`'
    if name.endswith("_s"):
        return 'time with its unit, `"1 s"`'
    if name.endswith("_pct"):
        return "percent"
    if int in flat:
        return "whole number"
    if float in flat:
        return "number"
    return "text" if str in flat else "section"


def inner(annotation: object) -> set[object]:
    """Return the plain types of an annotation."""
    parts = typing.get_args(annotation)
    kept = parts and (isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is not typing.Literal)
    return set().union(*(inner(p) for p in parts)) if kept else {annotation}


def literals(annotation: object) -> tuple[str, ...]:
    """Return the words of a choice."""
    if typing.get_origin(annotation) is typing.Literal:
        return tuple(sorted(typing.get_args(annotation)))  # equal choices share one order, whichever came first
    return next((found for part in typing.get_args(annotation) if (found := literals(part))), ())


def section_of(annotation: object) -> type[Section]:
    """Return the section of the plan that describes a layer."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    return next(section_of(part) for part in typing.get_args(annotation) if part is not type(None))


def own_keys(section: type[Section], key: str) -> set[str]:
    """Return the keys that a layer has beside those of its kind."""
    common = next((kind for kind in (TaggedLayer, Layer, RasterLayer) if issubclass(section, kind)), None)
    left_out = {"bare_light_pct"} if key == "buildings" else set()
    return set(section.model_fields) - set(common.model_fields if common else ()) - left_out


def keys(section: type[Section], names: set[str]) -> str:
    """Return the table of a section's keys; a word where it has none."""
    if not names:
        return "It has no keys of its own."
    rows = [
        (f"`{field.alias or name}`", values(name, field), field.description or "")
        for name, field in section.model_fields.items()
        if name in names - {"columns", "units"}
    ]
    return table(("key", "value", "meaning"), rows)


def layer_text(key: str, field: FieldInfo) -> str:
    """Return the chapter of one layer."""
    section = section_of(field.annotation)
    doc = (section.__doc__ or "").splitlines()[0]
    many = typing.get_origin(field.annotation) is list
    head = f"### {f'[[layers.{key}]]' if many else f'[layers.{key}]'}"
    parts = [head, field.description or doc]
    kinds = FAMILIES.get(key, {"polygon"} if key in ("fields", "soils") else {"point"} if "points" in key else set())
    if kinds:
        parts.append(f"Shapes: {', '.join(sorted(kinds))}.")
    if key in tags.DEFAULT_TAGS:
        parts.append(f"Of an OpenStreetMap extract: {code(tags.DEFAULT_TAGS[key])}.")
    if issubclass(section, TaggedLayer) and "name_column" in section.model_fields:
        usual = fields._NAMES if key == "fields" else surroundings._NAMES
        parts.append(f"Names come from `name_column`, or from the first column called {', '.join(map(ticked, usual))}.")
    if surroundings._LAYERS.get(key, ("", None))[1]:
        parts.append(f"Without it: {render(surroundings.message(f'not_checked.{key}'), 'us')}")
    parts.append(keys(section, own_keys(section, key)))
    if key == "yield_points":
        parts.append(points_text())
    if key == "soils":
        parts.append(soils_text())
    if key == "weather":
        parts.append(weather_text())
    return "\n\n".join(parts)


def ticked(text: str) -> str:
    """Return text as code."""
    return f"`{text}`"


def code(wanted: dict[str, object]) -> str:
    """Return tags as code."""
    return ", ".join(ticked(tags.written({k: w})) for k, w in wanted.items())


def columns_table(columns: type[Section], units: type[Section]) -> str:
    """Return the table of the columns that a plan names, with their units."""
    rows = []
    for name, column in columns.model_fields.items():
        unit = units.model_fields.get(name)
        choice = ", ".join(f'`"{w}"`' for w in literals(unit.annotation)) if unit else ""
        rows.append((f"`{column.alias or name}`", column.description or "", choice))
    return table(("column", "meaning", "units"), rows)


def points_text() -> str:
    """Return the table of the columns of points and their units."""
    head = (
        "Columns stand under `[layers.yield_points.columns]`, each unit under the same key in "
        "`[layers.yield_points.units]`. `stovergeo check` proposes both. Needed are a flow, a mass or a yield, its "
        "moisture, and the ground of a record."
    )
    return head + "\n\n" + columns_table(PointColumns, PointUnits)


def weather_text() -> str:
    """Return what a plain weather table declares, and what the file must hold."""
    head = (
        "A plain table declares its columns under `[layers.weather.columns]`, each unit under the same key in "
        "`[layers.weather.units]`. Needed are the date, rain, and the highest and lowest temperature of each day, of "
        "15 autumns or more: 1 September to 15 December, south of the equator 1 March to 14 June. An autumn with more "
        "than 5 % of its rain unknown is left out, and named."
    )
    return head + "\n\n" + columns_table(WeatherColumns, WeatherUnits)


def soils_text() -> str:
    """Return the tables of the survey's attributes and of its own tables."""
    rows = [
        (name.replace("_", " ").removesuffix(" cm").removesuffix(" m").removesuffix(" pct"),
         ", ".join(map(ticked, found)), UNITS.get(name, "the survey's words"))
        for name, found in soils.ATTRIBUTES.items()
    ]  # fmt: skip
    kept = [(ticked(name), ticked(key), ", ".join(map(ticked, columns))) for name, (key, columns) in WANTED.items()]
    return "\n\n".join(
        [
            "Polygons may carry the attributes themselves, under the US soil survey's names in letters of either case:",
            table(("what", "attribute, the best first", "unit"), rows),
            "Or they carry only the key of their map unit (`mukey`), and the survey's tables say what it is. They "
            "come with a download of the survey (a folder, or packed as it was sent), in a database, or in a file "
            "geodatabase whose polygons are called `MUPOLYGON`; with `tables` they may be in another file than the "
            "polygons. From them are read:",
            table(("table", "key", "columns"), kept),
        ]
    )


def page() -> str:
    """Return the page as Markdown."""
    formats = [tuple(cells) for cells in FORMATS.values()]
    layers = "\n\n".join(layer_text(key, field) for key, field in Layers.model_fields.items())
    size = archive.ZIP_TOTAL_BYTES / 2**30
    limits = f"{archive.ZIP_MEMBERS:,} files, {size:g} GB in all, and {archive.ZIP_RATIO} times its own size"
    share = 100 * tracks.MAX_GAP_SHARE
    closed = f"A gap of {tracks.MAX_GAP_M:g} m, or of {share:g} % of the way, is closed and reported."
    return f"""# Layers: what is read

*Written by `docs/write_layers.py` from the code; a test keeps it current.*

A layer is a file on this computer, named in the plan file. What a file is, is told from its first bytes, not from its
name. Its reference system comes from the file; `crs` says it where the file does not. Units are never guessed.

## Formats

{table(("format", "name ends in", "holds", "note"), formats)}

The extras are installed with the package: `pip install "stovergeo[excel]"`, `"stovergeo[parquet]"`, or both as
`"stovergeo[excel,parquet]"`. Old `.xls` files, GML and DXF are not read: save them as `.xlsx`, `.csv` or GeoPackage.

## Archives

Any of these files may be packed in a `.zip`, with or without folders; a KMZ is one too. Name the archive as `path`.

* One layer in it is found by itself; pictures and notes beside it do no harm.
* Of several, `layer` names one: `layer = "Outlines"` reads `Outlines.shp`. Unpack several elevation tiles, and name
  their folder.
* A download of the soil survey is read as it was sent.
* An archive may unpack to at most {limits}.
  One that holds another archive, or would write outside its folder, is refused.
* Only the wanted layer is unpacked, to a temporary folder that is deleted after reading.

## Mixed files

An extract of OpenStreetMap holds houses, roads, ditches and wires together. The same file may be named for every layer:
each takes the rows with its own tags, which are listed below, and the report says how many. To take others, name them:

```toml
[layers.roads]
path = "county.osm.pbf"
tags = {{highway = ["residential", "track"]}}

[layers.buildings]
path = "county.osm.pbf"
tags = {{building = true}}
height = "20 ft"
```

* `true` takes any value but a blank and a plain no. A list takes any of its values. Capitals do not matter.
* With several tags a row is taken if any of them fits.
* `tags` works on the columns of any file: `tags = {{Class = "County road"}}`.
* An extract says nothing of what nobody drew: farm wires, wells and gates are mostly missing from it. Look before you
  rely on it.
* Extracts are read up to {open_file.MAX_OSM_BYTES / 1e6:g} MB: take that of a county.
* Two layers that would take the same rows of a plain file are reported.

## Tracks and waypoints

Of a GPX file, a layer of places (gates, wells) takes the waypoints, a layer of lines (roads, ditches) the tracks or
routes, and fields and property lines take tracks as outlines: walk or drive around and stop where you began. {closed}
A wider one is refused. Where a file holds both kinds that a layer can use, name one: `layer = "waypoints"`.

## Keys of every layer of shapes

{keys(TaggedLayer, set(TaggedLayer.model_fields))}

`tags` is for the fields and what stands around them, not for points and soils.

## Keys of every raster

{keys(RasterLayer, set(RasterLayer.model_fields))}

## The layers

{layers}
"""


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
