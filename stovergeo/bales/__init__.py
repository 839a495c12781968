"""Bales: from stover to bales that last until they are used."""

from stovergeo.bales.bale import BaleSize, bale_of
from stovergeo.bales.climate import storage_span
from stovergeo.bales.compare import planned, rejected_methods, storable_methods, storage_methods, wrap_table
from stovergeo.bales.crew_notes import crew_notes, heating_table, moisture_band
from stovergeo.bales.demand import need_table
from stovergeo.bales.making import bale_plan, baling_messages, pace, planned_wrap
from stovergeo.bales.storage import OutsideGroundError, StorageMethod, base_of_ground, rejection_reason, storage_loss
from stovergeo.bales.storage_messages import break_even_messages, break_even_table, storage_messages
from stovergeo.bales.wrap import net_length_m, net_rolls, net_turns, storage_cost

__all__ = [
    "BaleSize",
    "OutsideGroundError",
    "StorageMethod",
    "bale_of",
    "bale_plan",
    "baling_messages",
    "base_of_ground",
    "break_even_messages",
    "break_even_table",
    "crew_notes",
    "heating_table",
    "moisture_band",
    "need_table",
    "net_length_m",
    "net_rolls",
    "net_turns",
    "pace",
    "planned",
    "planned_wrap",
    "rejected_methods",
    "rejection_reason",
    "storable_methods",
    "storage_cost",
    "storage_loss",
    "storage_messages",
    "storage_methods",
    "storage_span",
    "wrap_table",
]
