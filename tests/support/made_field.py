"""A combine driven over a field whose true yield is known everywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np

from stovergeo.core.units import KG_PER_MG, M2_PER_HA

CRS = "EPSG:26915"
EAST, NORTH = 421_000.0, 4_863_000.0
Truth = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Drive:
    """How the field is harvested; every fault is off unless asked for."""

    width_m: float = 320.0
    height_m: float = 420.0
    swath_m: float = 9.144
    seconds: float = 1.0
    speed_m_s: float = 2.0
    delay_s: float = 0.0
    mixing_s: float = 0.0  #: e-folding time of the mixing on the way to the sensor
    record_noise: float = 0.05  #: relative standard deviation of a record
    pass_noise: float = 0.005  #: relative standard deviation common to a pass
    position_noise_m: float = 0.1
    machines: tuple[float, ...] = (1.0,)  #: gain of each
    land_passes: int = 0  #: machines take turns every so many passes; 0: each takes one block of the field
    seed: int = 1


def smooth(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Long waves, 6 to 10 Mg/ha."""
    return 8 + 1.2 * np.sin(x / 70) + 0.8 * np.cos(y / 90 + x / 200)


def patchy(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Waves from 200 m down to 30 m."""
    rng = np.random.default_rng(7)
    out = np.full(np.shape(x), 8.0)
    for _ in range(40):
        length = np.exp(rng.uniform(np.log(60), np.log(300)))
        angle, phase = rng.uniform(0, 2 * np.pi, 2)
        out = out + 0.35 * (length / 150) ** 0.5 * np.sin(
            2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / length + phase
        )
    return out


def sharp_border(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Two soils that meet in a line across the passes: 9.5 and 6.5 Mg/ha."""
    return np.where(y + 0.4 * x > 280, 9.5, 6.5) + 0.4 * np.sin(x / 60)


def low_spot(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A drowned hollow of 30 m radius that gives 2.5 Mg/ha in ground that gives 9."""
    return np.where((x - 150) ** 2 + (y - 200) ** 2 < 30**2, 2.5, 9.0 + 0.5 * np.sin(y / 80))


TRUTHS: dict[str, Truth] = {
    "smooth": smooth,
    "patchy": patchy,
    "sharp border": sharp_border,
    "low spot": low_spot,
}


def harvest(truth: Truth, drive: Drive | None = None, **changes: object) -> gpd.GeoDataFrame:
    """Return the records of a field driven up and down from west to east, as `schemas.POINTS`."""
    drive = replace(drive or Drive(), **changes)
    rng = np.random.default_rng(drive.seed)
    passes = int(drive.width_m / drive.swath_m)
    steps = int(drive.height_m / (drive.speed_m_s * drive.seconds))
    turn_s = 20.0
    parts = []
    for p in range(passes):
        up = p % 2 == 0
        speed = drive.speed_m_s * (1 + 0.02 * np.cumsum(rng.normal(0, 0.3, steps)).clip(-2, 2))
        way = np.cumsum(speed * drive.seconds)
        way = way[way <= drive.height_m]
        distance = np.diff(way, prepend=0.0)
        middle = way - distance / 2
        x_true = (p + 0.5) * drive.swath_m
        cut = np.zeros(len(way))
        for share in np.linspace(-0.45, 0.45, 7):  # mean over the swath and the way of the record
            for part in (-0.35, 0.0, 0.35):
                y = middle + part * distance
                cut += truth(np.full(len(y), x_true + share * drive.swath_m), y if up else drive.height_m - y) / 21
        area = distance * drive.swath_m
        kg_s = cut * KG_PER_MG * area / M2_PER_HA / drive.seconds
        kg_s = _to_sensor(kg_s, drive)
        machine = _machine_of(p, passes, drive)
        kg_s *= drive.machines[machine] * (1 + rng.normal(0, drive.pass_noise))
        kg_s *= 1 + rng.normal(0, drive.record_noise, len(kg_s))
        shift = rng.normal(0, drive.position_noise_m)
        time = 1000.0 + p * (steps * drive.seconds * 1.1 + turn_s) + np.arange(len(way)) * drive.seconds
        parts.append(
            {
                "x": EAST + x_true + shift + rng.normal(0, 0.03, len(way)),
                "y": NORTH + (way if up else drive.height_m - way),
                "seconds": np.full(len(way), drive.seconds),
                "dry_kg_s": kg_s,
                "distance_m": distance,
                "time_s": time,
                "machine": np.full(len(way), machine),
            }
        )
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    moisture = 17 + rng.normal(0, 0.3, len(columns["x"]))
    area_m2 = columns["distance_m"] * drive.swath_m
    grain_kg = columns["dry_kg_s"] * columns["seconds"]
    return gpd.GeoDataFrame(
        {
            "seconds": columns["seconds"],
            "flow_kg_s": columns["dry_kg_s"] / (1 - moisture / 100),
            "distance_m": columns["distance_m"],
            "swath_m": drive.swath_m,
            "moisture_pct": moisture,
            "time_s": columns["time_s"],
            "machine": [f"combine {m + 1}" for m in columns["machine"].astype(int)],
            "area_m2": area_m2,
            "grain_kg": grain_kg,
            "grain_mg_ha": grain_kg / KG_PER_MG / (area_m2 / M2_PER_HA),
        },
        geometry=gpd.points_from_xy(columns["x"], columns["y"]),
        crs=CRS,
    )


def _machine_of(p: int, passes: int, drive: Drive) -> int:
    count = len(drive.machines)
    return (p // drive.land_passes) % count if drive.land_passes else min(p * count // passes, count - 1)


def _to_sensor(kg_s: np.ndarray, drive: Drive) -> np.ndarray:
    """Mix and delay a flow on its way to the sensor; nothing flows before the first grain arrives."""
    if drive.mixing_s > 0:
        keep = np.exp(-drive.seconds / drive.mixing_s)
        mixed, state = np.empty_like(kg_s), 0.0
        for k, value in enumerate(kg_s):
            state = keep * state + (1 - keep) * value
            mixed[k] = state
        kg_s = mixed
    if drive.delay_s == 0:
        return kg_s
    at = np.arange(len(kg_s)) * drive.seconds
    return np.interp(at - drive.delay_s, at, kg_s, left=0.0)
