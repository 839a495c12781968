"""The landowner's answer: read as an untrusted file, and added to the places the plan keeps free."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import Geod
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Message
from stovergeo.inputs.farm_layers import KEEP_CLEAR_OF, STACKS, only_stacks
from stovergeo.inputs.open_file import local_file
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import Layer
from stovergeo.inputs.text import clean_text
from stovergeo.inputs.vector import read_layer
from stovergeo.report.blocks import message
from stovergeo.report.json_values import read_json

MAX_BYTES: Final = 1_000_000
MAX_MARKS: Final = 500
MAX_CORNERS: Final = 2_000
_FAR_M: Final = 20_000.0
#: kind of mark -> the only geometries it may have
_KINDS: Final = {"yard": {"Polygon", "MultiPolygon"}, "no_go": {"Polygon"}, "pin": {"Point"}}
_REPLIES: Final = {"yes", "no", "maybe", ""}


@dataclass(frozen=True, slots=True)
class Answer:
    """What the landowner answered. Geometries are in longitude and latitude (EPSG:4326)."""

    yards: gpd.GeoDataFrame  #: yard_id, answer (yes, no, maybe or ""), note; the yard's outline
    no_go: gpd.GeoDataFrame  #: note; ground to keep free
    pins: gpd.GeoDataFrame  #: note; a place
    said_by: str
    season: int | None
    plan_key: str  #: fingerprint of the plan whose map was answered, see `report.page_data.plan_key`

    def refused(self) -> gpd.GeoDataFrame:
        """Return all ground the landowner refuses: areas drawn, and yards answered with no.

        Returns
        -------
        GeoDataFrame
            name, keep_clear_of, geometry. A no to a yard keeps its ground clear of stacks and says nothing of
            baling; an area drawn to be kept free is kept clear of both ("").
        """
        no = self.yards[self.yards["answer"] == "no"]
        names = [
            *(f"landowner: {n}" if n else "landowner: keep free" for n in self.no_go["note"]),
            *(f"landowner: no to yard {y}" for y in no["yard_id"]),
        ]
        clear_of = [""] * len(self.no_go) + [STACKS] * len(no)
        columns = {"name": names, KEEP_CLEAR_OF: clear_of}
        return gpd.GeoDataFrame(columns, geometry=[*self.no_go.geometry, *no.geometry], crs=4326)

    def messages(self) -> list[Message]:
        """Return the answer, a line for each yard and mark, notes in their own words."""
        lines = [
            _noted("answer.yard", y.note, yard=y.yard_id, answer=y.answer or message("answer.no_answer"))
            for y in self.yards.itertuples()
        ]
        lines += [_noted("answer.keep_free", note) for note in self.no_go["note"]]
        return lines + [_noted("answer.pin", note) for note in self.pins["note"]]


def _noted(key: str, note: str, **values: Any) -> Message:
    return message(f"{key}_note", note=note, **values) if note else message(key, **values)


def read_answer(
    path: Path, report: Report, near: gpd.GeoDataFrame | None = None, plan_key: str | None = None
) -> Answer:
    """Read an answer file; nothing in it is believed before it is checked.

    Parameters
    ----------
    path : Path
    report : Report
        Gains all problems found (``answer.*`` and those of opening a file).
    near : GeoDataFrame, optional
        The fields; marks further than 20 km from them are refused.
    plan_key : str, optional
        Of the present plan; a warning is given where the answer was made on another map.

    Returns
    -------
    Answer
        The reply to each yard, ground to keep free, places; in longitude and latitude.

    Raises
    ------
    InputError
        Carries every problem of the file.
    """
    path = Path(path)
    where = f"answer file {path.name}"
    codes = ("answer.unreadable", "answer.unreadable")
    data = read_json(local_file(str(path), Path(), where, report), MAX_BYTES, codes, where, report)
    features = _features(data, where, report)
    rows: dict[str, list[dict[str, Any]]] = {kind: [] for kind in _KINDS}
    for number, feature in enumerate(features, start=1):
        place = f"{where}, mark {number}"
        try:
            row = _mark(feature, place, report)
        except InputError:
            continue  # noted; the others are still looked at
        rows[row.pop("kind")].append(row)
    answer = Answer(
        yards=_frame(rows["yard"], ["yard_id", "answer", "note"]),
        no_go=_frame(rows["no_go"], ["note"]),
        pins=_frame(rows["pin"], ["note"]),
        said_by=clean_text(data.get("said_by") if isinstance(data.get("said_by"), str) else ""),
        season=data["season"] if type(data.get("season")) is int else None,
        plan_key=clean_text(data.get("plan_key") if isinstance(data.get("plan_key"), str) else ""),
    )
    repeated = answer.yards["yard_id"][answer.yards["yard_id"].duplicated()]
    if len(repeated):
        report.add("answer.unreadable", where, f"Yard {repeated.iloc[0]} is answered more than once.")
    if near is not None:
        _check_near(answer, near, where, report)
    if plan_key is not None and answer.plan_key != plan_key:
        report.add("answer.other_plan", where, "The map it was given on does not match this plan's yards.")
    report.stop_if_refused()
    return answer


def _features(data: Any, where: str, report: Report) -> list[Any]:
    if not isinstance(data, dict) or data.get("type") != "FeatureCollection" or data.get("stovergeo_answer") != 1:
        raise report.refuse("answer.unreadable", where, "It is not an answer that the map has saved.")
    features = data.get("features")
    if not isinstance(features, list) or not features:
        raise report.refuse("answer.unreadable", where, "It holds no mark at all.")
    if len(features) > MAX_MARKS:
        raise report.refuse("answer.unreadable", where, f"It holds {len(features):,} marks; {MAX_MARKS} is the most.")
    return features


def _mark(feature: Any, place: str, report: Report) -> dict[str, Any]:
    """Return one mark as a row: kind, geometry, note, and for a yard its id and answer."""
    if not isinstance(feature, dict) or not isinstance(feature.get("properties"), dict):
        raise report.refuse("answer.unreadable", place, "It is not a GeoJSON feature with properties.")
    properties = feature["properties"]
    kind = properties.get("kind")
    if not isinstance(kind, str) or kind not in _KINDS:
        raise report.refuse("answer.unreadable", place, f"Its kind is {clean_text(kind)[:40]!r}, which is unknown.")
    note = properties.get("note", "")
    if not isinstance(note, str):
        raise report.refuse("answer.unreadable", place, "Its note is not text.")
    row = {"kind": kind, "note": clean_text(note), "geometry": _geometry(feature.get("geometry"), kind, place, report)}
    if kind == "yard":
        yard_id, reply = properties.get("yard_id"), properties.get("answer")
        if not isinstance(yard_id, str) or not clean_text(yard_id) or len(yard_id) > 40:
            raise report.refuse("answer.unreadable", place, "It names no yard.")
        if not isinstance(reply, str) or reply not in _REPLIES:
            raise report.refuse("answer.unreadable", place, "Its answer is none of yes, no and maybe.")
        row |= {"yard_id": clean_text(yard_id), "answer": reply}
    return row


def _geometry(given: Any, kind: str, place: str, report: Report) -> BaseGeometry:
    if not isinstance(given, dict) or not isinstance(given.get("type"), str) or given["type"] not in _KINDS[kind]:
        raise report.refuse("answer.unreadable", place, f"A {kind} needs a {' or '.join(sorted(_KINDS[kind]))}.")
    coordinates = given.get("coordinates")
    depth = {"Point": 0, "Polygon": 2, "MultiPolygon": 3}[given["type"]]
    try:
        corners = list(_positions(coordinates, depth))
        if len(corners) > MAX_CORNERS:
            raise ValueError(f"it has {len(corners):,} corners; {MAX_CORNERS} is the most")
        found = shape({"type": given["type"], "coordinates": coordinates})
    except (ValueError, TypeError, RecursionError, shapely.errors.ShapelyError) as error:
        raise report.refuse("answer.unreadable", place, f"Its shape cannot be read: {clean_text(error)}.") from None
    if found.is_empty:
        raise report.refuse("answer.unreadable", place, "Its shape is empty.")
    if found.is_valid:
        return found
    try:
        whole = shapely.make_valid(found)
    except shapely.errors.GEOSException as error:  # such as an outer ring on one spot with a hole elsewhere
        problem = f"Its outline cannot be repaired: {clean_text(error)}."
        raise report.refuse("answer.unreadable", place, problem) from None
    parts = [p for p in shapely.get_parts(whole) if p.geom_type in ("Polygon", "MultiPolygon")]
    repaired = shapely.union_all(parts) if parts else None
    if repaired is None or repaired.is_empty:
        raise report.refuse("answer.unreadable", place, "Its outline encloses no ground.")
    report.add("answer.repaired", place, "Its outline was repaired.")
    return repaired


def _positions(coordinates: Any, depth: int) -> Iterator[tuple[float, float]]:
    """Give every position of nested coordinate lists; longitude and latitude must be plain, possible numbers."""
    if depth > 0:
        if not isinstance(coordinates, list) or not coordinates:
            raise ValueError("a list of positions is missing")
        for part in coordinates:
            yield from _positions(part, depth - 1)
        return
    if not isinstance(coordinates, list) or len(coordinates) != 2:
        raise ValueError("a position is not two numbers")
    lon, lat = coordinates
    if any(type(v) not in (int, float) or not math.isfinite(v) for v in (lon, lat)):
        raise ValueError("a position is not two numbers")
    if abs(lon) > 180 or abs(lat) > 90:
        raise ValueError("a position is not on the globe")
    yield lon, lat


def _frame(rows: list[dict[str, Any]], columns: list[str]) -> gpd.GeoDataFrame:
    table = pd.DataFrame([{c: r[c] for c in columns} for r in rows], columns=columns, dtype=object)
    return gpd.GeoDataFrame(table, geometry=[r["geometry"] for r in rows], crs=4326)


def _check_near(answer: Answer, near: gpd.GeoDataFrame, where: str, report: Report) -> None:
    """Refuse marks far from the fields, by the geodesic between a corner of each and the fields' middle."""
    west, south, east, north = near.to_crs(4326).total_bounds
    lon, lat = (west + east) / 2, (south + north) / 2
    globe = Geod(ellps="WGS84")
    reach = globe.line_length([west, east], [south, north]) / 2 + _FAR_M
    for kind, layer in (("A yard", answer.yards), ("Ground to keep free", answer.no_go), ("A pin", answer.pins)):
        for corner in shapely.get_coordinates(layer.geometry.to_numpy()):
            away = globe.inv(lon, lat, *corner)[2]
            if away > reach:
                report.add("answer.far_away", where, message("answer.far_away", kind=kind, away=away / 1000))
                break


def add_answer(plan: Plan, answer: Answer, layer_path: Path, report: Report) -> Plan:
    """Add what the landowner refuses to the plan's no-go places.

    Parameters
    ----------
    plan : Plan
    answer : Answer
    layer_path : Path
        GeoJSON file that is written, with the plan's earlier no-go places kept in it.
    report : Report

    Returns
    -------
    Plan
        Names the new layer under ``landowner.no_go``; the same plan where nothing is refused.
    """
    refused = answer.refused()
    if refused.empty:
        return plan
    if plan.landowner.no_go is not None:
        before = read_layer(Layer(path=plan.landowner.no_go), plan, "no_go", report).to_crs(4326)
        names = before["name"] if "name" in before else pd.Series("landowner: keep free", index=before.index)
        clear_of = only_stacks(before).map({True: STACKS, False: ""})
        columns = {"name": names.map(clean_text), KEEP_CLEAR_OF: clear_of}
        kept = gpd.GeoDataFrame(columns, geometry=before.geometry, crs=4326)
        refused = pd.concat([kept, refused], ignore_index=True)
        refused = refused.drop_duplicates(subset=["geometry", KEEP_CLEAR_OF], ignore_index=True)
    layer_path = Path(layer_path).resolve()
    layer_path.parent.mkdir(parents=True, exist_ok=True)
    beside = layer_path.with_name(f".{layer_path.name}.part")
    beside.write_text(refused.to_json(drop_id=True), "utf-8")
    beside.replace(layer_path)
    owner = plan.landowner.model_copy(update={"no_go": str(layer_path)})
    return plan.model_copy(update={"landowner": owner})
