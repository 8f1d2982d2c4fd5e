"""Weather gate: reading hours, dew point, open and closed hours."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from layoutgen.errors import InputError
from layoutgen.work.materials import MaterialParams, shipped_materials
from layoutgen.work.weather import (
    HOUR_COLUMNS,
    WeatherParams,
    closed_reason,
    dew_point_f,
    open_hours,
    planning_hour,
    read_hours,
)


def hours(*rows: dict[str, float]) -> pd.DataFrame:
    """Hours from 07:00, pleasant but for what a row says."""
    out = pd.concat([planning_hour(WeatherParams()).assign(**row) for row in rows])
    begin = pd.date_range("2026-06-03 07:00", periods=len(rows), freq="h")
    return out.reset_index(drop=True).assign(time=begin)


def write(folder: Path, text: str) -> Path:
    path = folder / "hours.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_dew_point_of_a_weather_library() -> None:
    """Worked examples in the reference of MetPy: 10 C, 50 % -> 0.048 C; 25 C, 44.25 % -> 12 C."""
    celsius = (dew_point_f([50.0, 77.0], [50.0, 44.2484765]) - 32.0) / 1.8
    assert celsius.tolist() == pytest.approx([0.0479, 12.0], abs=0.05)


def test_dew_point_of_saturated_air_is_its_temperature() -> None:
    assert dew_point_f([20.0, 60.0, 95.0], 100.0).tolist() == pytest.approx([20.0, 60.0, 95.0])


def test_planning_hour_is_open_for_every_shipped_material() -> None:
    for material in shipped_materials().values():
        assert open_hours(planning_hour(WeatherParams()), material).tolist() == [True]
    cold = planning_hour(WeatherParams(air_f=39.0))
    assert closed_reason(cold, MaterialParams()).tolist() == ["air 39 F, at least 40"]


@pytest.mark.parametrize(
    "row, words",
    [
        ({"air_f": 39.0}, "air 39 F, at least 40"),  # OP-069
        ({"air_f": 96.0}, "air 96 F, at most 95"),  # OP-069
        ({"pavement_f": 39.0, "dew_point_f": 20.0}, "pavement 39 F, at least 40"),  # OP-069
        ({"pavement_f": 96.0}, "pavement 96 F, at most 95"),  # OP-069
        ({"humidity_percent": 86.0}, "humidity 86 %, at most 85"),
        # OP-068: 5 F above the dew point
        (
            {"dew_point_f": 72.1, "pavement_f": 77.0},
            "pavement 77 F, at least 5 above the dew point 72",
        ),
    ],
)
def test_each_limit_closes_alone(row: dict[str, float], words: str) -> None:
    table = hours({}, row)
    assert closed_reason(table, MaterialParams()).tolist() == ["", words]
    assert open_hours(table, MaterialParams()).tolist() == [True, False]


def test_limits_themselves_are_open() -> None:
    row = {"air_f": 95.0, "pavement_f": 40.0, "dew_point_f": 35.0, "humidity_percent": 85.0}
    assert open_hours(hours(row), MaterialParams()).tolist() == [True]


def test_epoxy_waits_for_fifty() -> None:
    """OP-073: over 50 F, pavement and air."""
    table = hours({"air_f": 49.0, "pavement_f": 49.0, "dew_point_f": 30.0})
    assert open_hours(table, MaterialParams()).tolist() == [True]
    assert open_hours(table, shipped_materials()["epoxy"]).tolist() == [False]


def test_rain_closes_what_cannot_dry_before_it_and_the_wet_time_after() -> None:
    table = hours({}, {}, {}, {}, {"rain_in": 0.1}, {}, {}, {})
    slow = MaterialParams(dry=[[77, "90 min"]])
    params = WeatherParams(pavement_wet="60 min")
    assert open_hours(table, slow, params).tolist() == [
        True,
        True,
        False,  # laid until 10:00, dry 11:30, rain from 11:00
        False,
        False,
        False,  # wet until 13:00
        True,
        True,
    ]
    fast = MaterialParams(dry=[[77, "0 min"]], no_track=[[77, "0 min"]])
    dry_at_once = WeatherParams(pavement_wet="0 min")
    assert (~open_hours(table, fast, dry_at_once)).nonzero()[0].tolist() == [4]
    assert closed_reason(table, slow, params)[5] == "pavement wet from rain"


def test_rain_counts_over_missing_hours() -> None:
    table = hours({}, {}, {"rain_in": 0.1}).drop(index=1)
    slow = MaterialParams(dry=[[77, "61 min"]])
    assert open_hours(table, slow).tolist() == [False, False]
    assert open_hours(table, MaterialParams()).tolist() == [True, False]


def test_a_file_is_read_and_blanks_are_filled(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        "time,air_f,humidity_percent,pavement_f,rain_in\n"
        "2026-06-03 07:00,60,50,55,\n2026-06-03T08:00,62,100,,0.02\n",
    )
    table = read_hours(path)
    assert tuple(table.columns) == HOUR_COLUMNS
    assert table["pavement_f"].tolist() == [55.0, 62.0]
    assert table["pavement_is_air"].tolist() == [False, True]
    assert table["dew_point_f"].tolist() == pytest.approx([41.3, 62.0], abs=0.1)
    assert table["rain_in"].tolist() == [0.0, 0.02]
    assert table["time"].dt.hour.tolist() == [7, 8]


def test_columns_of_a_station_are_named_in_the_settings(tmp_path: Path) -> None:
    path = write(tmp_path, "when,t,rh\n2026-06-03 07:00,60,50\n")
    names = WeatherParams(time_column="when", air_column="t", humidity_column="rh")
    assert read_hours(path, names)["air_f"].tolist() == [60.0]
    with pytest.raises(InputError, match=r"hours\.csv:1: no column 'time'"):
        read_hours(path)


HEAD = "time,air_f,humidity_percent\n2026-06-03 07:00,60,50\n"


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "no column 'time'"),
        ("time,air_f,humidity_percent\n", "no hours in it"),
        ("time,air,humidity_percent\n", "Did you mean 'air'"),
        (HEAD + "2026-06-03 08:00,warm,50\n", r":3: air_f: expected a number, got 'warm'"),
        (HEAD + "2026-06-03 08:00,nan,50\n", ":3: air_f: nan is outside"),
        (HEAD + "2026-06-03 08:00,60,0\n", ":3: humidity_percent: 0 is outside 1 to 100"),
        (HEAD + "2026-06-03 08:00,,50\n", ":3: air_f: blank"),
        (HEAD + "3 June,60,50\n", r":3: time: expected a time such as"),
        (HEAD + "2026-06-03 08:00Z,60,50\n", ":3: time: .* has a zone"),
        (HEAD + "2026-06-03 07:00,60,50\n", ":3: .* does not follow"),
        (HEAD + "2026-06-03 08:00,60\n", ":3: not as many cells"),
        (HEAD + "2026-06-03 08:00,60,50,1\n", ":3: not as many cells"),
    ],
)
def test_faults_of_a_file_name_the_line(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_hours(write(tmp_path, text))


def test_missing_and_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_hours(tmp_path / "none.csv")
    path = tmp_path / "bad.csv"
    path.write_bytes(b"time,air_f,humidity_percent\n\xff\xfe,1,2\n")
    with pytest.raises(InputError, match="cannot be read"):
        read_hours(path)
