"""Why a zone has its method: the limit that each refused one exceeds is the one that residue found deciding."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stovergeo.core.messages import Catalog
from stovergeo.core.printing import render
from stovergeo.supply.messages import method_messages

verdict = Catalog("stovergeo.residue")


def only_rake_bale(problem, refusals):
    """Return the problem with one allowed method in its first zone, the others refused by these verdicts."""
    first = problem.offers["zone_id"] == "F1-a"
    offers = problem.offers[~first | problem.offers["method"].isin(["rake_bale", *refusals])]
    allowed = offers["allowed"].astype(bool).where(offers["zone_id"] != "F1-a", offers["method"] == "rake_bale")
    messages = [
        (refusals[method],) if zone == "F1-a" and method in refusals else (verdict("method.unknown"),)
        for zone, method in zip(offers["zone_id"], offers["method"], strict=True)
    ]
    return replace(problem, offers=offers.assign(allowed=allowed, limit_mg_ha=2.0, message=messages))


def why(problem):
    chosen = dict.fromkeys(problem.zones["zone_id"], "leave") | {"F1-a": "rake_bale"}
    _, against = method_messages(problem, chosen, {})["F1-a"]
    return render(against, "metric")


@pytest.mark.parametrize(
    ("deciding", "words"),
    [("mean", "on average"), ("even", "gathered evenly"), ("cautious", "can be spared in 85 of 100 cases")],
)
def test_the_one_method_left_is_explained_by_the_limit_that_decided(season, deciding, words):
    sure = {"sure": 85.0} if deciding == "cautious" else {}
    refused = verdict(f"exceeds.{deciding}", take=4.0, limit=2.0, **sure)
    text = why(only_rake_bale(season(), {"chop_and_rake": refused}))
    assert text.startswith("No other method fits here: chop and rake takes")
    assert words in text
    others = {"on average", "gathered evenly", "of 100 cases"} - {"of 100 cases" if sure else words}
    assert not any(other in text for other in others)


def test_each_refused_method_has_its_own_limit(season):
    refusals = {
        "chop_and_rake": verdict("exceeds.cautious", take=4.0, limit=2.0, sure=90.0),
        "second_pass": verdict("exceeds.mean", take=3.0, limit=2.0),
    }
    text = why(only_rake_bale(season(), refusals))
    assert "in 90 of 100 cases" in text
    assert "on average" in text


def test_no_limit_is_stated_where_no_other_method_is_offered(season):
    assert why(only_rake_bale(season(), {})) == "The plan offers no other method here."
    unknown = only_rake_bale(season(), {"chop_and_rake": verdict("method.unknown")})
    assert why(unknown) == "No other method fits here: chop and rake is not allowed."
