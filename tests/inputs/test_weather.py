"""A station's daily file in each of its forms, what is repaired in it, and what is refused with its place and cure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from made_weather import at, made_days, station_file

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import InputError
from stovergeo.inputs.weather import WeatherSource, read_weather
from stovergeo.window import autumns, check_station

HANDBOOK = load_handbook()
GHCN = WeatherSource("ghcn")
METRIC = WeatherSource("ghcn_metric")
NAMES = {"date": "day", "rain_mm": "rain", "tmax_c": "high", "tmin_c": "low"}


def made(first=2001, last=2003):
    return made_days(first, last)


def read(path: Path, source=GHCN, place=None):
    return read_weather(path.name, path.parent, source, place or at())


def edited(path: Path, change) -> Path:
    """Return the file with its table changed."""
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    change(table)
    table.to_csv(path, index=False)
    return path


def codes(place):
    return [p.code for p in place.report]


def same_days(found, days):
    for name in ("rain_mm", "tmax_c", "tmin_c"):
        ours = found.days[name].reindex(pd.DatetimeIndex(days["date"])).to_numpy()
        assert ours == pytest.approx(days[name].to_numpy(), abs=0.051, nan_ok=True)


# the forms


def test_the_by_station_file_in_tenths(tmp_path):
    place = at()
    found = read(station_file(tmp_path, made()), place=place)
    same_days(found, made())
    assert (found.station, found.latitude, found.longitude, found.elevation_m) == ("MADE0000001", 42.0, -93.5, 300.0)
    assert codes(place) == []
    assert found.days["dew_c"].isna().all()


def test_the_processed_file_in_mm_and_degrees(tmp_path):
    same_days(read(station_file(tmp_path, made(), tenths=False), METRIC), made())


def test_the_by_station_file_with_one_row_an_element(tmp_path):
    days = made()
    rows = []
    for element, column in (("TMAX", "tmax_c"), ("PRCP", "rain_mm"), ("TMIN", "tmin_c"), ("WT01", "rain_mm")):
        for day, value in zip(days["date"], days[column], strict=True):
            rows.append(("MADE0000001", f"{day:%Y%m%d}", element, f"{10 * value:.0f}", "", "", "7", "2400"))
    names = ["ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"]
    path = tmp_path / "long.csv"
    pd.DataFrame(rows, columns=names).to_csv(path, index=False)
    place = at()
    found = read(path, place=place)
    same_days(found, days)
    assert codes(place) == []
    assert np.isnan(found.latitude)
    with path.open("a") as file:
        file.write("MADE0000001,20010801,PRCP,5,,,7,2400\n")
    with pytest.raises(InputError, match="PRCP of 20010801 stands in several rows"):
        read(path)


@pytest.mark.parametrize(
    ("units", "rain", "heat"),
    [
        ({"rain_mm": "mm", "tmax_c": "C", "tmin_c": "C"}, lambda v: v, lambda v: v),
        ({"rain_mm": "in", "tmax_c": "F", "tmin_c": "F"}, lambda v: v / 25.4, lambda v: 1.8 * v + 32),
        ({"rain_mm": "cm", "tmax_c": "C", "tmin_c": "F"}, lambda v: v / 10, None),
    ],
)
def test_a_plain_table_with_its_units_declared(tmp_path, units, rain, heat):
    days = made()
    low = heat or (lambda v: 1.8 * v + 32)
    table = pd.DataFrame({"day": days["date"].dt.date, "rain": rain(days["rain_mm"])})
    table["high"], table["low"] = (heat or (lambda v: v))(days["tmax_c"]), low(days["tmin_c"])
    path = tmp_path / "own.csv"
    table.to_csv(path, index=False)
    same_days(read(path, WeatherSource("plain", NAMES, units, observation_hour=24)), days)


@settings(max_examples=examples(12))
@given(
    seed=st.integers(0, 10_000),
    wet=st.floats(0.3, 3.0),
    warmer=st.floats(-4, 12),
    units=st.tuples(st.sampled_from(["mm", "in", "cm"]), st.sampled_from(["C", "F"])),
    separator=st.sampled_from([",", ";", "\t"]),
)
def test_any_weather_is_the_same_in_any_unit_and_form(tmp_path_factory, seed, wet, warmer, units, separator):
    folder = tmp_path_factory.mktemp("made")
    days = made_days(2001, 2002, seed, wet).assign(
        tmax_c=lambda d: (d["tmax_c"] + warmer).round(1), tmin_c=lambda d: (d["tmin_c"] + warmer).round(1)
    )
    same_days(read(station_file(folder, days)), days)
    same_days(read(station_file(folder, days, tenths=False), METRIC), days)
    rain, heat = units
    table = pd.DataFrame({"day": days["date"], "rain": days["rain_mm"] / {"mm": 1, "in": 25.4, "cm": 10}[rain]})
    for column, name in (("tmax_c", "high"), ("tmin_c", "low")):
        table[name] = days[column] if heat == "C" else 1.8 * days[column] + 32
    table.to_csv(folder / "own.csv", index=False, sep=separator)
    declared = {"rain_mm": rain, "tmax_c": heat, "tmin_c": heat}
    same_days(read(folder / "own.csv", WeatherSource("plain", NAMES, declared, observation_hour=24)), days)


def test_humidity_and_snow_are_read_where_given(tmp_path):
    def more(table):
        table["ADPT"], table["RHAV"], table["SNWD"] = "-15", "80", "50"

    found = read(edited(station_file(tmp_path, made()), more)).days
    assert found[["dew_c", "humidity_pct", "snow_depth_mm"]].dropna().drop_duplicates().to_numpy().tolist() == [
        [-1.5, 80, 50]
    ]


# the wrong file


@pytest.mark.parametrize(
    ("write", "source", "code", "said"),
    [
        (lambda f: station_file(f, made()), METRIC, "weather.unit_wrong", "tenths of a mm"),
        (lambda f: station_file(f, made(), tenths=False), GHCN, "weather.unit_wrong", "mm already"),
        (lambda f: station_file(f, made().drop(columns="rain_mm").assign(rain_mm=0.0)), METRIC, "weather.unit_wrong",
         "tenths of a degree"),
        (lambda f: edited(station_file(f, made()), lambda t: t.pop("PRCP")), GHCN,
         "weather.columns", "no PRCP"),
        (lambda f: edited(station_file(f, made()), lambda t: t.__setitem__("STATION", t["DATE"].str[:4])),
         GHCN, "weather.stations", "3 stations"),
        (lambda f: edited(station_file(f, made()), lambda t: t.__setitem__("DATE", "31/10/2001")), GHCN,
         "weather.dates", "cannot be read, such as '31/10/2001'"),
        (lambda f: edited(station_file(f, made()), lambda t: t.__setitem__("DATE", "2001-10-31")), GHCN,
         "weather.dates", "two different rows, such as 2001-10-31"),
        (lambda f: edited(station_file(f, made()), lambda t: t.__setitem__("TMIN", "400")), GHCN, "weather.absurd_many",
         "values are impossible"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_refused_with_place_cause_and_cure(tmp_path, write, source, code, said):
    place = at()
    with pytest.raises(InputError, match=said):
        read(write(tmp_path), source, place)
    last = place.report.refused[-1]
    assert last.code == code
    assert last.where.startswith("weather")
    assert last.why
    assert last.cure


def test_inches_and_degrees_f_in_a_file_taken_for_metric_are_refused(tmp_path):
    days = made().assign(rain_mm=lambda d: d["rain_mm"] / 25.4)
    with pytest.raises(InputError, match="looks like inches"):
        read(station_file(tmp_path, days, tenths=False), METRIC)
    days = made().assign(tmax_c=lambda d: 1.8 * d["tmax_c"] + 32, tmin_c=lambda d: 1.8 * d["tmin_c"] + 32)
    with pytest.raises(InputError, match="looks like degrees F"):
        read(station_file(tmp_path, days, tenths=False), METRIC)


@pytest.mark.parametrize(
    ("columns", "units", "code", "said"),
    [
        (NAMES, {"rain_mm": "mm", "tmax_c": "C"}, "weather.unit", "'low' has no unit"),
        (NAMES, {"rain_mm": "tenths", "tmax_c": "C", "tmin_c": "C"}, "weather.unit", "the unit 'tenths'; known are mm"),
        ({**NAMES, "wind": "w"}, {}, "weather.columns", "'wind' is nothing"),
        ({"date": "day"}, {}, "weather.columns", "rain, tmax, tmin"),
        ({**NAMES, "rain_mm": "rains"}, {}, "column.missing", "Did you mean 'rain'"),
    ],
)
def test_a_plain_table_is_refused_where_something_is_not_declared(tmp_path, columns, units, code, said):
    path = tmp_path / "own.csv"
    made().set_axis(["day", "rain", "high", "low"], axis=1).to_csv(path, index=False)
    place = at()
    with pytest.raises(InputError, match=said):
        read(path, WeatherSource("plain", columns, units), place)
    assert place.report.refused[-1].code == code


def test_a_map_layer_is_no_weather(tmp_path):
    path = tmp_path / "layer.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}')
    place = at()
    with pytest.raises(InputError, match="no table"):
        read(path, place=place)
    assert place.report.refused[-1].code == "weather.columns"


# what is repaired


def test_a_value_that_failed_a_quality_check_is_not_known(tmp_path):
    def fail(table):
        table.loc[10, "PRCP_ATTRIBUTES"] = ",X,7,2400"
        table.loc[10, "PRCP"] = "3000"

    place = at()
    found = read(edited(station_file(tmp_path, made()), fail), place=place).days
    assert np.isnan(found["rain_mm"].iloc[10])
    assert codes(place) == ["weather.flagged"]


def test_missing_is_unknown_and_trace_is_zero(tmp_path):
    def lose(table):
        table.loc[5, "PRCP"], table.loc[6, "PRCP"] = "9999", ""
        table.loc[7, "PRCP"], table.loc[7, "PRCP_ATTRIBUTES"] = "0", "T,,7,2400"

    found = read(edited(station_file(tmp_path, made()), lose)).days["rain_mm"]
    assert found.iloc[5:8].isna().tolist() == [True, True, False]
    assert found.iloc[7] == 0


def test_an_impossible_value_is_not_known(tmp_path):
    def spoil(table):
        table.loc[3, "TMAX"], table.loc[4, "PRCP"] = "-500", "-40"

    place = at()
    found = read(edited(station_file(tmp_path, made()), spoil), place=place).days
    assert np.isnan(found["rain_mm"].iloc[4])
    assert codes(place) == ["weather.absurd", "weather.absurd", "weather.gaps", "weather.gaps"]


def test_morning_readings_go_to_the_day_before(tmp_path):
    days = made()
    read_at_7 = days.assign(rain_mm=days["rain_mm"].shift(1), tmax_c=days["tmax_c"].shift(1))
    place = at()
    found = read(station_file(tmp_path, read_at_7.iloc[1:], hour="0700"), place=place)
    assert found.shifted_days == len(days) - 1
    one = days[days["date"].dt.year == 2002].iloc[:-1]
    same_days(found, one)
    assert "weather.shifted" in codes(place)


def test_an_hour_that_is_not_given_is_asked_for(tmp_path):
    path = station_file(tmp_path, made(), hour="")
    place = at()
    read(path, place=place)
    assert codes(place) == ["weather.hour"]
    told = at()
    shifted = read(path, WeatherSource("ghcn", observation_hour=7), told)
    assert "weather.shifted" in codes(told)
    assert "weather.hour" not in codes(told)
    assert shifted.shifted_days > 400


def test_rain_read_after_several_days_is_spread_over_them(tmp_path):
    def several(table):
        table["MDPR"], table["DAPR"] = "", ""
        table.loc[20:22, "PRCP"] = ""
        table.loc[22, ["MDPR", "DAPR"]] = ["300", "3"]

    place = at()
    found = read(edited(station_file(tmp_path, made()), several), place=place).days["rain_mm"]
    assert found.iloc[20:23].tolist() == [10, 10, 10]
    assert codes(place) == ["weather.several_days"]


def test_short_gaps_of_temperature_are_filled_and_long_ones_are_not(tmp_path):
    def lose(table):
        table.loc[10:12, "TMIN"] = ""
        table.loc[40:43, "TMAX"] = ""

    place = at()
    days = made()
    found = read(edited(station_file(tmp_path, days), lose), place=place).days
    ends = days["tmin_c"].iloc[[9, 13]].to_numpy()
    assert found["tmin_c"].iloc[10:13].to_numpy() == pytest.approx(
        ends[0] + (ends[1] - ends[0]) * np.array([1, 2, 3]) / 4, abs=0.06
    )
    assert found["tmax_c"].iloc[40:44].isna().all()
    assert codes(place) == ["weather.gaps"]


def test_rows_of_a_day_that_say_the_same_are_one(tmp_path):
    days = made()
    same_days(read(station_file(tmp_path, pd.concat([days, days.iloc[:3]]))), days)


# whole autumns


def autumns_of(tmp_path, made, place=None, **given):
    few = load_handbook({"window.years.least": 3})
    return autumns(read(station_file(tmp_path, made)), few, place or at(), **given)


def test_autumns_are_whole_and_in_order(tmp_path):
    days = made_days(2001, 2004)
    found = autumns_of(tmp_path, days)
    assert (found.years, found.days, found.left_out) == ((2001, 2002, 2003, 2004), 106, ())
    first = days[days["date"] == "2003-09-01"].iloc[0]
    assert found.rain_mm[2, 0] == pytest.approx(first["rain_mm"])
    assert found.day_of(12, 15) == 105
    assert found.weekdays()[0, 0] == 5  # 1 September 2001 was a Saturday


def test_a_year_that_is_missing_is_left_out_and_named(tmp_path):
    days = made_days(2001, 2005)
    place = at()
    found = autumns_of(tmp_path, days[days["date"].dt.year != 2003], place)
    assert found.years == (2001, 2002, 2004, 2005)
    assert found.left_out == (2003,)
    said = next(p for p in place.report if p.code == "weather.left_out")
    assert "2003" in said.what


def test_a_year_whose_rain_is_not_known_is_never_a_dry_one(tmp_path):
    days = made_days(2001, 2005)
    hidden = (days["date"] >= "2002-10-01") & (days["date"] <= "2002-10-07")  # 7 of 106 days: more than 5 %
    some = (days["date"] >= "2004-10-01") & (days["date"] <= "2004-10-05")
    days.loc[hidden | some, "rain_mm"] = np.nan
    place = at()
    found = autumns_of(tmp_path, days, place)
    assert found.left_out == (2002,)
    wet = found.rain_mm[found.years.index(2004), 30:35]
    assert (wet > 1).all()
    assert len(set(wet)) == 1
    assert "weather.rain_unknown" in codes(place)


def test_unknown_rain_where_it_never_rained_leaves_the_year_out(tmp_path):
    days = made_days(2001, 2004).assign(rain_mm=0.0)
    days.loc[days["date"] == "2002-10-01", "rain_mm"] = np.nan
    assert autumns_of(tmp_path, days).left_out == (2002,)


def test_autumns_of_rain_only_are_read_as_they_are(tmp_path):
    days = made_days(2001, 2003)
    found = autumns_of(tmp_path, days.assign(rain_mm=12.0))
    assert (found.rain_mm == 12).all()


def test_too_few_autumns_are_refused(tmp_path):
    place = at()
    with pytest.raises(InputError, match="14 autumns are complete; at least 15"):
        autumns(read(station_file(tmp_path, made_days(2001, 2014))), HANDBOOK, place)
    assert place.report.refused[-1].code == "weather.too_few"


def test_autumns_south_of_the_equator_begin_in_march(tmp_path):
    days = made_days(2001, 2004)
    south = days.assign(date=days["date"] - pd.Timedelta(days=184))
    found = autumns_of(tmp_path, south, start=(3, 1), days=100)
    assert found.days == 100
    assert found.start == (3, 1)
    assert len(found.years) == 4


def test_a_station_far_off_or_much_higher_is_told(tmp_path):
    weather = read(station_file(tmp_path, made()))
    place = at()
    check_station(weather, 42.0, -93.5, 310.0, HANDBOOK, place)
    check_station(weather, float("nan"), float("nan"), float("nan"), HANDBOOK, place)
    assert codes(place) == []
    check_station(weather, 42.5, -93.5, 450.0, HANDBOOK, place)
    assert codes(place) == ["weather.far", "weather.far"]
    assert "34.5 mi" in place.report.problems[0].what_in("us")
