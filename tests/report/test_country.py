"""Sentences that hold in the United States alone are printed for farms there; others get a general one."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from as_user import ask
from long_run import first_short
from placed_farm import PLACES, placed_plan

from stovergeo.core.messages import templates
from stovergeo.core.printing import parts, printed_in, render
from stovergeo.core.regions import lies_in
from stovergeo.supply.messages import message

#: what no reader outside the United States should meet
AMERICAN = re.compile(r"some states|conservation (office|plan)|soil survey|certified planner", re.IGNORECASE)


@pytest.mark.parametrize(
    ("longitude", "latitude", "inside"),
    [
        (-93.6, 42.0, True),  # Ames
        (-83.6, 41.6, True),  # Toledo
        (-83.0, 42.6, True),  # north of Detroit
        (-82.4, 42.4, False),  # Chatham, Ontario
        (-81.2, 43.0, False),  # London, Ontario
        (-80.25, 43.55, False),  # Guelph
        (-73.2, 44.5, True),  # Burlington, Vermont
        (-73.2, 45.6, False),  # east of Montreal
        (-97.1, 49.9, False),  # Winnipeg
        (-97.0, 47.9, True),  # Grand Forks
        (-97.7, 26.2, True),  # Harlingen, Texas
        (-103.5, 25.6, False),  # Torreon
        (-119.8, 36.7, True),  # Fresno
        (-61.5, -33.5, False),
        (20.5, 47.5, False),
        (-158.0, 21.4, True),  # Oahu
        (-149.1, 61.6, True),  # Palmer, Alaska
    ],
)
def test_towns_lie_in_their_countries(longitude: float, latitude: float, inside: bool) -> None:
    assert lies_in("united_states", longitude, latitude) == inside


def test_a_general_sentence_names_nothing_american() -> None:
    packages = ("bales", "report", "residue", "siting", "supply", "workflow", "zones", "yieldmap", "inputs")
    found = 0
    for package in packages:
        for key, template in templates(f"stovergeo.{package}").items():
            for reader in ("grower", "landowner"):
                text = "".join(p for p in template.parts(reader, elsewhere=True) if isinstance(p, str))
                assert not AMERICAN.search(text), (package, key)
            found += template.elsewhere is not None
            if template.elsewhere is not None:
                said = "".join(p for p in (*template.grower, *template.landowner) if isinstance(p, str))
                assert AMERICAN.search(said) or "highly erodible" in said, f"{package}:{key} needs no second text"
    assert found > 8


def test_the_same_message_prints_by_country() -> None:
    wide = message("load.wide", width=3.66)
    assert "Some states" in render(wide, "us")
    with printed_in("$", elsewhere=True):
        assert "Some states" not in render(wide, "us")
        assert "12.0 ft" in render(wide, "us")
        assert "Some states" not in str(parts(wide))


@pytest.mark.parametrize(("place", "american"), first_short([("Ontario", False), ("Iowa", True), ("Pampas", False)]))
def test_the_pages_say_what_holds_where_the_farm_lies(tmp_path: Path, place: str, american: bool) -> None:
    contract = {"contract": [{"name": "plant", "dry_mass": "10 t", "price": "90 $/t", "distance_km": 40}]}
    plan = placed_plan(tmp_path, PLACES[place], {"need": contract})
    out = tmp_path / "out"
    code, printed, told = ask("plan", plan, "--out", out)
    assert code in (0, 3), told
    page = (out / "map.html").read_text("utf-8")
    data = json.loads(re.search(r'id="plan-data"[^>]*>(.*?)</script>', page, re.S)[1])
    data.pop("sources")  # sources keep their names
    said = re.sub(r'Source: [^"]*"', '"', json.dumps(data))
    shown = [printed, said, (out / "crew.html").read_text("utf-8")]
    assert [bool(AMERICAN.search(text)) for text in shown[1:]] == [american, american]
    assert american or not AMERICAN.search(printed)
