"""Minutes of the crew."""

from __future__ import annotations

from pathlib import Path

import pytest
from work.hand_markings import table

from layoutgen.config import Raw, validate
from layoutgen.errors import ConfigError
from layoutgen.work.time import CrewParams, clock_seconds, clock_text, job_minutes, minutes


def test_line_takes_its_extent_and_figure_its_area() -> None:
    crew = CrewParams(
        line="5 mph", spray_sqft_per_minute=10.0, pull_forward="1 min", inspection="2 min"
    )
    rows = [
        # broken line: a mile of road, a quarter painted; 60 min/h / 5 mph = 12 min
        {"is_line": True, "from_ft": 0.0, "to_ft": 5280.0, "length_ft": 1320.0},
        {"is_line": False, "area_sqft": 35.0},
        {"is_line": False, "area_sqft": 35.0, "action": "keep"},
    ]
    assert minutes(table(rows), crew).tolist() == pytest.approx([12.0 + 2.0, 3.5 + 3.0, 0.0])


def test_minutes_keep_the_index() -> None:
    rows = table([{"marking_id": "a"}, {"marking_id": "b", "area_sqft": 90.0}]).iloc[::-1]
    out = minutes(rows, CrewParams())
    assert out.index.tolist() == [1, 0]
    assert out.loc[1] > out.loc[0]


def test_default_day_of_line_painting_meets_the_equipment_floor() -> None:
    """OP-088: equipment must do 40,000 ft of 4 in line a day; eight hours at our speed do more."""
    crew = CrewParams()
    assert crew.line_mph * 5280.0 / 60.0 * crew.shift_min > 40_000.0


def test_default_crosswalk_is_faster_than_by_hand() -> None:
    """OP-101: 8 bars of 2 x 7.5 ft take volunteers 90-120 min, an upper bound for a crew."""
    crew = CrewParams()
    bars = table([{"area_sqft": 8 * 2 * 7.5}])
    spent = job_minutes(float(minutes(bars, crew).sum()), colors=1, is_line=False, params=crew)
    assert 10.0 < spent < 90.0


def test_default_shift_is_the_printed_day_shift() -> None:
    """OP-093: day shift 07:00-15:30."""
    crew = CrewParams()
    end = clock_seconds(crew.shift_start) + 60.0 * (crew.shift_min + crew.lunch_min)
    assert clock_text(end) == "15:30"


def test_job_minutes() -> None:
    crew = CrewParams(position="3 min", coning="4 min", color_change="6 min")
    assert job_minutes(10.0, colors=1, is_line=False, params=crew) == 17.0
    assert job_minutes(10.0, colors=3, is_line=False, params=crew) == 29.0
    assert job_minutes(10.0, colors=1, is_line=True, params=crew) == 13.0


def test_clock() -> None:
    assert clock_seconds("07:05") == 25_500
    assert clock_text(25_500) == "07:05"
    assert clock_text(25 * 3600 + 60) == "01:01 +1"
    with pytest.raises(ValueError, match="clock time"):
        clock_seconds("7.05")


def test_wrong_clock_in_a_settings_file_is_named() -> None:
    table_ = {"shift_start": "25:00"}
    raw = Raw(table_, ((Path("x.toml"), table_, 'shift_start = "25:00"\n'),))
    with pytest.raises(ConfigError, match=r"x\.toml:1: shift_start"):
        validate(CrewParams, raw)
