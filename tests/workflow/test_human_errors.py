"""Errors that people make, by rule, on the sample farm, one field of it and the real field: told, or without effect.

Each error is made in the files or the plan, and the farm is taken as far as the removable stover: cleaning, surface and
limits. An error is told when the run is refused or gives a warning that the sound farm does not give. Beside it stand
sound but uneven farms, on which at most one warning in ten may be given.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from human_errors import ERRORS, UNDETECTABLE, judge, sound_farm, table

pytestmark = pytest.mark.long
FARMS = 30


def test_there_are_enough_errors() -> None:
    assert len(ERRORS) >= 150
    assert len({error.name for error in ERRORS}) == len(ERRORS)


@pytest.mark.parametrize("farm", ["sample", "one field", "real field"])
@pytest.mark.parametrize("part", range(2))
def test_no_error_moves_the_stover_without_a_word(tmp_path: Path, farm: str, part: int) -> None:
    judged = [judge(error, tmp_path) for error in [e for e in ERRORS if e.farm == farm][part::2]]
    silent = {found.error.name for found in judged if not found.told and found.moved > 0.10}
    print(table(judged))
    assert silent <= set(UNDETECTABLE)


def test_sound_but_uneven_farms_raise_few_warnings(tmp_path: Path) -> None:
    warned = {}
    for seed in range(FARMS):
        (tmp_path / str(seed)).mkdir()
        codes = sound_farm(seed, tmp_path / str(seed)).codes - {"time.order"}  # the sample's own clock
        if codes:
            warned[seed] = codes
    assert len(warned) <= FARMS / 10, warned
