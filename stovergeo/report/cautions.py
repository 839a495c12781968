"""The cautions that every map and crew sheet carries, whatever the plan says."""

from __future__ import annotations

from typing import Final

from stovergeo.report.blocks import plain

LEASE: Final = plain("caution.lease")
_CREW: Final = "rolling overturn entanglement wires falling fire machine_fire road dust"
#: what can go wrong, and what to do; the sources stand beside the texts
CREW: Final = tuple((plain(f"caution.title.{n}"), plain(f"caution.body.{n}")) for n in _CREW.split())


def guidance() -> str:
    """Return who decides, in the farm's country."""
    return plain("caution.guidance")
