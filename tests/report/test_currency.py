"""Money in the farm's own currency: read in the plan, printed everywhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from as_user import ask
from long_run import first_short
from placed_farm import PLACES, placed_plan

from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import printed_in, quantity
from stovergeo.core.units import parse_quantity
from stovergeo.inputs.plan import read_plan


def money(sign: str) -> dict:
    return {
        "farm": {"currency": sign, "units": "metric"},
        "money": {"stover_value": f"70 {sign}/t", "nitrogen": f"1.10 {sign}/kg", "chop": f"30 {sign}/ha"},
        "landowner": {"price": f"20 {sign}/t"},
    }


@pytest.mark.parametrize("sign", ["€", "£", "EUR", "R$", "kr", "zł", "₹"])
@pytest.mark.parametrize("written", ["85 {}/t", "{}85/t", "{} 85/t", "0.085 {}/kg"])
def test_a_price_is_read_in_the_plans_currency(sign: str, written: str) -> None:
    assert parse_quantity(written.format(sign), "money per mass", sign) == pytest.approx(85)


@pytest.mark.parametrize(
    ("sign", "value", "printed"),
    [
        ("€", 1234.0, "€1,234.00/t"),
        ("EUR", 85.0, "EUR 85.00/t"),
        ("kr", -3.5, "-kr 3.50/t"),
        ("R$", -3.5, "-R$3.50/t"),
        ("$", 85.0, "$85.00/t"),
    ],
)
def test_an_amount_is_printed_with_its_sign_before_it(sign: str, value: float, printed: str) -> None:
    with printed_in(sign):
        assert quantity("per_mass", value, "metric") == printed
    assert quantity("per_mass", 1.0, "metric") == "$1.00/t"


@pytest.mark.parametrize("sign", ["", "5", "a b", "euros", "x", "€/t", "<b>", "\u202e€", '"€', "ر.س"])
@pytest.mark.row
def test_what_is_no_currency_is_refused(tmp_path: Path, sign: str) -> None:
    report = Report()
    with pytest.raises(InputError):
        read_plan(placed_plan(tmp_path, PLACES["Hungary"], {"farm": {"currency": sign}}), report)
    assert [(p.code, p.where.split(", ")[-1]) for p in report.refused] == [("plan.bad_value", "farm.currency")]


@pytest.mark.parametrize(("sign", "price"), [("€", "85 $/t"), ("$", "85 €/t"), ("EUR", "85 €/t"), ("€", "85 t")])
@pytest.mark.row
def test_a_price_in_another_currency_is_refused(tmp_path: Path, sign: str, price: str) -> None:
    report = Report()
    changes = {"farm": {"currency": sign}, "money": {"stover_value": price}}
    with pytest.raises(InputError):
        read_plan(placed_plan(tmp_path, PLACES["Hungary"], changes), report)
    assert [p.code for p in report.refused] == ["plan.bad_value"]
    assert f"is not in {sign}, the plan's currency" in str(report.refused[0]).replace("Is not", "is not")


@pytest.mark.parametrize("sign", first_short(["€", "EUR"]))
def test_no_dollar_is_printed_anywhere(tmp_path: Path, sign: str) -> None:
    path = placed_plan(tmp_path, PLACES["Hungary"], money(sign))
    out = tmp_path / "out"
    code, printed, told = ask("plan", path, "--out", out)
    assert code in (0, 3), told
    assert sign in printed
    assert "$" not in printed
    assert "US dollars" in told
    assert "$" not in (out / "crew.html").read_text("utf-8")
    record = json.loads((out / "plan.json").read_text("utf-8"))
    assert "$" not in json.dumps([record["words"], record["units"]])
    page = (out / "map.html").read_text("utf-8")
    data = json.loads(re.search(r'id="plan-data"[^>]*>(.*?)</script>', page, re.S)[1])
    assert data["money"] == (sign if sign == "€" else "EUR ")
    systems = data.pop("systems")  # scripts put `money` in place of the "$" of their labels
    assert systems
    assert data.pop("sources")  # the handbook's own prices are in dollars, as their sources
    assert "$" not in json.dumps(data)


@pytest.mark.long
def test_plans_in_two_currencies_are_not_compared(tmp_path: Path) -> None:
    folders = []
    for number, sign in enumerate(("€", "$")):
        folder = tmp_path / str(number)
        folder.mkdir()
        ask("plan", placed_plan(folder, PLACES["Hungary"], money(sign)), "--out", folder / "out")
        folders.append(folder / "out")
    code, _, told = ask("compare", *folders)
    assert code == 2
    assert "compare.other_currency" in told
    code, printed, _ = ask("compare", folders[0], folders[0])
    assert code == 0
    assert "€" in printed
    assert "$" not in printed
