"""The weather of a plan: closed hours, the coldest open one, and tours that wait for them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from tours.test_tour import DESIGN, YARD, jobs_of, settings_of

from layoutgen.tours.days import work_days
from layoutgen.tours.tour import TourParams, plan
from layoutgen.work.gate import weather_of
from layoutgen.work.materials import shipped_materials
from layoutgen.work.time import CrewParams
from layoutgen.work.weather import WeatherParams

MATERIALS = shipped_materials()


def hours_file(folder: Path, cold_to: dict[str, int], first: str = "2030-05-06") -> Path:
    """Hours of a week at 70 F, but 35 F before an hour of some days."""
    lines = ["time,air_f,humidity_percent"]
    for time in pd.date_range(first, periods=7 * 24, freq="h"):
        cold = time.hour < cold_to.get(str(time.date()), 0)
        lines.append(f"{time:%Y-%m-%d %H:%M},{35 if cold else 60 if time.hour < 10 else 70},40")
    path = folder / "hours.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_without_a_file_the_planned_hour_counts() -> None:
    hours, air_f, findings = weather_of(WeatherParams(), MATERIALS, ["waterborne"], CrewParams())
    assert (hours, air_f, findings) == (None, 77.0, [])
    cold = WeatherParams(air_f=30.0)
    _, air_f, findings = weather_of(cold, MATERIALS, ["waterborne"], CrewParams())
    assert air_f == 30.0
    assert [f.code for f in findings] == ["weather_closed"]


def test_drying_is_planned_at_the_coldest_open_hour_of_the_shift(tmp_path: Path) -> None:
    params = WeatherParams(file=str(hours_file(tmp_path, {"2030-05-06": 9})))
    hours, air_f, findings = weather_of(params, MATERIALS, ["waterborne"], CrewParams())
    assert [f.code for f in findings] == ["weather_ends"]
    assert air_f == 60.0
    assert hours is not None
    assert not hours.loc[hours["time"] == "2030-05-06 08:00", "open"].item()
    assert hours.loc[hours["time"] == "2030-05-06 09:00", "open"].item()


def test_tours_begin_when_the_day_opens_and_skip_closed_days(tmp_path: Path) -> None:
    """Monday is open from 11, Tuesday never: short tours wait, the others go to Wednesday."""
    file = hours_file(tmp_path, {"2030-05-06": 11, "2030-05-07": 24})
    params = WeatherParams(file=str(file))
    hours, _, _ = weather_of(params, MATERIALS, ["waterborne"], CrewParams())
    base = settings_of(tour={"start_date": "2030-05-06", "days": 6})
    tables, _ = plan(jobs_of(DESIGN, 30), DESIGN, YARD, replace(base, hours=hours))
    assert "2030-05-07" not in set(tables.tours["date"])
    joined = tables.visits.merge(tables.tours[["tour_id", "date"]], on="tour_id")
    monday = joined[(joined["date"] == "2030-05-06") & (joined["kind"] == "job")]
    assert (monday["start"] >= "11:00").all()
    assert set(tables.tours["date"]) - {"2030-05-06"}


def test_no_open_day_leaves_jobs_with_that_reason(tmp_path: Path) -> None:
    days = {str(d.date()): 24 for d in pd.date_range("2030-05-06", periods=7)}
    params = WeatherParams(file=str(hours_file(tmp_path, days)))
    hours, _, findings = weather_of(params, MATERIALS, ["waterborne"], CrewParams())
    assert [f.code for f in findings] == ["weather_closed", "weather_ends"]
    base = settings_of(tour={"start_date": "2030-05-06", "days": 3})
    tables, _ = plan(jobs_of(DESIGN, 8), DESIGN, YARD, replace(base, hours=hours))
    assert len(tables.unserved) == 8
    assert tables.unserved["reason"].str.contains("weather").all()


def test_hours_beyond_the_file_are_open(tmp_path: Path) -> None:
    params = WeatherParams(file=str(hours_file(tmp_path, {})))
    hours, _, _ = weather_of(params, MATERIALS, ["waterborne"], CrewParams())
    days = work_days(TourParams(start_date="2030-05-06", days=10), hours)
    assert [len(day.spans) for day in days] == [1] * 10
    assert days[9].date == "2030-05-17"
    with pytest.raises(ValueError):
        TourParams(start_date="06.05.2030")
