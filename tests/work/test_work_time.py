"""Minutes of the crew."""

from __future__ import annotations

from pathlib import Path

import pytest
from work.hand_markings import sections_of

from layoutgen.config import Raw, validate
from layoutgen.errors import ConfigError
from layoutgen.work.time import CrewParams, around_min, clock_seconds, clock_text, section_minutes


def test_line_takes_its_extent_by_pass_and_figure_its_area() -> None:
    crew = CrewParams(
        line="5 mph",
        spray_sqft_per_minute=10.0,
        pull_forward="1 min",
        inspection="2 min",
        tip_cleaning_percent=10.0,
    )
    line = {"is_line": True, "from_ft": 0.0, "to_ft": 5280.0, "length_ft": 1320.0}
    rows = [
        # broken line: a mile of road, a quarter painted; 60 min/h / 5 mph = 12 min
        {**line, "width_ft": 4.0 / 12.0},
        {**line, "width_ft": 1.0},
        {"is_line": False, "area_sqft": 35.0},
    ]
    got = sections_of(rows, crew)["minutes"].tolist()
    assert got == pytest.approx([13.2 + 2.0, 26.4 + 2.0, 3.85 + 3.0])


def test_looking_is_shared_by_the_pieces_of_a_marking() -> None:
    crew = CrewParams(spray_sqft_per_minute=10.0, pull_forward="1 min", inspection="2 min")
    rows = sections_of([{"area_sqft": 0.0}]).assign(pieces=4)
    assert section_minutes(rows, crew, 1.0).tolist() == pytest.approx([1.5])


def test_default_day_of_line_painting_meets_the_equipment_floor() -> None:
    """OP-088: equipment must do 40,000 ft of 4 in line a day; eight hours at our speed do more."""
    crew = CrewParams()
    assert crew.line_mph * 5280.0 / 60.0 * crew.shift_min > 40_000.0


def test_default_crosswalk_is_faster_than_by_hand() -> None:
    """OP-101: 8 bars of 2 x 7.5 ft take volunteers 90-120 min, an upper bound for a crew."""
    crew = CrewParams()
    bars = sections_of([{"area_sqft": 2 * 7.5}] * 8, crew)
    spent = float(bars["minutes"].sum()) + around_min(crew, moving=False)
    assert 10.0 < spent < 90.0


def test_default_shift_is_the_printed_day_shift() -> None:
    """OP-093: day shift 07:00-15:30."""
    crew = CrewParams()
    end = clock_seconds(crew.shift_start) + 60.0 * (crew.shift_min + crew.lunch_min)
    assert clock_text(end) == "15:30"


def test_minutes_around_the_painting() -> None:
    crew = CrewParams(position="3 min", coning="4 min")
    assert around_min(crew, moving=False) == 7.0
    assert around_min(crew, moving=True) == 3.0


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
