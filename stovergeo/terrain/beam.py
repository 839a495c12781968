"""The season's direct beam as a table: energy by direction and by height of the horizon.

Whatever the number of hours, a cell's season needs only this table: for each sector of azimuth,
the beam energy that comes from above a given horizon, kept as a vector (direction to the sun times
energy) so that one dot product with the surface normal gives what falls on the ground.

Clouds take a share by month; hours of bright sunshine tell it by the formulas of FAO Irrigation and Drainage
Paper 56 (Allen, Pereira, Raes & Smith 1998), chapter 3.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pvlib
from numba import njit

from stovergeo.core.errors import ContractError
from stovergeo.terrain.tiles import SIDE, TILE

#: first day of each month in a common year, and the day after the last
_MONTH_STARTS = np.cumsum([1, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def cloud_from_sunshine(hours_a_day: Mapping[int, float], latitude: float) -> dict[int, float]:
    """Return the share of the clear-sky beam that comes through, by month, from hours of bright sunshine.

    Parameters
    ----------
    hours_a_day : mapping of int to float
        Mean hours of bright sunshine a day, by calendar month 1 to 12.
    latitude : float
        Degrees north.

    Raises
    ------
    ContractError
        When there is more sunshine than daylight: the hours are not for a day.
    """
    shares = {}
    for month, hours in hours_a_day.items():
        daylight = float(day_length_h(latitude, _days(month)).mean())
        if not 0 <= hours <= daylight * 1.02:
            raise ContractError(f"{hours:g} h of sunshine a day in month {month}, but the day has {daylight:.1f} h")
        shares[month] = min(hours / daylight, 1.0)
    return shares


def sun_declination_rad(day: Any) -> np.ndarray:
    """Return the sun's declination on a day of the year."""
    return 0.409 * np.sin(2 * np.pi * np.asarray(day) / 365 - 1.39)  # FAO-56 eq. 24


def sunset_angle_rad(latitude: float, day: Any) -> np.ndarray:
    """Return the hour angle of sunset; latitude in degrees north."""
    turn = -np.tan(np.radians(latitude)) * np.tan(sun_declination_rad(day))
    return np.arccos(np.clip(turn, -1, 1))  # FAO-56 eq. 25


def day_length_h(latitude: float, day: Any) -> np.ndarray:
    """Return hours of daylight; latitude in degrees north."""
    return 24 / np.pi * sunset_angle_rad(latitude, day)  # FAO-56 eq. 34


def _days(month: int) -> np.ndarray:
    if month not in range(1, 13):
        raise ContractError(f"months are numbered 1 to 12, not {month}")
    return np.arange(_MONTH_STARTS[month - 1], _MONTH_STARTS[month])


BINS = 1024  #: steps of the horizon's height, taken as t / (1 + t) of its tangent t: 0 to 1
UNSEEN = 0.002  #: share of a middling sector's beam, just above level, that is let pass whatever hides it
NIGHT_DEG = -8.0  #: height by the plain formula below which the sun has surely set


@dataclass(frozen=True, slots=True)
class Season:
    """Sun positions and beam energy at the middle of each time step with the sun up."""

    azimuth_deg: np.ndarray  #: from true north, clockwise
    elevation_deg: np.ndarray  #: as seen, refraction included
    energy_wh_m2: np.ndarray  #: of the step, on a surface facing the sun
    month: np.ndarray  #: number of the month in `months`
    months: tuple[str, ...]  #: "2026-10", "2026-11", ...

    def flat_kwh_m2(self) -> np.ndarray:
        """Return beam energy on open flat ground by month, kWh/m2."""
        on_flat = self.energy_wh_m2 * np.sin(np.radians(self.elevation_deg)) / 1000
        return np.bincount(self.month, on_flat, len(self.months))


def season(
    start: dt.date | str,
    end: dt.date | str,
    *,
    latitude: float,
    longitude: float,
    altitude_m: float,
    step_min: float,
    cloud: dict[int, float] | None = None,
) -> Season:
    """Return the clear-sky beam of a span of days.

    Parameters
    ----------
    start, end : date or ISO text
        First and last day, both included; days run by local mean solar time.
    latitude, longitude, altitude_m : float
        Degrees north, degrees east, meters above the sea.
    step_min : float
        Time step, minutes.
    cloud : dict of int to float, optional
        By calendar month 1 to 12, the share of the clear-sky beam that comes through on average (0 to 1).
        Left out: clear sky throughout, which leaves shares of open ground right and energies too high.

    Notes
    -----
    Position: Reda & Andreas 2004 (NREL SPA) by pvlib. Clear sky: Ineichen & Perez 2002 with pvlib's
    monthly turbidity climatology.
    """
    first, last = pd.Timestamp(start), pd.Timestamp(end)
    if last < first:
        raise ContractError(f"the season ends ({last:%Y-%m-%d}) before it starts ({first:%Y-%m-%d})")
    steps = int(((last - first).days + 1) * 1440 / step_min)
    solar = first + pd.to_timedelta((np.arange(steps) + 0.5) * step_min, unit="min")
    months = [str(month) for month in pd.period_range(first.to_period("M"), last.to_period("M"))]
    solar = solar[_plain_height_deg(solar, latitude) > NIGHT_DEG]
    utc = (solar - pd.Timedelta(hours=longitude / 15)).tz_localize("UTC")
    where = pvlib.location.Location(latitude, longitude, "UTC", altitude_m)
    position = sun_position(utc, latitude, longitude, altitude_m)
    with _pandas_names_kept():
        beam = where.get_clearsky(utc, model="ineichen", solar_position=position)["dni"].to_numpy()
    height = position["apparent_elevation"].to_numpy()
    month = ((solar.year - first.year) * 12 + solar.month - first.month).to_numpy()
    if cloud is not None:
        beam = beam * monthly_shares(cloud, "cloud")[solar.month.to_numpy() - 1]
    up = (height > 0) & (beam > 0)
    energy = beam[up] * step_min / 60
    return Season(position["azimuth"].to_numpy()[up], height[up], energy, month[up], tuple(months))


def _plain_height_deg(solar: pd.DatetimeIndex, latitude: float) -> np.ndarray:
    """Return the sun's height at mean solar times to some five degrees, no equation of time.

    Declination: Cooper 1969, Solar Energy 12:333-346 (from memory).
    """
    declination = np.radians(23.45 * np.sin(2 * np.pi * (284 + solar.day_of_year.to_numpy()) / 365))
    hour = np.radians(15 * (solar.hour.to_numpy() + solar.minute.to_numpy() / 60 - 12))
    at = np.radians(latitude)
    sine = np.sin(at) * np.sin(declination) + np.cos(at) * np.cos(declination) * np.cos(hour)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1, 1))))


def sun_position(
    utc: pd.DatetimeIndex, latitude: float, longitude: float, altitude_m: float, **air: float
) -> pd.DataFrame:
    """Return where the sun stands: pvlib's columns, among them ``azimuth`` and ``apparent_elevation``, degrees.

    Parameters
    ----------
    utc : pandas.DatetimeIndex
        With a time zone.
    latitude, longitude, altitude_m : float
    **air : float
        ``pressure`` (Pa, left out: that of the altitude), ``temperature`` (C) and ``delta_t`` (s), as pvlib takes them.
    """
    with _pandas_names_kept():
        return pvlib.solarposition.get_solarposition(utc, latitude, longitude, altitude_m, **air)


@contextlib.contextmanager
def _pandas_names_kept() -> Iterator[None]:
    """Keep quiet about a name pvlib 0.16 asks of pandas that pandas 3 is about to drop."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="DatetimeIndex.dayofyear")
        yield


def monthly_shares(given: dict[int, float], name: str) -> np.ndarray:
    """Return twelve shares, January first, from a table by month; a month left out counts as 1.

    Raises
    ------
    ContractError
        For a month outside 1 to 12 or a share outside 0 to 1.
    """
    shares = np.ones(12)
    for month, share in given.items():
        if month not in range(1, 13) or not 0 <= share <= 1:
            raise ContractError(f"{name} holds shares from 0 to 1 by month 1 to 12, not {month}: {share}")
        shares[month - 1] = share
    return shares


@dataclass(frozen=True, slots=True)
class Sector:
    """The season's beam from one sector of azimuth."""

    azimuth_deg: float  #: of its middle, from grid north, clockwise
    beam: np.ndarray  #: float32, shape (tables, BINS + 2, 3): see `sun_sectors`
    least: float  #: tangent of the height below which it has next to no sun, in each of its tables


def sun_sectors(
    days: Season, sectors: int, turn_deg: float, by_month: bool, weight: np.ndarray | None = None
) -> list[Sector]:
    """Return beam vectors from above each horizon height, for the sectors in which the sun stands.

    Parameters
    ----------
    days : Season
    sectors : int
        Sectors of azimuth in a circle; the first is centered on grid north.
    turn_deg : float
        From true north to grid north, clockwise, degrees.
    by_month : bool
        One table a month instead of one for the season.
    weight : ndarray, shape (12,), optional
        Factor by calendar month, January first.

    Returns
    -------
    list of Sector
        Its tables hold the east, north and up components, kWh/m2, of the beam from above a horizon of tangent t
        with t / (1 + t) = bin / BINS; linear in between. The last row repeats, so that a look-up at 1 stays inside.
    """
    azimuth = np.radians(days.azimuth_deg - turn_deg)
    height = np.radians(days.elevation_deg)
    energy = days.energy_wh_m2 / 1000
    if weight is not None:
        calendar = np.array([int(m[5:]) - 1 for m in days.months])
        energy = energy * weight[calendar[days.month]]
    number = np.rint(np.degrees(azimuth) * sectors / 360).astype(int) % sectors
    table = np.zeros((sectors, len(days.months) if by_month else 1, BINS + 2, 3))
    # shared between two rows so that the look-up, linear between rows, steps on average at the sun's own height
    place = np.maximum(np.sin(height) / (np.sin(height) + np.cos(height)) * BINS - 0.5, 0)
    at = place.astype(int)
    part = place - at
    which = (number, days.month if by_month else np.zeros_like(days.month))
    vectors = (np.cos(height) * np.sin(azimuth), np.cos(height) * np.cos(azimuth), np.sin(height))
    for axis, along in enumerate(vectors):
        np.add.at(table[..., axis], (*which, at), along * energy * (1 - part))
        np.add.at(table[..., axis], (*which, at + 1), along * energy * part)
    beam = np.flip(np.cumsum(np.flip(table, 2), 2), 2)
    with_sun = np.unique(number[energy > 0])
    if len(with_sun) == 0:
        return []
    share = np.bincount(number, np.sin(height), sectors)  # by the sun's path alone, whatever the clouds
    groups = _groups(with_sun, share)
    found = [(np.average(group, weights=share[group]), beam[group].sum(axis=0)) for group in groups]
    passed = UNSEEN * np.mean([np.abs(part[:, 0]).max(axis=1) for _, part in found], axis=0)
    return [Sector(360 * k / sectors, part.astype(np.float32), _lowest_tangent(part, passed)) for k, part in found]


def _groups(with_sun: np.ndarray, share: np.ndarray) -> list[np.ndarray]:
    """Return runs of neighboring sectors that together hold no more than a middling one; most stand alone."""
    most = share[with_sun].mean()
    runs = [[with_sun[0]]]
    for k in with_sun[1:]:
        if k == runs[-1][-1] + 1 and share[[*runs[-1], k]].sum() <= most:
            runs[-1].append(k)
        else:
            runs.append([k])
    return [np.array(run) for run in runs]


def _lowest_tangent(beam: np.ndarray, passed: np.ndarray) -> float:
    """Return the tangent of the height from below which less than `passed` comes, by table; infinite when all of it."""
    hidden = np.abs(beam[:, :1] - beam).max(axis=2)
    matters = (hidden > passed[:, None]).any(axis=0)
    if not matters.any():
        return np.inf
    place = max(int(matters.argmax()) - 1, 0) / BINS
    return place / (1 - place)


def open_beam(east: np.ndarray, north: np.ndarray, sectors: list[Sector], total: np.ndarray) -> None:
    """Add the beam of all sectors under no horizon to `total`; `take_shade` takes off what is hidden.

    Parameters
    ----------
    east, north : ndarray of float32, shape (n, m)
        Rise of the ground towards east and north.
    sectors : list of Sector
    total : ndarray of float32, shape (tables, n, m)
        kWh per m2 of ground seen from above: the normal (-east, -north, 1) keeps its length.
    """
    if not sectors:
        return
    _open_beam(east, north, np.sum([sector.beam[:, 0] for sector in sectors], axis=0), total)


@njit(cache=True, nogil=True)
def _open_beam(east: np.ndarray, north: np.ndarray, beam: np.ndarray, total: np.ndarray) -> None:
    for k in range(len(beam)):
        e, n, u = beam[k]
        for j in range(east.shape[0]):
            for i in range(east.shape[1]):
                total[k, j, i] += u - e * east[j, i] - n * north[j, i]


@njit(cache=True, nogil=True, error_model="numpy")
def take_shade(
    tangent: np.ndarray, east: np.ndarray, north: np.ndarray, skip: np.ndarray, beam: np.ndarray,
    sin_turn: np.float32, cos_turn: np.float32, least: np.float32, tiles: np.ndarray, row: int, col: int,
    total: np.ndarray,
) -> None:  # fmt: skip
    """Take from `total` what the horizon hides of one sector's beam.

    Parameters
    ----------
    tangent : ndarray of float32, shape (n, m)
        Tangent of the horizon's height in the sector; set to 0 where it was read, ready for the next sector.
    east, north : ndarray of float32, shape (n, m)
        Rise of the ground towards east and north.
    skip : ndarray of bool, shape (n, m)
        Cells left alone.
    beam : ndarray of float32, shape (tables, BINS + 2, 3)
        Of the `Sector`.
    sin_turn, cos_turn : float32
        Of the sector's middle azimuth.
    least : float32
        Tangent of the height below which the sector has no sun.
    tiles : ndarray of bool
        The block's tiles (see `stovergeo.terrain.tiles`) in which a cell may have a horizon above `least`.
    row, col : int
        Where the first cell stands in the block.
    total : ndarray of float32, shape (tables, n, m)
        As `open_beam` leaves it.
    """
    bins = np.float32(beam.shape[1] - 2)
    one, none = np.float32(1), np.float32(0)
    rows, cols = tangent.shape
    for j in range(rows):
        i = 0
        while i < cols:  # tile by tile
            end = min(i + SIDE - ((col + i) & (SIDE - 1)), cols)
            if not tiles[(row + j) >> TILE, (col + i) >> TILE]:
                i = end
                continue
            while i < end:
                rise_e, rise_n = east[j, i], north[j, i]
                # the cell's own slope is part of its horizon
                t = max(tangent[j, i], rise_e * sin_turn + rise_n * cos_turn)
                tangent[j, i] = none
                if t > least and not skip[j, i]:
                    place = bins * t / (one + t)
                    at = int(place)
                    part = place - np.float32(at)
                    for k in range(beam.shape[0]):
                        e = beam[k, at, 0] + part * (beam[k, at + 1, 0] - beam[k, at, 0])
                        n = beam[k, at, 1] + part * (beam[k, at + 1, 1] - beam[k, at, 1])
                        u = beam[k, at, 2] + part * (beam[k, at + 1, 2] - beam[k, at, 2])
                        # normal (-rise_e, -rise_n, 1), its length divided out at the end
                        seen = max(u - rise_e * e - rise_n * n, none)
                        total[k, j, i] += seen - (beam[k, 0, 2] - rise_e * beam[k, 0, 0] - rise_n * beam[k, 0, 1])
                i += 1
