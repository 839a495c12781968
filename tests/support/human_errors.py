"""Errors that people make with a plan and its layers, by rule; what each does; and sound but uneven farms."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from spoilt_farm import Outcome, outcome_of, sample_plan, sample_points

FIELD, MACHINE = "Knoll Field", "B"
ONE = "Home Field"
REAL = Path(__file__).parents[3] / "shared" / "real_field"

#: warnings about the limits, which follow from an error and do not name it
CONSEQUENCES = {"residue.all_must_stay"}
Points = Callable[[pd.DataFrame], pd.DataFrame]
Data = Callable[[dict, Path], None]


@dataclass(frozen=True)
class Error:
    """One error: in the points, in the plan's data or in the layers it names."""

    name: str
    farm: str  #: "sample", "one field" or "real field"
    points: Points | None = None
    data: Data | None = None
    #: common to all grain of a farm: the first screen says that its level could not be checked
    common: bool = False


@dataclass(frozen=True)
class Judged:
    """What an error did."""

    error: Error
    how: str  #: "refused", "warned", "level" (the first screen says that the level is not checked) or "silent"
    moved: float  #: change of the removable stover, as a share; NaN where refused
    codes: tuple[str, ...]

    @property
    def told(self) -> bool:
        """Whether anything was said."""
        return self.how != "silent"


# ---------------------------------------------------------------------------------------------------- the farms


def farm_points(farm: str) -> pd.DataFrame:
    """Return the raw points of a farm, with the column ``field``."""
    if farm == "real field":
        return pd.read_csv(REAL / "yield_points.csv").assign(field="all")
    points = sample_points()
    return points if farm == "sample" else points[points["field"] == ONE].reset_index(drop=True)


def farm_data(farm: str, folder: Path) -> dict:
    """Return the plan of a farm as data, with its points and fields in the folder."""
    data = copy.deepcopy(sample_plan())
    # coarse and without surroundings, to be quick: each farm is compared with itself
    data["farm"]["cell"] = "10 m"
    data["layers"] = {key: data["layers"][key] for key in ("fields", "yield_points", "elevation", "soils")}
    data.pop("window", None)  # it asks for the weather
    if farm == "one field":
        fields = gpd.read_file(data["layers"]["fields"]["path"])
        fields[fields["name"] == ONE].to_file(folder / "fields.geojson")
        data["layers"]["fields"]["path"] = str(folder / "fields.geojson")
    if farm == "real field":
        columns = ("flow", "moisture", "distance", "swath", "height", "time")
        named = dict(zip(columns, ("Flow", "Moisture", "Distance", "Swath", "Altitude", "Time"), strict=True))
        units = dict(zip(columns, ("lb/s", "%", "in", "in", "ft", "s"), strict=True))
        points = {"crs": "EPSG:4326", "columns": {"x": "Longitude", "y": "Latitude", "seconds": "Cycles", **named}}
        points |= {"units": {"seconds": "s", **units}}
        soil = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}
        data = {
            "farm": {"name": "real", "season": 2023, "cell": "10 m"},
            "layers": {"yield_points": points},
            "soil": soil,
        }
        data["crop"] = {"tillage": ["planter_no_till"], "manure_c_mg_ha": 2}
    return data


def names(farm: str) -> dict[str, str]:
    """Return the names of the columns of a farm's points by what they hold."""
    if farm == "real field":
        return {"flow": "Flow", "way": "Distance", "width": "Swath", "seconds": "Cycles", "moisture": "Moisture",
                "clock": "Time", "x": "Longitude", "y": "Latitude"}  # fmt: skip
    return {"flow": "grain_lb_s", "way": "dist_ft", "width": "width_ft", "seconds": "sec", "moisture": "moist_pct",
            "clock": "clock_s", "x": "lon", "y": "lat"}  # fmt: skip


def made(error: Error, folder: Path) -> Outcome:
    """Return what a farm comes to with an error in it."""
    folder.mkdir()
    data = farm_data(error.farm, folder)
    points = farm_points(error.farm)
    if error.points is not None:
        points = error.points(points.copy())
    points.drop(columns="field").to_csv(folder / "points.csv", index=False)
    data["layers"]["yield_points"]["path"] = str(folder / "points.csv")
    if error.data is not None:
        error.data(data, folder)
    return outcome_of(data, folder)


@cache
def sound(farm: str, folder: Path) -> Outcome:
    """Return what a farm comes to as it is."""
    return made(Error("none", farm), folder / f"sound {farm}")


def judge(error: Error, folder: Path) -> Judged:
    """Make an error and return what it did."""
    before, now = sound(error.farm, folder), made(error, folder / error.name.replace("/", "_"))
    known = {(p.code, p.where) for p in before.problems}
    said = [p for p in now.problems if p.severity.value != "fix" and p.code not in CONSEQUENCES]
    new = {p.code for p in said if (p.code, p.where) not in known}
    if now.removable_mg is None:
        return Judged(error, "refused", np.nan, tuple(sorted(new)))
    moved = abs(now.removable_mg / before.removable_mg - 1)
    more = {str(m) for m in now.said} - {str(m) for m in before.said}
    how = "warned" if new else "level" if more or (error.common and now.said) else "silent"
    return Judged(error, how, moved, tuple(sorted(new)))


def table(judged: list[Judged]) -> str:
    """Return counts of the errors by farm and by what was said, and the silent ones that move anything."""
    lines = ["farm | errors | refused | warned | first screen | silent, moved <= 2 % | 2 to 10 % | > 10 %"]
    for farm in dict.fromkeys(found.error.farm for found in judged):
        mine = [found for found in judged if found.error.farm == farm]
        how = [sum(found.how == word for found in mine) for word in ("refused", "warned", "level")]
        silent = [found.moved for found in mine if found.how == "silent"]
        spread = [sum(low < m <= high for m in silent) for low, high in ((-1, 0.02), (0.02, 0.1), (0.1, np.inf))]
        lines.append(" | ".join(map(str, (farm, len(mine), *how, *spread))))
    quiet = sorted((f for f in judged if f.how in ("silent", "level") and f.moved > 0.02), key=lambda f: -f.moved)
    return "\n".join(lines + [f"{f.how:7} {f.moved:6.1%} {f.error.farm}: {f.error.name}" for f in quiet])


# ---------------------------------------------------------------------------------------------------- the errors


def scaled(column: str, by: float, plus: float = 0.0, **where: str) -> Points:
    """Return a change that multiplies a column, of one field or machine where named."""

    def change(points: pd.DataFrame) -> pd.DataFrame:
        mine = np.ones(len(points), bool)
        for key, value in where.items():
            mine &= (points[key] == value).to_numpy()
        points[column] = np.where(mine, points[column] * by + plus, points[column])
        return points

    return change


def _scopes(farm: str) -> dict[str, dict[str, str]]:
    if farm != "sample":
        return {"all": {}}
    return {"all": {}, "one field": {"field": FIELD}, "one machine": {"combine": MACHINE}}


def _of_columns(farm: str) -> Iterator[Error]:
    column = names(farm)
    factors = {
        "flow": (0.45359, 2.2046, 0.5, 2.0, 0.8, 1.25, 0.845, 1.183),
        "way": (0.3048, 3.2808, 0.8, 0.9, 1.1, 1.2),
        "width": (0.5, 2.0, 0.8, 1.25, 0.9, 1.1),
        "seconds": (0.5, 0.8333, 1.2, 2.0),
        "moisture": (0.01, 0.0),
    }
    for what, by in factors.items():
        for factor in by:
            for scope, where in _scopes(farm).items():
                if farm == "sample" and scope == "one machine" and what in ("way", "seconds"):
                    continue
                change = scaled(column[what], factor, **where)
                yield Error(f"{what} x {factor:g}, {scope}", farm, change, common=scope == "all")
    for plus in (10.0, -6.0):
        for scope, where in _scopes(farm).items():
            change = scaled(column["moisture"], 1.0, plus, **where)
            yield Error(f"moisture {plus:+g}, {scope}", farm, change, common=scope == "all")
    for plus in (-2.0, 2.0):
        for scope, where in _scopes(farm).items():
            change = scaled(column["flow"], 1.0, plus, **where)
            yield Error(f"flow {plus:+g} lb/s, {scope}", farm, change, common=scope == "all")


def _faded(flow: str, to: float, by_field: bool, points: pd.DataFrame) -> pd.DataFrame:
    groups = points["field"].fillna("") if by_field else points.get("combine", points["field"])
    when = points.groupby(groups.to_numpy()).cumcount()
    last = when.groupby(groups.to_numpy()).transform("max").clip(lower=1)
    points[flow] *= 1 + (to - 1) * when / last
    return points


def _stepped(flow: str, by: float, from_share: float, points: pd.DataFrame, field: str) -> pd.DataFrame:
    mine = np.flatnonzero((points["field"] == field).to_numpy())
    points.iloc[mine[int(from_share * len(mine)) :], points.columns.get_loc(flow)] *= by
    return points


def _of_times(farm: str) -> Iterator[Error]:
    flow = names(farm)["flow"]
    field = {"sample": FIELD, "one field": ONE, "real field": "all"}[farm]
    for to in (0.5, 0.7, 0.85):
        yield Error(f"fade to {to:g} in each field", farm, partial(_faded, flow, to, True))
        if farm == "sample":
            yield Error(f"fade to {to:g} over the harvest", farm, partial(_faded, flow, to, False))
    for by in (0.5, 0.8, 1.25):
        for share in (0.25, 0.6):
            change = partial(_stepped, flow, by, share, field=field)
            yield Error(f"flow x {by:g} after {share:.0%} of a field", farm, change)


def _of_rows(farm: str) -> Iterator[Error]:
    column = names(farm)
    x, y, flow, way, width = (column[k] for k in ("x", "y", "flow", "way", "width"))

    def swapped(one: str, other: str) -> Points:
        return lambda p: p.rename(columns={one: other, other: one})

    field = {"sample": FIELD, "one field": ONE, "real field": "all"}[farm]
    yield Error("longitude and latitude changed over", farm, swapped(x, y))
    yield Error("width and distance changed over", farm, swapped(way, width))
    yield Error("flow and moisture changed over", farm, swapped(flow, column["moisture"]))
    yield Error("all records twice", farm, lambda p: pd.concat([p, p]))
    yield Error("a field's records twice", farm, lambda p: pd.concat([p, p[p["field"] == field]]))
    yield Error("places to four decimals", farm, lambda p: p.round({x: 4, y: 4}))
    yield Error("places to three decimals", farm, lambda p: p.round({x: 3, y: 3}))
    yield Error("places 60 m to the east", farm, scaled(x, 1.0, 60 / 82_600))
    yield Error("rows in random order", farm, lambda p: p.sample(frac=1, random_state=1))
    yield Error("rows backwards", farm, lambda p: p[::-1])
    yield Error("half of a field's records lack", farm, lambda p: _without_half(p, x, field))
    yield Error("every other record lacks", farm, lambda p: p[::2])
    if farm == "sample":
        yield Error("a field's records lack", farm, lambda p: p[p["field"] != FIELD])
        for scope, where in _scopes(farm).items():
            yield Error(f"header flag turned over, {scope}", farm, partial(_turned_over, where))


def _without_half(points: pd.DataFrame, x: str, field: str) -> pd.DataFrame:
    mine = points["field"] == field
    return points[~(mine & (points[x] < points.loc[mine, x].median()))]


def _turned_over(where: dict[str, str], points: pd.DataFrame) -> pd.DataFrame:
    mine = np.ones(len(points), bool)
    for key, value in where.items():
        mine &= (points[key] == value).to_numpy()
    points["head"] = points["head"].where(~mine, points["head"].map({"down": "up", "up": "down"}))
    return points


def _put(path: str, value: object) -> Data:
    """Return a change of the plan that sets a key, such as ``limits.cover_pct`` or ``need.contract.0.price``."""

    def change(data: dict, folder: Path) -> None:
        *way, last = path.split(".")
        part = data
        for key in way:
            part = part[int(key)] if isinstance(part, list) else part.setdefault(key, {})
        part[last] = value

    return change


_PLAN: dict[str, tuple[str, object]] = {
    "flow as kg/s": ("layers.yield_points.units.flow", "kg/s"),
    "flow as t/h": ("layers.yield_points.units.flow", "t/h"),
    "flow as bu/h": ("layers.yield_points.units.flow", "bu/h"),
    "distance as m": ("layers.yield_points.units.distance", "m"),
    "distance as in": ("layers.yield_points.units.distance", "in"),
    "swath as m": ("layers.yield_points.units.swath", "m"),
    "swath as in": ("layers.yield_points.units.swath", "in"),
    "moisture as fraction": ("layers.yield_points.units.moisture", "fraction"),
    "seconds as ms": ("layers.yield_points.units.seconds", "ms"),
    "GPS heights as m": ("layers.yield_points.units.height", "m"),
    "header_down is up": ("layers.yield_points.header_down", "up"),
    "clock as unix s": ("layers.yield_points.units.time", "unix s"),
    "cover as a fraction": ("limits.cover_pct", 0.3),
    "cover of 3 %": ("limits.cover_pct", 3),
    "slope as a fraction": ("limits.slope_max_pct", 0.08),
    "retention in lb/ac": ("limits.retention_min", "1500 ton/ac"),
    "removal in lb/ac": ("limits.removal_max", "2 lb/ac"),
    "least yield in t/ha": ("limits.harvest_from_bu_ac", 11),
    "erosivity in SI": ("crop.erosivity", "2723 US"),
    "erosivity of 1.6": ("crop.erosivity", "1.6 US"),
    "manure carbon in lb/ac": ("crop.manure_c_mg_ha", 45),
    "cover crop carbon in lb/ac": ("crop.cover_crop_c_mg_ha", 40),
    "wind loss of 300": ("crop.wind_loss", "300 ton/ac/yr"),
    "stubble in feet": ("crop.cut_height", "1.4 in"),
    "stubble of 1.4 m": ("crop.cut_height", "1.4 m"),
    "market moisture as a fraction": ("farm.market_moisture_pct", 0.155),
    "stover at 55 $/lb": ("money.stover_value", "55 $/lb"),
    "stover at 15000 $/ton": ("money.stover_value", "15000 $/ton"),
    "stover at 0.75 $/ton": ("money.stover_value", "0.75 $/ton"),
    "nitrogen at 0.55 $/ton": ("money.nitrogen", "0.55 $/ton"),
    "phosphate at 60 $/lb": ("money.phosphate", "60 $/lb"),
    "potash at 42 $/ton": ("money.potash", "42 $/ton"),
    "baling at 1200 a bale": ("money.bale_each", 1200),
    "price to the landowner in $/lb": ("landowner.price", "15 $/lb"),
    "contract at 0.09 $/ton": ("need.contract.0.price", "0.09 $/ton"),
    "contract at 92 $/lb": ("need.contract.0.price", "92 $/lb"),
    "contract moisture as a fraction": ("need.contract.0.moisture_max_pct", 0.2),
    "contract ash as a fraction": ("need.contract.0.ash_max_pct", 0.12),
    "contract months twice": ("need.contract.0.months", ["Jan", "Feb", "Feb", "Mar"]),
    "herd months twice": ("need.herd.0.months", ["Nov", "Dec", "Nov"]),
    "baled day and month changed over": ("storage.baled", "05-11"),
    "air in degrees Fahrenheit": ("storage.air_c", [20, 25, 37, 49, 61, 71, 75, 73, 64, 51, 38, 25]),
    "rain in inches": ("storage.rain_mm", [1, 1, 2, 4, 5, 5, 4, 5, 3, 3, 2, 1]),
    "working width of 30 m": ("gather.working_width", "30 m"),
    "smallest zone of 500 ac": ("gather.min_zone", "500 ac"),
    "stated yields in another unit": ("yields.everywhere", "12 bu/ac"),
}


def _of_plan() -> Iterator[Error]:
    for name, (path, value) in _PLAN.items():
        common = path.startswith("layers.yield_points.units")
        yield Error(name, "sample", data=_put(path, value), common=common)


def _vector(layer: str, change: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]) -> Data:
    def write(data: dict, folder: Path) -> None:
        changed = change(gpd.read_file(data["layers"][layer]["path"]))
        changed.to_file(folder / f"{layer}_changed.geojson")
        data["layers"][layer]["path"] = str(folder / f"{layer}_changed.geojson")

    return write


def _buffered(by_m: float, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    metric = frame.to_crs(32615)
    metric.geometry = metric.buffer(by_m, join_style="mitre")
    return metric.to_crs(4326)


def _times(column: str, by: float, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    frame[column] = frame[column].astype(float) * by
    return frame


def _heights(by: float, plus: float, gps: bool) -> Data:
    def write(data: dict, folder: Path) -> None:
        with rasterio.open(data["layers"]["elevation"]["path"]) as file:
            heights, profile = file.read(1), file.profile
        heights = np.where(heights == profile["nodata"], heights, heights * by + plus).astype("float32")
        with rasterio.open(folder / "ground.tif", "w", **profile) as file:
            file.write(heights, 1)
            file.set_band_unit(1, "metre")
        data["layers"]["elevation"]["path"] = str(folder / "ground.tif")
        if not gps:
            del data["layers"]["yield_points"]["columns"]["height"]
            del data["layers"]["yield_points"]["units"]["height"]

    return write


def _earlier(change: Points) -> Data:
    def write(data: dict, folder: Path) -> None:
        changed = change(pd.read_csv(data["layers"]["yield_points"]["path"]))
        changed.to_csv(folder / "earlier.csv", index=False)
        data["layers"]["earlier_points"] = [{"path": str(folder / "earlier.csv"), "year": 2025}]

    return write


def _of_layers() -> Iterator[Error]:
    for by_m in (15.0, -15.0, 40.0):
        yield Error(f"boundaries {by_m:+g} m", "sample", data=_vector("fields", partial(_buffered, by_m)))
    for gps in (True, False):
        for name, by in {"feet as meters": 1 / 0.3048, "meters as feet": 0.3048}.items():
            said = "with" if gps else "without"
            yield Error(f"heights in {name}, {said} GPS heights", "sample", data=_heights(by, 0.0, gps))
    soils = {"clay as a fraction": ("claytotal_r", 0.01), "K ten times": ("kwfact", 10), "K in SI": ("kwfact", 0.1317)}
    soils |= {
        "T in t/ha": ("tfact", 2.24),
        "wind index in SI": ("wei", 2.24),
        "water table in m": ("wtdepannmin", 0.01),
    }
    for name, (column, by) in soils.items():
        yield Error(name, "sample", data=_vector("soils", partial(_times, column, by)))
    yield Error("one file as two harvests", "sample", data=_earlier(lambda p: p))
    yield Error("one file as two harvests, flow x 0.9", "sample", data=_earlier(scaled("grain_lb_s", 0.9)))
    yield Error("season of another year", "sample", data=_put("farm.season", 2016))


def _all() -> Iterator[Error]:
    farms = ["sample", "one field", *(["real field"] if (REAL / "yield_points.csv").is_file() else [])]
    for farm in farms:
        for errors in (_of_columns, _of_times, _of_rows):
            for error in errors(farm):
                yield Error(f"{farm}: {error.name}", farm, error.points, error.data, error.common)
    yield from _of_plan()
    yield from _of_layers()


ERRORS = tuple(_all())
_LIKE_A_CROP = "as much as crops differ by hybrid, soil and season"
#: errors that move the stover by more than 10 % and that nothing in a farm's own files tells from a crop -> why
UNDETECTABLE: dict[str, str] = {
    "sample: fade to 0.85 in each field": _LIKE_A_CROP,
    "sample: fade to 0.85 over the harvest": _LIKE_A_CROP,
    "sample: fade to 0.7 over the harvest": _LIKE_A_CROP,
    "sample: flow x 0.845, one machine": _LIKE_A_CROP,
    "sample: flow x 1.25, one field": _LIKE_A_CROP,
    "one field: fade to 0.85 in each field": _LIKE_A_CROP,
    "real field: fade to 0.85 in each field": _LIKE_A_CROP,
    "real field: flow x 1.25 after 25% of a field": "its passes differ as much",
    "real field: flow x 1.25 after 60% of a field": "its passes differ as much",
    "real field: half of a field's records lack": "without a boundary the records tell where the field ends",
}


# ---------------------------------------------------------------------------------------------------- sound farms


def sound_farm(seed: int, folder: Path) -> Outcome:
    """Return what a sound but uneven farm comes to: the sample's ground with other crops, levels, hybrids and noise.

    Fields differ by hybrid and care (standard deviation 6 %), machines by their calibration (2 %); the farm has a slope
    of fertility, patches and a wet hole, each pass its own noise.
    """
    rng = np.random.default_rng(seed)
    points = sample_points().copy()
    level = {name: rng.normal(1, 0.06) for name in points["field"].dropna().unique()}
    machine = {name: rng.normal(1, 0.02) for name in points["combine"].unique()}
    x, y = ((points[c] - points[c].mean()).to_numpy() * m for c, m in (("lon", 82_600.0), ("lat", 111_000.0)))
    crop = np.ones(len(points))
    for _ in range(12):
        length, angle, phase = rng.uniform(120, 700), *rng.uniform(0, 2 * np.pi, 2)
        crop += rng.normal(0, 0.03) * np.sin(2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / length + phase)
    tilt = rng.normal(0, 0.04, 2)
    crop += tilt[0] * x / 1000 + tilt[1] * y / 800
    hole = rng.uniform(-700, 700, 2)
    crop *= 1 - 0.6 * np.exp(-(((x - hole[0]) / 60) ** 2) - ((y - hole[1]) / 50) ** 2)
    turn = (np.sign(points["lat"].diff().fillna(0)).diff() != 0).cumsum().to_numpy()
    passes = rng.normal(1, rng.uniform(0.005, 0.03), turn.max() + 1)[turn]
    points["grain_lb_s"] *= crop * passes * points["field"].map(level).fillna(1) * points["combine"].map(machine)
    data = farm_data("sample", folder)
    points.drop(columns="field").to_csv(folder / "points.csv", index=False)
    data["layers"]["yield_points"]["path"] = str(folder / "points.csv")
    return outcome_of(data, folder, limits=False)
