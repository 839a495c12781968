"""What a hurried hand types into a plan, or names as a layer: the command says what is wrong in words of the farm."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from as_user import ask, standing, write_plan


def told(farm, plan: Path, code: str, *words: str) -> None:
    """Check refuses or warns as the code's table says, with these words, and a refused plan writes nothing."""
    before = standing(farm.folder)
    exit_code, out, err = ask("check", plan)
    said = " ".join(f"{out} {err}".split())
    assert code in said
    for word in words:  # a long path is broken over lines
        assert "".join(word.split()) in "".join(said.split()), said
    assert "Traceback" not in said
    if exit_code:
        assert exit_code == 2
        assert ask("plan", plan, "--out", farm.folder / "out")[0] == 2
    assert standing(farm.folder) == before


KEYS = [
    ("gather", "min_zone", "5 acers", "plan.bad_value", "'acers' is not a unit of area"),
    ("gather", "min_zone", 5, "plan.bad_value", "a number with its unit"),
    ("gather", "working_width", "1,5 m", "plan.bad_value", "not a comma"),
    ("gather", "working_width", "0 ft", "plan.bad_value", "at least 1 m"),
    ("storage", "baled", "5/11/2025", "plan.bad_value", 'such as "11-05"'),
    ("storage", "baled", "25-11", "plan.bad_value", "month first"),
    ("storage", "baled", "Nov 5", "plan.bad_value", 'such as "11-05"'),
    ("money", "stover_value", "-70 $/ton", "plan.bad_value", "less than nothing"),
    ("money", "stover_value", "70 EUR/t", "plan.bad_value", "write it such as"),
    ("money", "stover_value", "70 $/ac", "plan.bad_value", "not a unit of money per mass"),
    ("money", "bale_each", -3, "plan.bad_value", "at least 0"),
    ("farm", "season", 25, "plan.bad_value", "at least 1950"),
    ("farm", "cell", "500 ft", "plan.bad_value", "at most 100 m"),
    ("farm", "cell", "0 m", "plan.bad_value", "at least 0.5 m"),
    ("limits", "slope_max_pct", 0.08, "plan.bad_value", "looks like a fraction"),
    ("limits", "cover_pct", 0.3, "plan.bad_value", "looks like a fraction"),
    ("need", "herd", {"name": "cows", "head": 10}, "plan.bad_value", "[[...]]"),
    ("need", "herd", [{"name": "cows", "head": 10, "months": ["November"]}], "plan.bad_value", '"Nov"'),
    ("need", "herd", [{"name": "cows", "head": 0}], "plan.bad_value", "more than 0"),
    ("handbook", "residue.slope", 85, "plan.far_from_handbook", "0.85"),
    ("handbook", "residue.slope", -0.85, "plan.bad_value", "its sign"),
    ("handbook", "residue.slop", 0.8, "plan.unknown_key", "residue.slope"),
]


@pytest.mark.surprise("1,5 m was read as 15 m; negative prices, cells of nothing and infinity were taken.")
@pytest.mark.parametrize(("section", "key", "value", "code", "word"), KEYS)
def test_a_value_typed_wrong(farm, section, key, value, code, word):
    farm.data.setdefault(section, {})[key] = value
    told(farm, write_plan(farm.data, farm.folder), code, word)


TEXTS = [
    ('"Test farm"', "Test farm", "text must stand in quotes"),
    ('"Test farm"', "\u201cTest farm\u201d", "straight quotes"),
    ('"fields.gpkg"', '"C:\\Users\\me\\fields.gpkg"', "write paths with /"),
    ('"season" = 2025', "season: 2025", "joined by ="),
    ('"season" = 2025', '"season" = 2025\n["farm"]', "once already"),
    ('"season" = 2025', '"season" = 2025\nodd = 1,5', "decimal point"),
]


@pytest.mark.parametrize(("right", "wrong", "word"), TEXTS)
def test_a_line_that_is_no_toml(farm, right, wrong, word):
    plan = write_plan(farm.data, farm.folder)
    text = plan.read_text("utf-8")
    assert right in text
    plan.write_text(text.replace(right, wrong, 1), "utf-8")
    told(farm, plan, "plan.unreadable", "Line ", word)


@pytest.mark.surprise("A plan file with a byte order mark, or in UTF-16, was refused.")
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_plan_from_another_editor_is_read(farm, encoding):
    plan = write_plan(farm.data, farm.folder)
    plan.write_bytes(plan.read_text("utf-8").replace(" = ", "\t=\t").encode(encoding))
    assert ask("check", plan)[0] == 0


def test_a_plan_in_an_old_encoding_says_how_to_save_it(farm):
    plan = write_plan(farm.data, farm.folder)
    plan.write_bytes(plan.read_text("utf-8").replace("Test farm", "Caf\u00e9").encode("cp1252"))
    told(farm, plan, "plan.unreadable", "Save it as UTF-8")


def test_a_folder_for_a_plan_is_led_to_the_plan_in_it(farm):
    plan = write_plan(farm.data, farm.folder)
    told(farm, farm.folder, "plan.unreadable", f"did you mean {plan}?")


@pytest.mark.parametrize("name", ["fields.gpkg", "points.csv"])
def test_a_layer_for_a_plan(farm, name):
    told(farm, farm.folder / name, "plan.unreadable", "does not look like a plan file")


@pytest.mark.surprise("A web page in place of a layer was said to declare entities; a PDF was called a table.")
@pytest.mark.parametrize(
    ("start", "word"),
    [
        (b"<!DOCTYPE html><html>404", "web page"),
        (b"%PDF-1.7 " + b"x" * 99, "PDF"),
        (b"version https://git-lfs.github.com/spec/v1\noid sha256:0\n", "stand-in"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old binary spreadsheet"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 99, "none of GeoPackage"),
    ],
)
def test_a_file_that_is_no_data(farm, start, word):
    (farm.folder / "fields.gpkg").write_bytes(start)
    told(farm, write_plan(farm.data, farm.folder), "file.signature", word)


def test_one_part_of_a_shapefile(farm, fields):
    fields.to_file(farm.folder / "f.shp")
    farm.layers["fields"]["path"] = "f.dbf"
    told(farm, write_plan(farm.data, farm.folder), "file.signature", "ends in .shp")
    (farm.folder / "f.dbf").unlink()
    farm.layers["fields"]["path"] = "f.shp"
    told(farm, write_plan(farm.data, farm.folder), "file.incomplete", "f.dbf")


@pytest.mark.surprise("A title above the names of columns was told as ten columns without a name.")
def test_a_title_above_the_names(farm, table):
    table.to_excel(farm.folder / "points.xlsx", index=False, startrow=3)
    farm.layers["yield_points"]["path"] = "points.xlsx"
    told(farm, write_plan(farm.data, farm.folder), "table.no_names", "first row")


@pytest.mark.surprise("Check told a problem of the yield points twice.")
def test_a_problem_is_reported_once(farm, table):
    with pd.ExcelWriter(farm.folder / "points.xlsx") as coefficients:
        table.head().to_excel(coefficients, sheet_name="A", index=False)
        table.head().to_excel(coefficients, sheet_name="B", index=False)
    farm.layers["yield_points"]["path"] = "points.xlsx"
    _, out, _ = ask("check", write_plan(farm.data, farm.folder))
    assert out.count("layer.choose") == 1


def test_a_layer_misspelt_gets_the_nearest_name(farm):
    farm.layers["fields"]["path"] = "feilds.gpkg"
    told(farm, write_plan(farm.data, farm.folder), "file.missing", "Did you mean 'fields.gpkg'?")


def test_a_folder_for_a_layer(farm):
    farm.layers["fields"]["path"] = "."
    told(farm, write_plan(farm.data, farm.folder), "file.not_regular", "a folder")
