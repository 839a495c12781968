"""ISO 11783-10 task data as yield points: the published layout byte by byte, made fields, and damaged files."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from as_user import ask, write_plan
from hypothesis import given as any_of
from hypothesis import settings
from hypothesis import strategies as st
from long_run import examples
from made_tasks import MadeData, MadeLog, MadeTask, log_of, packed, record
from odc.geo.geobox import GeoBox

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.stack import new_stack
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import PointsLayer
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.taskdata import read_task_points
from stovergeo.yieldmap import clean_points, grain_surface

DAY = 17094  # 2026-10-20: 46 years of 365 days, 11 leap days, and 293 days of the year
THREE = 54_000_000  # 15:00:00.000
NINE = "ABCDEFGHI"


def vector() -> MadeLog:
    """Three records with all fields of a position; each later one sends the yield alone."""
    places = [(420_123_456, -935_000_000 + 100 * i, 300_000, 1, 12, 9, 14, THREE, DAY) for i in range(3)]
    sent = [{0: 1_100_000, 1: 182_000, 2: 6096, 3: 1}, {0: 1_110_000}, {0: 1_120_000}]
    records = [record(THREE + 1000 * i, DAY, places[i], sent[i], NINE) for i in range(3)]
    values = [("0054", "DET-2"), ("0063", "DET-2"), ("0043", "DET-2"), ("008D", "DET-2")]
    return MadeLog("TLG00001", records, values, NINE)


def read(folder, path="TASKDATA", **layer):
    """Return the rows of task data with all that was told."""
    report = Report()
    plan = plan_from({"farm": {"name": "Made", "season": 2026}, "layers": {}}, folder, report)
    points = PointsLayer.model_validate({"path": path, **layer})
    try:
        (told,) = read_task_points(points, plan, Place("yield_points", report))
    except InputError:
        return None, report
    return told, report


def test_the_vector_of_123_bytes(tmp_path) -> None:
    log = vector()
    data = b"".join(log.records)
    assert (len(data), data[:8].hex(" ")) == (123, "80 f9 37 03 c6 42 40 93")
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    rows = told.frame
    assert list(report) == []
    assert rows["latitude"].to_list() == [42.0123456] * 3
    assert rows["longitude"].to_list() == pytest.approx([-93.5, -93.49999, -93.49998], abs=1e-9)
    assert rows["yield"].to_list() == pytest.approx([11.0, 11.1, 11.2])  # 1,100,000 mg/m2 are 11.0 t/ha wet
    assert rows["moisture"].to_list() == pytest.approx([18.2] * 3)  # sent once, kept
    assert rows["swath"].to_list() == pytest.approx([6.096] * 3)
    assert rows["header"].to_list() == ["down"] * 3
    assert rows["height"].to_list() == [300.0] * 3
    assert rows["machine"].unique().tolist() == ["Big red"]
    at = [datetime.fromtimestamp(t, UTC) for t in rows["time"]]
    assert at[0] == datetime(2026, 10, 20, 15, 0, 0, tzinfo=UTC)
    assert (at[2] - at[0]).total_seconds() == 2
    assert told.layer.units.grain_yield == "t/ha wet"
    assert told.sources["yield"] == "0054 DET-2"


def test_a_log_cut_off_within_a_record_gives_those_before(tmp_path) -> None:
    log = vector()
    log.records[-1] = log.records[-1][:-3]
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    assert len(told.frame) == 2
    assert [p.code for p in report] == ["task.cut"]
    assert "TLG00001" in next(iter(report)).what_in("us")


@pytest.mark.parametrize("case", [str.upper, str.lower, str.title])
@pytest.mark.parametrize("version", ["3", "4"])
@pytest.mark.parametrize("path", ["TASKDATA", ".", "TASKDATA/taskdata.xml", "tasks.zip"])
def test_folder_file_and_archive_in_any_letter_case(tmp_path, case, version, path) -> None:
    folder = MadeData([MadeTask([vector()])], version=version).write(tmp_path / "TASKDATA", case)
    packed(folder, tmp_path / "tasks.zip")
    told, report = read(tmp_path, path.replace("taskdata.xml", case("taskdata.xml")))
    assert len(told.frame) == 3
    assert list(report) == []


@pytest.mark.parametrize("position", ["AB", "ABCD", "ABDEF", "ABG", "ABEFG", "ABCDEFG", NINE])
@settings(max_examples=examples(20))
@any_of(numbers=st.lists(st.tuples(st.integers(0, 2_000_000), st.integers(0, 300_000)), min_size=1, max_size=30))
def test_any_fields_of_a_position_and_any_values_come_back(tmp_path_factory, position, numbers) -> None:
    """A reader that forgets one byte of a position loses its step."""
    other = {"C": 1, "D": 4, "E": 7, "F": 8, "G": 250, "H": 3, "I": 5}
    records = []
    for i, (grain, water) in enumerate(numbers):
        place = [421_000_000 + i, -931_000_000 - i, *(other[letter] for letter in position[2:])]
        records.append(record(THREE + i, DAY, place, {0: grain, 1: water}, position))
    log = MadeLog("TLG00001", records, [("0057", "DET-1"), ("0063", "DET-1")], position)
    folder = tmp_path_factory.mktemp("made")
    MadeData([MadeTask([log])]).write(folder / "TASKDATA")
    told, _ = read(folder)
    assert told.frame["flow"].to_list() == pytest.approx([g * 1e-6 for g, _ in numbers])
    dry = told.frame["moisture"].to_numpy()
    assert np.nan_to_num(dry) == pytest.approx([w * 1e-4 for _, w in numbers])
    assert told.frame["latitude"].to_list() == pytest.approx([42.1 + i * 1e-7 for i in range(len(numbers))], abs=1e-9)


def test_several_tasks_machines_and_logs(tmp_path) -> None:
    start = pd.DataFrame({"Longitude": [-93.0, -92.9999], "Latitude": 42.0, "Time": [1.79e9, 1.79e9 + 1], "Flow": 5.0})
    columns = {"Flow": ("0057", "DET-2", 1e6)}
    other = {"Flow": ("0057", "DET-9", 1e6)}
    spray = {"Flow": ("0051", "DET-1", 1e6)}
    machines = [
        ("DVC-1", "Combine", "111", ["DET-1", "DET-2"], {"0043": 9144, "0046": 12_000}),
        ("DVC-2", "Combine", "222", ["DET-9"], {"0046": 6096}),
    ]
    tasks = [
        MadeTask([log_of(start, columns, "TLG00001"), log_of(start, other, "TLG00002")], "Harvest", "PFD-1"),
        MadeTask([log_of(start, columns, "TLG00003")], "Harvest", "PFD-1"),
        MadeTask([log_of(start, columns, "TLG00004")], "", "PFD-2"),
        MadeTask([log_of(start, spray, "TLG00005")], "Spray", "PFD-2"),
    ]
    fields = {"PFD-1": ("Home <40>", "Corn"), "PFD-2": ("Creek & hill", "Corn")}
    MadeData(tasks, machines, fields).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    assert {p.code for p in report} == {"task.other", "task.width"}
    found = told.frame.groupby("load")[["machine", "swath"]].agg(lambda c: sorted(set(c)))
    assert found["machine"].to_dict() == {
        "Home <40>, Harvest TSK-1": ["Combine 111", "Combine 222"],
        "Home <40>, Harvest TSK-2": ["Combine 111"],
        "Creek & hill, TSK-3": ["Combine 111"],
    }
    assert found.loc["Home <40>, Harvest TSK-1", "swath"] == [6.096, 9.144]
    assert set(told.frame["crop"]) == {"Corn"}


def test_the_element_with_the_grain_counts(tmp_path) -> None:
    log = MadeLog("TLG00001", [], [("0057", "DET-1"), ("0057", "DET-2"), ("0043", "DET-1"), ("0043", "DET-2")])
    log.records = [record(THREE + i, DAY, (420_000_000, -930_000_000), {0: 9, 1: 5_000_000, 2: 3000, 3: 9144}) for i in
                   range(5)]  # fmt: skip
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    assert told.frame["flow"].to_list() == [5.0] * 5
    assert set(told.frame["swath"]) == {9.144}
    assert "task.several" in {p.code for p in report}


@pytest.mark.parametrize(
    ("values", "sent", "properties", "dry_t_ha"),
    [
        ([("00B5", "DET-1")], {0: 900_000}, {"00B8": 0}, 9.0),
        ([("00B5", "DET-1")], {0: 1_000_000}, {"00B8": 155_000}, 8.45),
        ([("00B5", "DET-1"), ("00B8", "DET-1")], {0: 1_000_000, 1: 140_000}, {}, 8.6),
        ([("00B5", "DET-1")], {0: 900_000}, {}, None),  # its reference moisture is never assumed
    ],
)
def test_dry_mass_counts_with_its_reference_moisture(tmp_path, values, sent, properties, dry_t_ha) -> None:
    log = MadeLog("TLG00001", [record(THREE, DAY, (420_000_000, -930_000_000), sent)], values)
    MadeData([MadeTask([log])], [("DVC-1", "C", "1", ["DET-1"], properties)]).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    if dry_t_ha is None:
        assert [p.code for p in report] == ["task.no_yield"]
    else:
        assert told.layer.units.grain_yield == "t/ha dry"
        assert told.frame["yield"].to_list() == pytest.approx([dry_t_ha])


@pytest.mark.parametrize(
    ("packed_state", "header"), [(0b01, "down"), (0b0100, "down"), (0b00, "up"), (0xFFFFFFFF - 2**32, "")]
)
def test_states_of_sections_say_whether_the_machine_works(tmp_path, packed_state, header) -> None:
    log = MadeLog("TLG00001", [], [("0057", "DET-1"), ("00A1", "DET-1")])
    log.records = [record(THREE, DAY, (420_000_000, -930_000_000), {0: 1, 1: packed_state})]
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, _ = read(tmp_path)
    assert told.frame["header"].to_list() == [header]


@pytest.mark.parametrize(
    ("place", "status"), [((2**31 - 1, 2**31 - 1), 1), ((420_000_000, -930_000_000), 0), ((-(2**31), -(2**31)), 2)]
)
def test_no_position_is_none(tmp_path, place, status) -> None:
    log = MadeLog("TLG00001", [record(THREE, DAY, (*place, 0, status), {0: 1}, "ABCD")], [("0057", "DET-1")], "ABCD")
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, _ = read(tmp_path)
    assert told.frame["latitude"].isna().all()


CORN = {"PFD-1": ("Home", "Corn"), "PFD-2": ("Hill", "")}


def test_a_task_without_a_crop_is_taken_for_corn_and_told(tmp_path) -> None:
    one, two = vector(), vector()
    two.name = "TLG00002"
    MadeData([MadeTask([one], "a", "PFD-1"), MadeTask([two], "b", "PFD-2")], fields=CORN).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    assert {c.casefold() for c in told.frame["crop"]} == {"corn"}
    assert [p.code for p in report] == ["task.crop"]


# ------------------------------------------------------------------------------- the same field by two ways
#: column of the table -> identifier, element, raw counts in one of its unit
COMBINE = {
    "Flow": ("0057", "DET-2", 453_592.37),  # lb/s in mg/s
    "Moisture": ("0063", "DET-2", 1e4),
    "Swath": ("0043", "DET-1", 25.4),
    "Speed": ("018D", "DET-1", 1000),
    "State": ("008D", "DET-1", 1),
}


def as_logged(table: pd.DataFrame) -> pd.DataFrame:
    """Return the made field as a terminal can log it: counts are whole numbers, positions 1e-7 degrees."""
    table = table.assign(Speed=10.8 / 6, State=1, Time=1.7925e9 + 6 * np.arange(len(table)))
    for column, (_, _, per) in COMBINE.items():
        table[column] = np.round(table[column] * per) / per
    return table.assign(Longitude=table["Longitude"].round(7), Latitude=table["Latitude"].round(7))


def as_table(farm) -> None:
    columns = farm.layers["yield_points"]["columns"]
    del columns["distance"], farm.layers["yield_points"]["units"]["distance"]
    columns |= {"speed": "Speed", "time": "Time", "header": "State"}
    del columns["seconds"], farm.layers["yield_points"]["units"]["seconds"]
    farm.layers["yield_points"]["units"] |= {"speed": "m/s", "time": "unix s"}
    farm.layers["yield_points"]["header_down"] = "1"


def grain_map(points, fields):
    grid = new_stack(GeoBox.from_bbox(fields.total_bounds, crs=fields.crs, resolution=10))
    handbook = load_handbook()
    return grain_surface(clean_points(points, handbook, Report()).points, fields, grid, handbook).grain


def test_a_field_has_one_grain_map_through_a_table_and_through_task_data(farm, table) -> None:
    table = as_logged(table)
    farm.write_points(table)
    as_table(farm)
    by_table = farm.read()
    MadeData([MadeTask([log_of(table, COMBINE)], "Harvest")]).write(farm.folder / "TASKDATA")
    farm.layers["yield_points"] = {"path": "TASKDATA"}
    by_tasks = farm.read()
    assert farm.report.refused == []
    assert len(by_tasks.points) == len(by_table.points) > 3000
    for column in ("flow_kg_s", "distance_m", "swath_m", "moisture_pct", "seconds", "time_s", "grain_mg_ha", "area_m2"):
        one, other = by_table.points[column].to_numpy(), by_tasks.points[column].to_numpy()
        assert one == pytest.approx(other, rel=1e-9, nan_ok=True), column
    assert by_tasks.points["header_down"].all()
    one, other = (grain_map(farm_read.points, by_table.fields) for farm_read in (by_table, by_tasks))
    assert int(one.notnull().sum()) > 1000
    assert np.nanmax(np.abs(one - other)) < 1e-9


def test_check_says_what_the_columns_of_task_data_are(farm, table) -> None:
    MadeData([MadeTask([log_of(as_logged(table), COMBINE)], "Harvest")]).write(farm.folder / "TASKDATA")
    farm.layers["yield_points"] = {"path": "TASKDATA"}
    code, out, _ = ask("check", write_plan(farm.data, farm.folder))
    assert code == 0
    assert "0057 DET-2" in out
    assert "put this into the plan file" not in out


def test_an_earlier_harvest_may_be_task_data_beside_a_table(farm, table) -> None:
    earlier = as_logged(table)
    earlier["Time"] -= 366 * 86_400
    MadeData([MadeTask([log_of(earlier, COMBINE)], "Harvest")]).write(farm.folder / "y2024" / "TASKDATA")
    farm.layers["earlier_points"] = [{"year": 2024, "path": "y2024"}]
    read_farm = farm.read()
    assert farm.report.refused == []
    assert len(read_farm.earlier[2024]) == len(table)


# ------------------------------------------------------------------------------- damaged and hostile files
def lose_step(log: MadeLog) -> None:
    log.records[0] = log.records[0][:-1]  # everything after stands one byte off


def wrong_index(log: MadeLog) -> None:
    log.records[0] = log.records[0][:-5] + bytes([77]) + log.records[0][-4:]


def far_date(log: MadeLog) -> None:
    log.records[1] = record(THREE, DAY + 4000, (420_123_456, -935_000_000, *[0] * 7), {0: 1}, NINE)


def text_for_records(log: MadeLog) -> None:
    log.records = [b"this is no time log, but somebody's letter"]


SPOILT = {
    "a byte is missing": lose_step,
    "index beyond the header": wrong_index,
    "the date jumps": far_date,
    "text in place of records": text_for_records,
    "no record": lambda log: log.records.clear(),
    "unknown field of a position": lambda log: setattr(log, "extra", 'J=""'),
    "no position": lambda log: setattr(log, "position", "CD"),
    "identifier that is none": lambda log: log.values.append(("00ZZ", "DET-1")),
    "constant that is no number": lambda log: setattr(log, "extra", 'X="y"'),
    "hundreds of values": lambda log: log.values.extend([("0063", "DET-1")] * 300),
}


@pytest.mark.parametrize("how", SPOILT)
def test_a_damaged_log_is_refused_with_its_name(tmp_path, how) -> None:
    log = vector()
    SPOILT[how](log)
    MadeData([MadeTask([log])]).write(tmp_path / "TASKDATA")
    told, report = read(tmp_path)
    assert told is None
    (problem,) = report.refused
    assert problem.code == "task.log"
    assert "TLG00001" in problem.what_in("us") + problem.where
    assert problem.cure


ENTITY = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><ISO11783_TaskData>&b;'
BILLION = '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;">]><ISO11783_TaskData>&c;</ISO11783_TaskData>'


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (ENTITY + "</ISO11783_TaskData>", "xml.entities"),
        (BILLION, "xml.entities"),
        ("<ISO11783_TaskData><TSK", "file.unreadable"),
        ("<tasks/>", "file.signature"),
        ("<ISO11783_TaskData/>", "task.no_yield"),
        ('<ISO11783_TaskData><TSK A="1"><TLG A="TLG00009"/></TSK></ISO11783_TaskData>', "task.files"),
        ('<ISO11783_TaskData><TSK A="1"><TLG A="../secret"/></TSK></ISO11783_TaskData>', "task.files"),
        ('<ISO11783_TaskData><XFR A="TSK00001"/></ISO11783_TaskData>', "task.files"),
        ("<a>" * 50_000 + "</a>" * 50_000, "file.signature"),
        ("<ISO11783_TaskData>" + " " * (33 * 2**20) + "</ISO11783_TaskData>", "file.too_big"),
    ],
    ids=lambda v: v[:40],
)
@pytest.mark.parametrize("archive", [False, True])
def test_hostile_task_data_are_refused(tmp_path, text, code, archive) -> None:
    folder = tmp_path / "TASKDATA"
    folder.mkdir()
    (folder / "TASKDATA.XML").write_text(text)
    if archive:
        packed(folder, tmp_path / "tasks.zip")
    told, report = read(tmp_path, "tasks.zip" if archive else "TASKDATA")
    assert told is None
    assert [p.code for p in report.refused] == [code]


def test_tasks_in_files_of_their_own_are_read(tmp_path) -> None:
    data = MadeData([MadeTask([vector()])])
    folder = data.write(tmp_path / "TASKDATA")
    start = data.xml.index("<TSK")
    task = data.xml[start:].replace("</ISO11783_TaskData>", "")
    (folder / "TASKDATA.XML").write_text(data.xml.replace(task, '<XFR A="TSK00001" B="1"/>'))
    (folder / "TSK00001.XML").write_text(f"<XFC>{task}</XFC>")
    told, _ = read(tmp_path)
    assert len(told.frame) == 3


def test_a_log_that_grows_beyond_its_limit_is_refused(tmp_path) -> None:
    folder = MadeData([MadeTask([vector()])]).write(tmp_path / "TASKDATA")
    (folder / "TLG00001.BIN").write_bytes(bytes(65 * 2**20))
    packed(folder, tmp_path / "tasks.zip")  # a few kilobytes
    for path in ("TASKDATA", "tasks.zip"):
        _, report = read(tmp_path, path)
        assert [p.code for p in report.refused] == ["file.too_big"]


@settings(max_examples=examples(100))
@any_of(st.data())
def test_any_bytes_of_a_log_are_read_or_refused(tmp_path_factory, data) -> None:
    log = vector()
    whole = bytearray(b"".join(log.records))
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    log.records = [bytes(whole[: data.draw(st.integers(0, len(whole)))])]
    folder = tmp_path_factory.mktemp("spoilt")
    MadeData([MadeTask([log])]).write(folder / "TASKDATA")
    told, report = read(folder)
    assert (told is None) == bool(report.refused)
    shutil.rmtree(folder)
