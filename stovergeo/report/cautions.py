"""The cautions that every map and crew sheet carries, whatever the plan says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from stovergeo.report.blocks import message


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution, and who says so."""

    name: str
    source: str

    @property
    def title(self) -> str:
        """What can go wrong."""
        return str(message(f"caution.title.{self.name}"))

    @property
    def words(self) -> str:
        """What to do."""
        return str(message(f"caution.body.{self.name}"))


GUIDANCE: Final = str(message("caution.guidance"))
LEASE: Final = str(message("caution.lease"))
CREW: Final = (
    Caution("rolling", "Iowa State University Safe Farm Pm-1518g; read second-hand"),
    Caution(
        "overturn", "Iowa State University Safe Farm Pm-1518g; University of Nebraska Medical Center; read second-hand"
    ),
    Caution("entanglement", "Virginia Tech Extension 442-455; read second-hand"),
    Caution(
        "wires",
        "UK Health and Safety Executive (at least 10 m from lines); read second-hand; the utility's distance holds",
    ),
    Caution("falling", "UK Health and Safety Executive; NFU; read second-hand"),
    Caution("fire", "Extension bulletins on hay heating; the fire service decides"),
    Caution("machine_fire", "Perennial grass biomass fire guide; read second-hand"),
    Caution("road", "National load-securement rules; the road authority decides"),
    Caution("dust", "Extension safety sheets; read second-hand"),
)
