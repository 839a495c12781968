"""Bales: from stover to bales that last until they are used."""

from stovergeo.bales.bale import BaleSize, bale_of
from stovergeo.bales.climate import storage_span
from stovergeo.bales.compare import keepings, planned, storable_methods, why_not_storable, wrap_table
from stovergeo.bales.crew_notes import crew_notes, heating_table, moisture_band
from stovergeo.bales.demand import need_table
from stovergeo.bales.making import bale_plan, baling_messages, pace, planned_wrap
from stovergeo.bales.storage import Keeping, OutsideGroundError, base_of_ground, storage_loss, why_not_kept
from stovergeo.bales.storage_messages import break_even_messages, break_even_table, storage_messages
from stovergeo.bales.wrap import keeping_cost, net_length_m, net_rolls, net_turns

__all__ = [
    "BaleSize",
    "Keeping",
    "OutsideGroundError",
    "bale_of",
    "bale_plan",
    "baling_messages",
    "base_of_ground",
    "break_even_messages",
    "break_even_table",
    "crew_notes",
    "heating_table",
    "keeping_cost",
    "keepings",
    "moisture_band",
    "need_table",
    "net_length_m",
    "net_rolls",
    "net_turns",
    "pace",
    "planned",
    "planned_wrap",
    "storable_methods",
    "storage_loss",
    "storage_messages",
    "storage_span",
    "why_not_kept",
    "why_not_storable",
    "wrap_table",
]
