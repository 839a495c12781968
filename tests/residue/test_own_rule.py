"""A plug-in rule, as DEVELOPERS.md shows it, works through the whole package; a wrong message stops nothing."""

import importlib
import re
import sys

import numpy as np
import pytest

from stovergeo.core import plugins
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.core.printing import render
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue import limits, methods, sample_limits, zone_limits


@pytest.fixture
def shown_rule(request, tmp_path, monkeypatch):
    text = (request.config.rootpath / "DEVELOPERS.md").read_text("utf-8")
    (tmp_path / "my_rules").mkdir()
    for name, file in re.findall(r"```(?:python|toml)\n# (my_rules/\S+)\n(.*?)```", text, re.DOTALL):
        (tmp_path / name).write_text(file, "utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    yield importlib.import_module("my_rules.quail")
    del sys.modules["my_rules.quail"], sys.modules["my_rules"]


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
    half = (done["retention_quail_cover_mg_ha"] / done["stover_mg_ha"]).values
    assert half[np.isfinite(half)] == pytest.approx(0.5, abs=1e-6)
    run = sample_limits(done, *zones, options, Odds(samples=40), methods(options.coefficients))
    # half of whatever is drawn stays: at most half of what stands may leave
    standing = run.removal_mg_ha["rake_bale"] / run.inputs["methods.rake_bale.share"][:, [0, 0, 1, 1]]
    assert (run.limit_mg_ha <= 0.5 * standing + 1e-9).all()
    table = zone_limits(done, *zones, options)
    row = table[(table["rule"] == "quail_cover") & (table["zone_id"] == "F2-a")].iloc[0]
    assert row["message"][0].values["keep"] == row["retention_mg_ha"]
    assert render(row["message"], "us").startswith("Quail cover asks for 2.3 ton/ac to stay.")
    assert render(row["message"], "metric").startswith("Quail cover asks for 5.1 t/ha to stay.")
    assert row["lift"][0].startswith("Grass strips")


BROKEN_TEMPLATES = """
[quail]
no_kind = "Quail cover asks for {keep:furlongs} to stay."
landowner = { text = "{keep:rate} stays.", landowner = "{keep:furlongs} stays." }
no_number = "Quail cover asks for {bird:rate} to stay."
"""


@pytest.mark.parametrize(
    "wrong",
    [
        lambda keep: "never called so",
        lambda keep, stover, options: f"Quail cover asks for {keep:.1f} t/ha.",  # text, not a message
        lambda keep, stover, options: Catalog("my_rules")("quail.none", keep=keep),
        lambda keep, stover, options: Catalog("my_rules")("quail.some", bird=keep),
        lambda keep, stover, options: Catalog("no_such_rules")("quail.some", keep=keep),
        lambda keep, stover, options: Catalog("broken_rules")("quail.no_kind", keep=keep),
        lambda keep, stover, options: Catalog("broken_rules")("quail.landowner", keep=keep),
        lambda keep, stover, options: Catalog("broken_rules")("quail.no_number", bird="quail"),
    ],
)
def test_a_rule_that_speaks_wrongly_gets_a_plain_sentence(
    wrong, shown_rule, farm, zones, options, tmp_path, monkeypatch
):
    (tmp_path / "broken_rules").mkdir()
    (tmp_path / "broken_rules" / "messages.toml").write_text(BROKEN_TEMPLATES, "utf-8")
    shown_rule.message = wrong
    through(shown_rule, monkeypatch)
    table = zone_limits(limits(farm, options, Report()), *zones, options)
    said = [render(m, "us") for m in table[table["rule"] == "quail_cover"]["message"]]
    assert all(text.startswith("Cover for quail: ") for text in said)


def test_a_rule_need_not_speak(shown_rule, farm, zones, options, monkeypatch):
    del shown_rule.message
    through(shown_rule, monkeypatch)
    table = zone_limits(limits(farm, options, Report()), *zones, options)
    row = table[(table["rule"] == "quail_cover") & (table["zone_id"] == "F2-a")].iloc[0]
    assert render(row["message"][0], "us") == "Cover for quail: 2.3 ton/ac must stay."
