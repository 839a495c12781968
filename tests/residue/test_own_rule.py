"""A stranger's rule, as DEVELOPERS.md shows it, works through the whole room; one that speaks wrongly stops nothing."""

import re
import types

import numpy as np
import pytest

from stovergeo.core import plugins
from stovergeo.core.errors import Report
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue import draw_limits, limits, methods, zone_limits


@pytest.fixture
def shown_rule(request):
    text = (request.config.rootpath / "DEVELOPERS.md").read_text("utf-8")
    code = re.search(r"```python\n# my_rules/quail.py\n(.*?)```", text, re.DOTALL)[1]
    module = types.ModuleType("quail")
    exec(code, module.__dict__)
    return module


def through(rule, monkeypatch):
    plugin = plugins.Plugin("quail_cover", "my-rules", rule)
    monkeypatch.setattr(
        "stovergeo.residue.removable.load_plugins", lambda group: [*plugins.load_plugins(group), plugin]
    )


def test_the_rule_in_the_developers_page_works(shown_rule, farm, zones, options, monkeypatch):
    through(shown_rule, monkeypatch)
    report = Report()
    done = limits(farm, options, report)
    assert not [p for p in report if p.code == "residue.rule_broken"]
    half = (done["keep_quail_cover_mg_ha"] / done["stover_mg_ha"]).values
    assert half[np.isfinite(half)] == pytest.approx(0.5, abs=1e-6)
    run = draw_limits(done, *zones, options, Odds(draws=40), methods(options.book))
    # half of whatever is drawn stays: at most half of what stands may leave
    standing = run.take_mg_ha["rake_bale"] / run.inputs["methods.rake_bale.share"][:, [0, 0, 1, 1]]
    assert (run.limit_mg_ha <= 0.5 * standing + 1e-9).all()
    table = zone_limits(done, *zones, options)
    row = table[(table["rule"] == "quail_cover") & (table["zone_id"] == "F2-a")].iloc[0]
    assert row["words"].startswith("Quail cover asks for 2.3 ton/ac to stay.")
    assert row["lift"].startswith("Grass strips")


def test_a_rule_that_speaks_wrongly_gets_a_plain_sentence(shown_rule, farm, zones, options, monkeypatch):
    shown_rule.words = lambda keep: "never called so"
    through(shown_rule, monkeypatch)
    table = zone_limits(limits(farm, options, Report()), *zones, options)
    said = table[table["rule"] == "quail_cover"]["words"]
    assert said.str.startswith("Cover for quail asks for").all()
