"""Pace: what a machine covers in an hour, what a baler makes, how many days a job takes."""

from __future__ import annotations

import math

from stovergeo.core.units import KG_PER_MG


def area_capacity_ha_h(speed_km_h: float, width_m: float, efficiency: float) -> float:
    """Return effective field capacity, ha/h.

    In US units it reads mph x ft x efficiency / 8.25 (University of Kentucky AEN-73).
    """
    return speed_km_h * width_m * efficiency / 10


def material_capacity_mg_h(speed_km_h: float, width_m: float, removal_mg_ha: float, efficiency: float) -> float:
    """Return what ground speed lets a machine gather, dry Mg/h (form of ASAE EP496, from memory)."""
    return speed_km_h * width_m * removal_mg_ha * efficiency / 10


def bales_per_hour(bale_dry_kg: float, flow_mg_h: float, bind_s: float) -> float:
    """Return bales an hour of a baler that stops to wrap and drop each bale.

    Filling time and standing time add (the approach of Grisso, Webb & Cundiff 2020,
    AgriEngineering 2:568-580): 3600 / (m/q + t).

    Parameters
    ----------
    bale_dry_kg : float
        m, kg.
    flow_mg_h : float
        q, dry Mg/h while the baler moves.
    bind_s : float
        t, s; 0 for a baler that ties without stopping.
    """
    fill_s = bale_dry_kg / (flow_mg_h * KG_PER_MG / 3600)
    return 3600 / (fill_s + bind_s)


def netting_s(bind_s: float, turns: float, bind_turns: float, diameter_m: float, surface_speed_m_s: float) -> float:
    """Return standing time to net and drop a bale: a published time, and the turns beyond those it stands for."""
    return bind_s + (turns - bind_turns) * math.pi * diameter_m / surface_speed_m_s


def field_days(hours: float, hours_day: float, fit_fraction: float) -> float:
    """Return calendar days for a number of machine hours, where only a share of the days is fit."""
    return hours / (hours_day * fit_fraction)
