"""The season's direct beam as a table: energy by direction and by height of the horizon.

Whatever the number of hours, a cell's season needs only this table: for each sector of azimuth,
the beam energy that comes from above a given horizon, kept as a vector (direction to the sun times
energy) so that one dot product with the surface normal gives what falls on the ground.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib
from numba import njit

from stovergeo.errors import ContractError

BINS = 512  #: steps of the sine of the horizon's height, 0 to 1
UNSEEN = 0.0005  #: share of a sector's beam, just above the horizon, that is let pass


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
        Degrees north, degrees east, metres above the sea.
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
    utc = (solar - pd.Timedelta(hours=longitude / 15)).tz_localize("UTC")
    where = pvlib.location.Location(latitude, longitude, "UTC", altitude_m)
    position = sun_position(utc, latitude, longitude, altitude_m)
    with _pandas_names_kept():
        beam = where.get_clearsky(utc, model="ineichen", solar_position=position)["dni"].to_numpy()
    height = position["apparent_elevation"].to_numpy()
    names = solar.strftime("%Y-%m").to_numpy()
    months, month = np.unique(names, return_inverse=True)
    if cloud is not None:
        beam = beam * monthly_shares(cloud, "cloud")[solar.month.to_numpy() - 1]
    up = (height > 0) & (beam > 0)
    return Season(
        position["azimuth"].to_numpy()[up],
        height[up],
        beam[up] * step_min / 60,
        month[up],
        tuple(str(m) for m in months),
    )


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


def beam_table(
    days: Season, sectors: int, turn_deg: float, by_month: bool, weight: np.ndarray | None = None
) -> np.ndarray:
    """Return beam vectors from above each horizon height.

    Parameters
    ----------
    days : Season
    sectors : int
        Sectors of azimuth; sector k is centred on 360 k / sectors degrees from grid north.
    turn_deg : float
        From true north to grid north, clockwise, degrees.
    by_month : bool
        One table a month instead of one for the season.
    weight : ndarray, shape (12,), optional
        Factor by calendar month, January first.

    Returns
    -------
    ndarray of float32, shape (sectors, tables, BINS + 2, 3)
        East, north and up components, kWh/m2, of the beam from above a horizon whose sine is bin / BINS;
        linear in between. The last row repeats, so that a look-up at sine 1 stays inside.
    """
    azimuth = np.radians(days.azimuth_deg - turn_deg)
    height = np.radians(days.elevation_deg)
    sine, cosine = np.sin(height), np.cos(height)
    energy = days.energy_wh_m2 / 1000
    if weight is not None:
        calendar = np.array([int(m[5:]) - 1 for m in days.months])
        energy = energy * weight[calendar[days.month]]
    sector = np.rint(np.degrees(azimuth) * sectors / 360).astype(int) % sectors
    tables = len(days.months) if by_month else 1
    table = np.zeros((sectors, tables, BINS + 2, 3))
    # shared between two rows so that the look-up, linear between rows, steps on average at the sun's own height
    place = np.maximum(sine * BINS - 0.5, 0)
    at = place.astype(int)
    part = place - at
    which = (sector, days.month if by_month else np.zeros_like(days.month))
    vectors = (cosine * np.sin(azimuth), cosine * np.cos(azimuth), sine)
    for axis, along in enumerate(vectors):
        np.add.at(table[..., axis], (*which, at), along * energy * (1 - part))
        np.add.at(table[..., axis], (*which, at + 1), along * energy * part)
    return np.flip(np.cumsum(np.flip(table, 2), 2), 2).astype(np.float32)


def lowest_tangent(table: np.ndarray) -> float:
    """Return the tangent of the height below which a sector has next to no sun.

    Parameters
    ----------
    table : ndarray, shape (tables, BINS + 2, 3)
        The sector's part of `beam_table`.

    Returns
    -------
    float
        From lower than this comes less than `UNSEEN` of the sector's beam, in each of its tables.
    """
    hidden = np.abs(table[:, :1] - table).max(axis=2)
    matters = (hidden > UNSEEN * np.abs(table[:, :1]).max(axis=2)).any(axis=0)
    sine = max(int(matters.argmax()) - 1, 0) / BINS
    return float(sine / np.sqrt(1 - sine**2))


def open_beam(east: np.ndarray, north: np.ndarray, table: np.ndarray, total: np.ndarray) -> None:
    """Add the beam of all sectors under no horizon to `total`; `take_shade` takes off what is hidden.

    Parameters
    ----------
    east, north : ndarray of float32, shape (n, m)
        Rise of the ground towards east and north.
    table : ndarray of float32, shape (sectors, tables, BINS + 2, 3)
        Of `beam_table`.
    total : ndarray of float32, shape (tables, n, m)
        kWh per m2 of ground seen from above: the normal (-east, -north, 1) keeps its length.
    """
    for month, (e, n, u) in enumerate(table[:, :, 0].sum(axis=0)):
        total[month] += u - e * east - n * north


@njit(cache=True, nogil=True, error_model="numpy")
def take_shade(
    tangent: np.ndarray,
    east: np.ndarray,
    north: np.ndarray,
    skip: np.ndarray,
    table: np.ndarray,
    sin_turn: np.float32,
    cos_turn: np.float32,
    least: np.float32,
    total: np.ndarray,
) -> None:
    """Take from `total` what the horizon hides of one sector's beam.

    Parameters
    ----------
    tangent : ndarray of float32, shape (n, m)
        Tangent of the horizon's height in the sector.
    east, north : ndarray of float32, shape (n, m)
        Rise of the ground towards east and north.
    skip : ndarray of bool, shape (n, m)
        Cells left alone.
    table : ndarray of float32, shape (tables, BINS + 2, 3)
        The sector's part of `beam_table`.
    sin_turn, cos_turn : float32
        Of the sector's middle azimuth.
    least : float32
        Tangent of the height below which the sector has no sun: see `lowest_tangent`.
    total : ndarray of float32, shape (tables, n, m)
        As `open_beam` leaves it.
    """
    bins = np.float32(table.shape[1] - 2)
    one, none = np.float32(1), np.float32(0)
    for j in range(tangent.shape[0]):
        for i in range(tangent.shape[1]):
            rise_e, rise_n = east[j, i], north[j, i]
            # the cell's own slope is part of its horizon
            t = max(tangent[j, i], rise_e * sin_turn + rise_n * cos_turn)
            if not t > least or skip[j, i]:
                continue
            place = bins * t / np.sqrt(one + t * t)
            at = int(place)
            part = place - np.float32(at)
            for k in range(table.shape[0]):
                e = table[k, at, 0] + part * (table[k, at + 1, 0] - table[k, at, 0])
                n = table[k, at, 1] + part * (table[k, at + 1, 1] - table[k, at, 1])
                u = table[k, at, 2] + part * (table[k, at + 1, 2] - table[k, at, 2])
                # normal (-rise_e, -rise_n, 1), its length divided out at the end
                seen = max(u - rise_e * e - rise_n * n, none)
                total[k, j, i] += seen - (table[k, 0, 2] - rise_e * table[k, 0, 0] - rise_n * table[k, 0, 1])
