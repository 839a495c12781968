"""Criteria that are rows of one table: each is a plug-in, and each of its sentences is said of some ground."""

from __future__ import annotations

import numpy as np
import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.messages import Message
from stovergeo.core.plugins import SITE_CRITERIA, load_plugins
from stovergeo.core.printing import UNIT_SYSTEMS, render
from stovergeo.siting.criteria import table

ROWS = {row.name: row for row in vars(table).values() if isinstance(row, table.Measured)}
COEFFICIENTS = load_handbook()
#: values over which a variable without classes is spread, in its own unit
SPREAD = {"hydric": (0, 1), "sun": (0.5, 1.1), "water_table": (0, 220), "slope": (0, 12), "clay": (0, 80)}


def test_every_row_is_the_plug_in_of_its_name():
    found = {p.name: p.thing for p in load_plugins(SITE_CRITERIA)}
    assert len(ROWS) == 10
    assert {name: found[name] for name in ROWS} == ROWS


def spread_over(row, ground):
    """The ground with a row's variable spread over all its values, and what the row says of each cell."""
    g = ground(cells=40)
    n = g.x.size
    low, high = SPREAD.get(row.name, (0, 3))
    values = np.resize(list(row.classes), n) if row.classes else np.linspace(low, high, n)
    g.changes[row.variable] = values.reshape(g.x.shape).astype(float)
    rated = g.rate()[1].of(row.name)
    return values, rated, [rated.message_at(*cell) for cell in np.ndindex(g.x.shape)]


@pytest.mark.parametrize("name", ROWS)
def test_each_sentence_of_a_row_is_said_of_some_ground(name, ground):
    row = ROWS[name]
    values, rated, told = spread_over(row, ground)
    assert {m.key for m in told} == {s.key for s in row.sentences} | ({row.refusal} if row.refusal else set())
    refused = np.array([m.key == row.refusal for m in told])
    assert (refused == ~rated.rating.allowed.values.ravel()).all()
    if row.refusal:
        limit = COEFFICIENTS.value(row.limit)
        assert (refused == row.forbidden(values.astype(np.float32), limit)).all()
        assert rated.rating.limit == pytest.approx(limit / row.per_si_unit)


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
@pytest.mark.parametrize("name", ROWS)
def test_what_a_row_says_is_the_value_it_judged(name, system, ground):
    row = ROWS[name]
    values, _, told = spread_over(row, ground)
    for value, one in zip(values, told, strict=True):
        assert isinstance(one, Message)
        if "value" in one.values:
            assert one.values["value"] == pytest.approx(value / row.per_si_unit, rel=1e-6, abs=1e-6)
        if row.classes:
            assert row.classes[int(value)].lower() in render(one, system).lower()
    assert all(render(one, system).endswith(".") for one in told[:: len(told) // 50])
