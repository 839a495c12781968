"""The page that shows two plans side by side: two small maps and the table; loads nothing, runs nothing."""

from __future__ import annotations

import math
from itertools import groupby
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from markupsafe import Markup
from shapely.geometry.base import BaseGeometry

from stovergeo.core.errors import Report
from stovergeo.core.printing import UNKNOWN, how_printed, number, printed_in
from stovergeo.report import folder as outputs_folder
from stovergeo.report.bare_page import bare_page
from stovergeo.report.blocks import label, message, plain
from stovergeo.report.compare import Compared
from stovergeo.report.compare_record import PlanRecord, ZoneRow
from stovergeo.report.drawing import Drawing

_EARTH_RADIUS_M: Final = 6_371_008.8  # mean radius of the ellipsoid, 2a+b over 3 (GRS 80)
_SHADES: Final = 4
_MAP_PX: Final = 430
#: plans drawn to one frame unless that frame is so much wider than either, as for two farms
_FRAME_MAX: Final = 3.0


def comparison_page(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> str:
    """Return the comparison as one HTML page, in the first plan's units."""
    with printed_in(records[0].farm.currency):
        return _page(lines, records)


def _page(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> str:
    system = records[0].farm.units
    heads = []
    for order, record in zip(("first", "second"), records, strict=True):
        farm = {"farm": record.farm.name, "season": str(record.farm.season)}
        plan = message("compare.plan", name=record.read_from, **farm)
        heads.append(plain(f"compare.{order}", plan=plan))
    return bare_page(
        plain("compare.title"),
        ("drawing.css", "crew.css", "compare.css"),
        "compare.html",
        maps=list(zip(heads, _drawings(records, system), strict=True)),
        legend=plain("compare.legend", unit=how_printed("rate", system).label),
        heads=(label("what"), *heads, plain("compare.change")),
        places=[(place, [_cells(line, system) for line in own]) for place, own in groupby(lines, lambda li: li.place)],
    )


def _cells(line: Compared, system: str) -> tuple[str, str, str, str, bool]:
    one, two, change = line.cells(system)
    return line.what, one, two, change, change not in (plain("compare.same"), UNKNOWN)


def write_comparison(page: str, path: Path, overwrite: bool, report: Report) -> None:
    """Write the page beside its place, then give it its name.

    Raises
    ------
    InputError
        ``compare.out_name``, and the ``out.*`` codes of a folder that does not allow it.
    """
    refuse_page_place(path, overwrite, report)
    outputs_folder.prepare_folder(path.parent, (path.name,), overwrite, report)
    with outputs_folder.part_folder(path.parent, report) as part:
        (part / path.name).write_text(page, "utf-8")
        outputs_folder.publish(part, path.parent, (path.name,), overwrite, report)


def refuse_page_place(path: Path, overwrite: bool, report: Report) -> None:
    """Check, before any reading, that the page may be written to a place."""
    if path.suffix != ".html" or not path.name.isprintable():
        raise report.refuse("compare.out_name", "--out", f"The name given is {path.name!r}.")
    outputs_folder.prepare_folder(path.parent, (path.name,), overwrite, report, leave=False)


def _drawings(records: tuple[PlanRecord, PlanRecord], system: str) -> list[Markup]:
    """Return a drawing of each plan, in one frame where both are of the same ground."""
    own = [_lonlat_bounds(_shapes(r)) for r in records]
    both = np.array([*np.min(own, axis=0)[:2], *np.max(own, axis=0)[2:]])
    apart = _extent(both) > _FRAME_MAX * max(map(_extent, own))
    rates = [_removal(r, z.properties) for r in records for z in r.zones.features]
    most = max((rate for rate in rates if rate == rate), default=0.0)
    return [
        _drawing(record, frame if apart else both, most, system, f"plan{number}-")
        for number, (record, frame) in enumerate(zip(records, own, strict=True), start=1)
    ]


def _shapes(record: PlanRecord) -> list[BaseGeometry]:
    used = record.yards_in_use()
    return [
        *(f.geometry for f in record.fields.features),
        *(z.geometry for z in record.zones.features),
        *(y.geometry for y in record.yards.features if y.properties.yard_id in used),
    ]


def _lonlat_bounds(shapes: list[BaseGeometry]) -> np.ndarray:
    return shapely.total_bounds(shapes) if shapes else np.zeros(4)


def _extent(bounds: np.ndarray) -> float:
    return max(bounds[2] - bounds[0], bounds[3] - bounds[1])


def _drawing(record: PlanRecord, frame: np.ndarray, most: float, system: str, prefix: str) -> Markup:
    west, south, east, north = frame
    # a farm is small: a degree of longitude is taken as long everywhere as in its middle
    per_degree = np.radians(1) * _EARTH_RADIUS_M
    scale = np.array([per_degree * np.cos(np.radians((south + north) / 2)), per_degree])

    def in_meters(geometry: BaseGeometry) -> BaseGeometry:
        return shapely.transform(geometry, lambda corners: (corners - (west, south)) * scale)

    drawing = Drawing(
        (0.0, 0.0, float((east - west) * scale[0]), float((north - south) * scale[1])),
        _MAP_PX,
        plain("compare.drawing", farm=record.farm.name),
        prefix,
    )
    gathered = []
    for zone in record.zones.features:
        rate, ground = _removal(record, zone.properties), in_meters(zone.geometry)
        taken = (zone.properties.removal_mg or 0) > 0
        drawing.shape(ground, f"d-take{_shade(rate, most)}" if taken else "d-leave")
        if taken and rate == rate and not ground.is_empty:
            gathered.append((ground, number("rate", rate, system)))
    for field in record.fields.features:
        drawing.shape(in_meters(field.geometry).boundary, "d-field")
    used = record.yards_in_use()
    for yard in (y for y in record.yards.features if y.properties.yard_id in used):
        drawing.shape(in_meters(yard.geometry), "d-yard")
        drawing.label(in_meters(yard.geometry).representative_point(), yard.properties.yard_id)
    for ground, text in gathered:
        drawing.label(ground.representative_point(), text)
    return drawing.svg(system, 0.0)


def _removal(record: PlanRecord, zone: ZoneRow) -> float:
    return record.numbers.get((f"zone {zone.zone_id}", "removal_rate"), math.nan)


def _shade(take: float, most: float) -> int:
    """Return the number of a shade, 1 (least) to 4."""
    return min(_SHADES, 1 + int(_SHADES * take / most)) if most > 0 and take > 0 else 1
