"""A made-up season's result, small enough to read: two fields, four zones, two yards. All numbers invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from affine import Affine
from odc.geo.geobox import GeoBox
from pyproj import CRS
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, box

from stovergeo.core.coefficients import Coefficient
from stovergeo.core.coefficients.handbook import Standing
from stovergeo.core.errors import Report, problem
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import new_stack, put
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.result import BaleTables, Cluster, ResidueTables, SeasonResult, SupplyTables, YardTables, YieldTables

EPSG = 32615
WEST, SOUTH = 447_000.0, 4_655_000.0
CELL_M = 10.0
ROWS, COLS = 110, 140

Text = Callable[[str], str]


message = Catalog("made_words")


def same(text: str) -> str:
    return text


def at(shape):
    """Move a shape from farm meters (0, 0 = south-west corner) to the working CRS."""
    return translate(shape, WEST, SOUTH)


def frame(rows: list[dict]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(rows, geometry=[at(r["geometry"]) for r in rows], crs=EPSG)


def made_plan(folder: Path, text: Text = same):
    data = {
        "farm": {"name": text("Two Hills farm"), "season": 2026, "ask": text("Pat Example, 555-0100")},
        "layers": {"fields": {"path": "fields.gpkg"}},
        "landowner": {"name": text("Robin Example"), "price": "15 $/ton"},
        "need": {"herd": [{"name": text("yearlings"), "head": 300}]},
    }
    return plan_from(data, folder, Report())


def made_stack():
    grid = GeoBox((ROWS, COLS), Affine(CELL_M, 0, WEST, 0, -CELL_M, SOUTH + ROWS * CELL_M), f"EPSG:{EPSG}")
    stack = new_stack(grid)
    x, y = np.meshgrid((np.arange(COLS) + 0.5) * CELL_M, (ROWS - np.arange(ROWS) - 0.5) * CELL_M)
    elevation = 300 + 6 * np.sin(x / 260) * np.cos(y / 310) + 0.004 * x
    gy, gx = np.gradient(elevation, CELL_M)
    slope = 100 * np.hypot(gx, gy)
    number = np.full(x.shape, np.nan)
    number[(x > 60) & (x < 660) & (y > 60) & (y < 1000)] = 0
    number[(x > 740) & (x < 1340) & (y > 60) & (y < 760)] = 1
    inside = np.isfinite(number)
    stover = np.where(inside, 9.0 + 1.5 * np.sin(x / 150) - slope / 10, np.nan)
    cover, carbon = 2.2 + slope / 8, 3.4 + slope / 20
    keep = np.where(inside, np.maximum(cover, carbon), np.nan)
    allowed = np.where((y < 60) | inside, 0.0, 1.0)
    stack = put(
        stack,
        field_number=number,
        elevation_m=elevation,
        slope_pct=slope,
        ponding_m=np.where(elevation < 296.5, 296.5 - elevation, 0),
        drainage_height_m=elevation - elevation.min(),
        sun_fraction=np.clip(1 - slope / 60, 0, 1),
        grain_mg_ha=stover * 0.95,
        stover_mg_ha=stover,
        retention_cover_mg_ha=np.where(inside, cover, np.nan),
        retention_carbon_mg_ha=np.where(inside, carbon, np.nan),
        retention_mg_ha=keep,
        binding_rule=np.where(inside, (carbon > cover).astype(float), np.nan),
        removable_mg_ha=np.clip(stover - keep, 0, None),
        yard_allowed=allowed,
        yard_score=np.where(allowed > 0, np.clip(1 - slope / 20, 0, 1), np.nan),
        yard_reason=np.where(y < 60, 2.0, np.where(inside, 1.0, 0.0)),
    )
    stack["binding_rule"].attrs["rules"] = ["cover", "carbon"]
    stack["yard_reason"].attrs["reasons"] = ["", "inside a field that is farmed", "closer than 20 m to the road"]
    return stack


def made_result(folder: Path, text: Text = same) -> SeasonResult:
    """Return the result. `text` is applied to every string that could come from an untrusted file."""
    fields = frame(
        [
            {"field_id": "F1", "name": text("Home quarter"), "area_ha": 56.4, "geometry": box(60, 60, 660, 1000)},
            {"field_id": "F2", "name": text("East eighty"), "area_ha": 42.0, "geometry": box(740, 60, 1340, 760)},
        ]
    )

    def plain(words: str) -> tuple[Message, ...]:
        return (message("plain", words=text(words)),)

    def asks(rule: str, keep: float) -> tuple[Message, ...]:
        return (message("asks", rule=text(rule), keep=keep),)

    def zone(zone_id, geometry, method, take, binding, reason):
        ha = geometry.area / 1e4
        return {
            "zone_id": zone_id,
            "field_id": zone_id[:2],
            "area_ha": ha,
            "stover_mg_ha": 9.1,
            "retention_mg_ha": 4.2,
            "removable_mg_ha": 4.6,
            "method": method,
            "removal_mg_ha": take,
            "removal_mg": take * ha,
            "binding_rule": binding,
            "reason": reason,
            "gathered_fraction": float(take > 0),
            "kept_free": False,
            "geometry": geometry,
        }

    zones = frame(
        [
            zone("F1-a", box(60, 500, 660, 1000), "rake_bale", 4.4, "carbon", asks("Soil carbon", 3.6)),
            zone("F1-b", box(60, 60, 660, 500), "second_pass", 2.9, "cover", asks("Cover after planting", 4.8)),
            zone("F2-a", box(740, 260, 1340, 760), "second_pass", 3.1, "method", plain("Less than may leave.")),
            zone("F2-b", box(740, 60, 1340, 260), "leave", 0.0, "cover", (message("steep", low=6.0, high=9.0),)),
        ]
    )
    yards_shape = [box(670, 500, 730, 640), rotate(box(760, 800, 900, 850), 12)]
    yards = frame(
        [
            {
                "yard_id": f"Y{i + 1}",
                "score": 0.82 - 0.1 * i,
                "capacity_bales": 260 - 60 * i,
                "area_ha": shape.area / 1e4,
                "base": "gravel" if i else "none",
                "base_message": message("plain", words=text("no base needed")),
                "base_cost": 900.0 * i,
                "sun_fraction": 0.93 - 0.1 * i,
                "slope_pct": 2.4 + i,
                "road_m": 120.0 + 200 * i,
                "reason": message("yard", ground=text("Drains well, in the sun"), road=120.0),
                "not_checked": message("plain", words=text("Overhead lines.")),
                "geometry": shape,
            }
            for i, shape in enumerate(yards_shape)
        ]
    )
    stacks = frame(
        [
            {
                "yard_id": "Y1",
                "stack_id": f"Y1-{k + 1}",
                "bales": 52,
                "geometry": box(676 + 11 * k, 505, 678.5 + 11 * k, 635),
            }
            for k in range(5)
        ]
        + [
            {
                "yard_id": "Y2",
                "stack_id": f"Y2-{k + 1}",
                "bales": 50,
                "geometry": rotate(box(770 + 30 * k, 804, 772.5 + 30 * k, 846), 12, origin=(830, 825)),
            }
            for k in range(4)
        ]
    )
    center = {z.zone_id: Point(z.geometry.centroid.x - WEST, z.geometry.centroid.y - SOUTH) for z in zones.itertuples()}
    ends = [shape.centroid for shape in yards_shape]
    apron = frame(
        [
            {"yard_id": f"Y{i + 1}", "side_m": 18.0, "road_m": 120.0 + 200 * i, "geometry": box(x, y, x + 18, y + 18)}
            for i, (x, y) in enumerate([(730, 510), (742, 800)])
        ]
    )
    lanes = frame(
        [
            {"yard_id": "Y1", "width_m": 6.0, "clear_fraction": 1.0, "geometry": box(671, 501, 729, 639)},
            {"yard_id": "Y2", "width_m": 6.0, "clear_fraction": 0.9, "geometry": rotate(box(764, 801, 896, 849), 12)},
        ]
    )
    setback_areas = frame(
        [
            {"criterion": "setback_wells", "title": text("Clear of wells"), "distance_m": 76.2,
             "geometry": Point(1220, 900).buffer(76.2)},
            {"criterion": "no_go", "title": text("Not where the landowner refuses"), "distance_m": float("nan"),
             "geometry": box(100, 1020, 180, 1080)},
        ]
    )  # fmt: skip
    yards_before = frame(
        [
            {"yard_id": "Y3", "bales": 430, "answer": "no", "now": "", "geometry": box(460, 1012, 560, 1072)},
            {"yard_id": "Y1", "bales": 120, "answer": "", "now": "Y1", "geometry": yards_shape[0]},
        ]
    )
    hauls = frame(
        [
            {
                "zone_id": z,
                "yard_id": f"Y{k + 1}",
                "bales": n,
                "distance_m": d,
                "cost": c,
                "geometry": LineString([center[z], ends[k]]),
            }
            for z, k, n, d, c in [
                ("F1-a", 0, 210, 420.0, 390.0),
                ("F1-b", 0, 50, 510.0, 120.0),
                ("F2-a", 1, 170, 610.0, 400.0),
            ]
        ]
    )
    soils = frame(
        [
            {
                "soil_id": "107",
                "name": text("Webster clay loam, 0 to 2 % slopes"),
                "drainage_class": 6,
                "flooding_class": 0,
                "ponding_class": 2,
                "water_table_cm": 30.0,
                "clay_pct": 31.0,
                "hydric": 1.0,
                "hydrologic_group": 4,
                "soil_erodibility": 0.034,
                "soil_loss_tolerance": 11.2,
                "wind_erodibility": 107.6,
                "geometry": box(0, 0, 1400, 1100),
            }
        ]
    )
    trees = frame([{"name": text("north grove"), "height_m": 14.0, "geometry": box(200, 1030, 420, 1080)}])
    surroundings = {
        "trees": trees,
        "buildings": frame([{"name": text("barn"), "height_m": 7.0, "geometry": box(1150, 850, 1190, 880)}]),
        "roads": frame([{"name": text("County road"), "geometry": LineString([(0, 30), (1400, 30)])}]),
        "gates": frame([{"name": text("south gate"), "geometry": Point(700, 45)}]),
        "wells": frame([{"name": text("house well"), "geometry": Point(1220, 900)}]),
        "water": frame([{"name": text("creek"), "geometry": LineString([(0, 1060), (500, 1010), (1400, 1000)])}]),
        "dwellings": frame([{"name": text("house"), "geometry": box(1230, 850, 1250, 865)}]),
        "overhead_lines": frame([{"name": text("feeder"), "geometry": LineString([(1000, 0), (1040, 1100)])}]),
    }
    limits = [
        (z, rule, title, keep, share, said)
        for z in zones.zone_id
        for rule, title, keep, share, said in [
            ("cover", "Ground cover after planting", 3.1, 0.3, (message("keeps", rule=text("It"), share=0.3),)),
            ("carbon", "Soil carbon", 4.2, 0.7, plain("Feeds as much carbon to the soil as it loses in a year.")),
        ]
    ]
    methods = [
        (z, m, title, take, 18.0, ash, passes, ok, plain(words))
        for z in zones.zone_id
        for m, title, take, ash, passes, ok, words in [
            ("second_pass", "Second pass behind the combine", 2.9, 7.0, 1, True, "Bales the combine's windrow."),
            ("rake_bale", "Rake and bale", 4.4, 9.5, 2, True, "Rakes what stands, then bales."),
            ("chop_and_rake", "Chop, rake and bale", 6.3, 12.0, 3, False, "Takes more than may leave here."),
        ]
    ]
    bales = {"F1-a": 210, "F1-b": 50, "F2-a": 170, "F2-b": 0}
    month_rows = [10, 11, 12, 1, 2, 3]
    wrap = [
        (
            m,
            2026 + (m < 9),
            k + 1,
            w,
            base,
            f"{w} on {base}".replace("_", " "),
            100 * f * (k + 1) * 0.7,
            100 * f * (k + 1),
            100 * f * (k + 1) * 1.4,
            cost,
            w == "net",
        )
        for k, m in enumerate(month_rows)
        for w, base, f, cost in [("net", "drained soil", 0.012, 2.1), ("full_cover", "drained soil", 0.004, 5.4)]
    ]
    coefficients = [
        Coefficient(
            "residue.harvest_index",
            0.5,
            0.45,
            0.55,
            "1",
            "Grain as a share of all dry matter above ground.",
            text("Invented source, p. 1"),
            Standing.JUDGMENT,
        ),
        Coefficient("bale.turns", 4, 3, 5, "turns", "Turns of net in coarse stover.", "", Standing.PRACTICE),
    ]
    found = problem("plan.unknown_key", text("plan file, farm.nmae"), text("No such key is known here."))
    return SeasonResult(
        plan=made_plan(folder, text),
        crs=CRS.from_epsg(EPSG),
        clusters=(Cluster("1", tuple(fields["field_id"]), made_stack()),),
        fields=fields,
        zones=zones,
        yards=yards,
        yards_before=yards_before,
        soils=soils,
        surroundings=surroundings,
        not_checked={text("tile lines"): plain("No layer of drain tile was given; a stack may stand over one.")[0]},
        totals=totals_of(zones),
        words={
            "summary": plain("430 bales from three zones meet nine tenths of the need."),
            "choice": plain("The second pass costs least wherever its take is enough."),
            "storage": plain("Bales used before March stand in net wrap."),
            "soil": plain("Steep ground below the ridge keeps all its stover."),
            "shortage": plain("Short by 44 bales in March."),
        },
        problems=[found],
        coefficients=coefficients,
        siting=YardTables(
            stacks=stacks,
            apron=apron,
            lanes=lanes,
            setback_areas=setback_areas,
            ratings=pd.DataFrame(
                [
                    (y, c, title, score, True, said)
                    for y in ("Y1", "Y2")
                    for c, title, score, said in [
                        ("drainage", "Drainage of the soil", 0.6, plain("Somewhat poorly drained.")[0]),
                        ("sun", "Sun over the storage season", 0.9, message("sunny", share=0.93)),
                    ]
                ],
                columns=["yard_id", "criterion", "title", "score", "allowed", "message"],
            ),
            sun=pd.DataFrame(
                [(y, 2026 + (m < 9), m, 20.0 + m, 0.8 + 0.01 * m) for y in ("Y1", "Y2") for m in (11, 12, 1, 2)],
                columns=["yard_id", "year", "month", "sun_kwh_m2", "sun_fraction"],
            ),
        ),
        supply=SupplyTables(
            hauls=hauls,
            need=pd.DataFrame(
                [(text("yearlings"), m, 2026 + (m < 9), 41.0, 79) for m in month_rows],
                columns=["need", "month", "year", "dry_mg", "bales"],
            ),
        ),
        yields=YieldTables(
            points=frame(
                [{"grain_mg_ha": 9.0, "removed_because": "", "geometry": Point(100 + k, 100)} for k in range(20)]
            ),
            cleaning=pd.DataFrame(
                [("zero_flow", "No grain flow", 12, 0.01, text("The combine was turning."))],
                columns=["reason", "title", "points", "share", "words"],
            ),
            report={"method": "local kriging", "error_mg_ha": 0.6},
        ),
        residue=ResidueTables(
            zone_limits=pd.DataFrame(
                limits, columns=["zone_id", "rule", "title", "retention_mg_ha", "binds_fraction", "message"]
            ),
            zone_methods=pd.DataFrame(
                methods,
                columns=[
                    "zone_id",
                    "method",
                    "title",
                    "removal_mg_ha",
                    "moisture_pct",
                    "ash_pct",
                    "passes",
                    "allowed",
                    "message",
                ],
            ),
            zone_nutrients=pd.DataFrame(
                [(z, 900.0, 300.0, 1500.0, 90.0, 120.0, 2400.0, 1600.0, 3100.0) for z in zones.zone_id[:3]],
                columns=["zone_id", "n_kg", "p2o5_kg", "k2o_kg", "s_kg", "lime_kg", "cost", "cost_low", "cost_high"],
            ),
            odds=pd.DataFrame(
                [(z, 3.9, 4.6, 5.4, 0.93) for z in zones.zone_id],
                columns=["zone_id", "p10_mg_ha", "p50_mg_ha", "p90_mg_ha", "compliance_probability"],
            ),
            limit_totals=pd.DataFrame(
                [
                    (
                        "soil_carbon",
                        "Soil carbon",
                        40.0,
                        90.0,
                        text("Grow cover."),
                        "invented",
                        plain("Carbon sets the limit."),
                    )
                ],
                columns=["rule", "title", "binds_ha", "gain_mg", "lift", "source", "message"],
            ),
            sensitivity=pd.DataFrame(
                [("F1", 1, "harvest_index", text("Stover for the grain"), 0.7, 1)],
                columns=["field_id", "rank", "input", "meaning", "share", "direction"],
            ),
            calendar=pd.DataFrame(
                [
                    ("F1-a", 2026, "corn", True, 4.4, plain("Stover may leave.")),
                    ("F1-a", 2027, "soybean", False, 0.0, ()),
                ],
                columns=["zone_id", "year", "crop", "harvest", "removal_mg_ha", "message"],
            ),
        ),
        bales=BaleTables(
            made=pd.DataFrame(
                [
                    (z, m, bales[z], 520.0, 634.0, 18.0, 4.0, 26.0)
                    for z, m in zip(zones.zone_id, zones.method, strict=True)
                ],
                columns=[
                    "zone_id",
                    "method",
                    "bales",
                    "bale_dry_kg",
                    "bale_as_is_kg",
                    "moisture_pct",
                    "turns",
                    "net_m",
                ],
            ),
            wrap_table=pd.DataFrame(
                wrap,
                columns=[
                    "month",
                    "year",
                    "months_stored",
                    "wrap",
                    "base",
                    "title",
                    "loss_low_pct",
                    "loss_pct",
                    "loss_high_pct",
                    "cost_bale",
                    "best",
                ],
            ),
            crew=made_crew(text),
        ),
    )


def totals_of(zones: pd.DataFrame) -> dict[str, float]:
    """Return the whole-farm sums of the made-up season."""
    grown, spare = (float((zones[c] * zones["area_ha"]).sum()) for c in ("stover_mg_ha", "removable_mg_ha"))
    steps = {"bale": 5000.0, "haul": 900.0, "nutrients": 7200.0, "land": 0.0}
    return {
        "fields_ha": float(zones["area_ha"].sum()),
        "gathered_ha": float((zones["area_ha"] * zones["gathered_fraction"]).sum()),
        "kept_free_ha": 0.0,
        "grain_mg": 600.0,
        "stover_mg": grown,
        "stover_known_mg": grown,
        "removable_mg": spare,
        "removable_known_mg": spare,
        "removal_mg": float(zones["removal_mg"].sum()),
        "withdrawn_mg": 210.0,
        "bales": 430.0,
        "need_bales": 474.0,
        "short_bales": 0.0,
        "yards_used": 2.0,
        "cost": sum(steps.values()),
        "cost_per_mg": sum(steps.values()) / 210.0,
        **{f"cost_{name}": cost for name, cost in steps.items()},
    }


def made_crew(text: Text = same) -> pd.DataFrame:
    """Return crew notes of every topic, in the shape that `stovergeo.bales.crew_notes` gives."""
    notes = [
        ("F1", "method", "Zone F1-a", message("take", how=text("Rake and bale."), rate=4.4)),
        ("F1", "cut", "Zone F1-a", message("cut", height=0.2)),
        ("F2", "method", "Zone F2-a", message("take", how=text("Second pass."), rate=3.1)),
        ("F1", "bale", "Zone F1-a", message("bale", width=1.524, mass=634.0, density=117.0)),
        ("farm", "wrap", "Net", message("net", turns=4.0, overlap=0.46)),
        ("farm", "gate", "Slowly", "Open the gate over at least five seconds and let the bale roll out gently."),
        ("farm", "first_bale", "Stop and look", "Count the turns, measure, weigh and probe before the second bale."),
        ("farm", "approach", "Slowly", "Come to the bale straight and slowly."),
        ("farm", "carry", "Clear of the ground", "Lift each bale clear of the ground. Never skid it."),
        ("farm", "row", "Butt the ends", "Set round bales with their flat ends butted firmly."),
        ("Y1", "hazard", "Soft edge", "The west side of yard Y1 is soft after rain."),
        ("farm", "heating", message("hot", limit=66.0), "Probe twice a day; the fire service decides what is done."),
    ]
    rows = [
        (scope, topic, title, text(said) if isinstance(said, str) else said, "invented")
        for scope, topic, title, said in notes
    ]
    return pd.DataFrame(rows, columns=["scope", "topic", "title", "message", "source"])
